"""The lamp as hardware: what pins and bits make of an LED, two, a pixel, a piezo, a motor."""

from __future__ import annotations

from steadyturn_fw.patterns import HIGH_HZ

LEVELS = 65535


class Lights:
    """kind: one of the rig's lamp kinds; pins: -1 where there is none.

    `light` is what somebody sees, hears or feels, 0 to 1: brightness (of the brighter of
    two), a motor's share of its power, or a piezo's pitch over that of the patterns' high
    tone. `second` is that of a second LED, `rgb` a pixel's colour. Each method says whether
    `light` has changed.
    """

    def __init__(self, kind: str, pin: int, pin2: int, active_low: bool = False) -> None:
        self.kind = kind
        self.light = 0.0
        self.first = self.second = 0.0
        self.rgb = (0, 0, 0)
        self._pin, self._pin2 = pin, pin2 if kind == "two_led" else -1
        self._low = active_low and kind != "rgb"
        self._hz = 0

    def duty(self, pin: int, share: float) -> bool:
        """A pin is high for this share of the time. To a pixel that means nothing."""
        if self.kind == "rgb" or pin not in (self._pin, self._pin2) or pin < 0:
            return False
        share = 1.0 - share if self._low else share
        if pin == self._pin:
            self.first = share
        else:
            self.second = share
        return self._look()

    def tone(self, pin: int, hz: int) -> bool:
        """A pin changes at this frequency while its duty is neither nothing nor all."""
        if pin != self._pin:
            return False
        self._hz = hz
        return self._look()

    def pixel(self, pin: int, grb: int) -> bool:
        """Three bytes came: green, red, blue. Anything else does not see so short a pulse."""
        if pin != self._pin or self.kind != "rgb":
            return False
        self.rgb = (grb >> 8 & 255, grb >> 16, grb & 255)
        return self._look()

    def dark(self) -> bool:
        """No power, or all pins are inputs."""
        self.first = self.second = 0.0
        self.rgb = (0, 0, 0)
        return self._look()

    def _look(self) -> bool:
        if self.kind == "rgb":
            light = max(self.rgb) / 255
        elif self.kind == "piezo":  # a steady level only clicks
            sounds = 1 / LEVELS < self.first < 1 - 1 / LEVELS
            light = min(1.0, self._hz / HIGH_HZ) if sounds else 0.0
        else:
            light = max(self.first, self.second)
        changed = light != self.light
        self.light = light
        return changed
