"""What somebody makes of a lamp that is no light: a piezo's tones, a motor's pulses.

Rest and hold are both silent and still there; the hand knows which of the two it is, so
silence is told as "hold" once anything has been heard, "dark" before.
"""

from __future__ import annotations

from steadyturn.twin.watcher import _BLINK, _DARK, Watcher

_HIGH = 0.8  # share of the high tone above which a tone counts as high
_PAIR = 0.16  # s; a longer tone is no part of a pair
_LONG = 0.75  # s; a longer tone says stop: a fault's last 0.6
_SURE = 0.04  # s past a wink's dark: then a pulse was a lone one


class Listener(Watcher):
    """Reads a piezo: `see` takes its pitch as a share of the high tone, 0 silent."""

    def __init__(self) -> None:
        super().__init__()
        self._tone = 0  # 0 silent, 1 low, 2 high
        self._before = 0  # the tone that the present one followed at once

    def see(self, t_s: float, light: float) -> None:
        tone = 0 if light <= 0.0 else 2 if light > _HIGH else 1
        if tone == self._tone:
            return
        spell = t_s - self._since
        if self._tone and not tone and self._before and spell < _PAIR:
            self._paired(t_s, self._before < self._tone)
        self._before = self._tone if spell < _PAIR else 0
        self._tone, self._since = tone, t_s

    def _paired(self, t_s: float, rising: bool) -> None:
        self._cue = "faster" if rising else "slower"
        if rising and self._flash_at is not None and t_s - self._flash_at < _DARK:
            self.beat_s = t_s - self._flash_at
        self._flash_at = t_s if rising else None

    def cue(self, t_s: float) -> str:
        spell = t_s - self._since
        if self._tone and spell >= _LONG:
            self._cue = "stop"
        elif not self._tone and spell >= _DARK and self._cue != "dark":
            self._cue = "hold"
        return self._cue


class Feeler(Watcher):
    """Reads a vibration motor: lone pulses, pairs of them, even ones."""

    def __init__(self) -> None:
        super().__init__()
        self._lone_at: float | None = None

    def _light_ended(self, t_s: float, spell: float, before: list[float]) -> None:
        still = before[-1] if before else _DARK
        self._lone_at = None
        if spell >= _BLINK:
            self._even(spell, before)
        elif still < _BLINK:
            self._cue = "slower"
            self._flash_at = None
        else:
            self._lone_at = t_s - spell

    def cue(self, t_s: float) -> str:
        spell = t_s - self._since
        if not self._lit and self._lone_at is not None and spell >= _BLINK + _SURE:
            self._cue = "faster"
            if self._flash_at is not None and self._lone_at - self._flash_at < _DARK:
                self.beat_s = self._lone_at - self._flash_at
            self._flash_at, self._lone_at = self._lone_at, None
        if not self._lit and spell >= _DARK and self._cue != "dark":
            self._cue = "hold"
        return self._cue


def watcher(kind: str) -> Watcher:
    """Who reads a lamp of this kind.

    >>> type(watcher("piezo")).__name__, type(watcher("rgb")).__name__
    ('Listener', 'Watcher')
    """
    if kind == "piezo":
        return Listener()
    return Feeler() if kind == "vibration" else Watcher()
