"""What somebody makes of the lamp: from light and dark in time to a cue.

The lamp's table is design, and the firmware's `lamp` plays it: dark with flashes says
faster, dark rest, steady hold, lit with double winks slower, even flashes stop. Here
only durations count, as for an eye: no colour, no brightness.
"""

from __future__ import annotations

LIT = 0.02  # above this share of full brightness the eye calls it light

# seconds; between the durations of the lamp's table, with room for a late tick
_BLINK = 0.16  # a flash or a wink is shorter: 0.12
_EVEN = 0.30  # an even flash is shorter: 0.20
_STEADY = 0.65  # lit for longer is steady: the winking light is lit for 0.50
_DARK = 1.35  # dark for longer is rest: the slowest beat leaves 0.99
_GAP = 0.30  # the dark between two beats is longer


class Watcher:
    """Reads a lamp from its changes.

    `see` takes each change; `cue` says what is understood now: "rest", "faster",
    "hold", "slower", "stop", or "dark" when it has never been lit. `beat_s` is the
    rhythm of the last `faster` flashes, None before two of them.
    """

    def __init__(self) -> None:
        self.beat_s: float | None = None
        self._lit = False
        self._since = 0.0
        self._lasts: list[float] = []  # the latest whole spells, light and dark in turn
        self._cue = "dark"
        self._flash_at: float | None = None

    def see(self, t_s: float, light: float) -> None:
        """The lamp's brightness (0 to 1) became `light` at `t_s`."""
        lit = light > LIT
        if lit == self._lit:
            return
        spell = t_s - self._since
        before = self._lasts
        ended_lit = self._lit
        self._lit, self._since = lit, t_s
        if ended_lit:
            self._light_ended(t_s, spell, before)
        else:
            self._even(spell, before)
        self._lasts = [*before[-3:], spell]

    def _light_ended(self, t_s: float, spell: float, before: list[float]) -> None:
        dark = before[-1] if before else _DARK
        if spell >= _STEADY:
            self._cue = "hold"
        elif spell < _BLINK and dark < _BLINK:
            self._cue = "slower"  # the light within a double wink
        elif spell < _BLINK and _GAP <= dark < _DARK:
            self._cue = "faster"
            start = t_s - spell
            if self._flash_at is not None and start - self._flash_at < _DARK:
                self.beat_s = start - self._flash_at
            self._flash_at = start
        elif spell < _BLINK:
            self._flash_at = t_s - spell  # a glint, or the first beat: the next one tells
        else:
            self._even(spell, before)

    def _even(self, spell: float, before: list[float]) -> None:
        if len(before) > 1 and all(_BLINK <= x < _EVEN for x in (spell, *before[-2:])):
            self._cue = "stop"

    def cue(self, t_s: float) -> str:
        spell = t_s - self._since
        if self._lit and spell >= _STEADY:
            self._cue = "hold"
        elif not self._lit and spell >= _DARK and self._cue != "dark":
            self._cue = "rest"
        return self._cue
