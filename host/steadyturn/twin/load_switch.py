"""The load switch as hardware: what pulses, a let-go pin and an alert make of it.

It connects at a pulse of its pin, holds for the rig's hold time after the last one, and
releases at once while the let-go pin is high or the sensor's alert stands, where those
are wired; whatever the firmware believes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from steadyturn.rig.types import Rig


@dataclass(frozen=True, slots=True)
class Switching:
    """One change of the load switch; why: "pulses" came, "silence"
    (none did), "alert", or "let_go"."""

    t_s: float
    connected: bool
    why: str


class LoadSwitch:
    """pins: by name, -1 where there is none. settle(t_us) is called before anything
    changes: the machine has to be stepped up to there first."""

    def __init__(self, rig: Rig, pins: Mapping[str, int], settle: Callable[[int], None]) -> None:
        self.connected = False
        self.switchings: list[Switching] = []
        self.held = False  # by pulses
        self.expires_us = 0
        self.pin, self.let_go_pin = pins["switch_pin"], pins["let_go_pin"]
        self._settle = settle
        self._hold_us = round(rig.switch.hold_s * 1e6)
        self._level = 0
        self._let_go = False
        self._alerted = False

    def pin_changed(self, t_us: int, value: int) -> None:
        """An edge of the pulse pin; only edges keep it connected."""
        if value == self._level:
            return
        self._level = value
        if self._let_go:
            return
        self.expires_us = t_us + self._hold_us
        if not self.held:
            self._settle(t_us)
            self.held = True
            self._look("pulses", t_us)

    def let_go_changed(self, t_us: int, high: bool) -> None:
        """High empties what the pulses filled, and keeps it empty."""
        self._let_go = high
        if high and self.held:
            self._settle(t_us)
            self.held = False
            self._look("let_go", t_us)

    def expire(self) -> None:
        """No pulse has come for the hold time."""
        self._settle(self.expires_us)
        self.held = False
        self._look("silence", self.expires_us)

    def alert(self, t_us: int, alerted: bool) -> None:
        if alerted != self._alerted:
            self._alerted = alerted
            self._settle(t_us)
            self._look("alert", t_us)

    def pins_reset(self) -> None:
        """All pins are inputs again: no pulse comes, and the let-go pin is low."""
        self._level = 0
        self._let_go = False

    def _look(self, why: str, t_us: int) -> None:
        connected = self.held and not self._alerted
        if connected != self.connected:
            self.connected = connected
            self.switchings.append(Switching(t_us / 1e6, connected, why))
