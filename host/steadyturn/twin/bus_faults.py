"""What can go wrong on the sensor's bus, from a moment on and until another.

nack: nobody answers. stuck: the data line is held low by a wire; each transfer ends with
its time-out. held: the chip itself holds it, until nine clocks. wrong: another chip answers,
with other words. reset: the chip falls back to its power-up state, once. frozen: it answers,
but converts no more. flips: one word in twenty comes with a wrong bit.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from steadyturn.twin.chip import WORD, Chip
from steadyturn.twin.stand_ins import _ops

WORDS = {
    "nack": "nobody answers on the sensor's bus",
    "stuck": "a wire holds the sensor's data line low",
    "held": "the sensor holds its data line low, until nine clocks",
    "wrong": "another chip answers in the sensor's place",
    "reset": "the sensor falls back to its power-up state",
    "frozen": "the sensor answers, but converts no more",
    "flips": "one word in twenty from the sensor has a wrong bit",
}
KINDS = tuple(WORDS)
CLOCKS = 9  # free a chip that holds the line in the middle of a byte
FLIPS = 0.05  # share of words
NEVER = 1 << 62

_CODES = {"nack": _ops.FAULT_NACK, "stuck": _ops.FAULT_STUCK, "held": _ops.FAULT_STUCK,
          "wrong": _ops.FAULT_WRONG}


@dataclass(frozen=True, slots=True)
class Fault:
    """kind: one of KINDS; from_us, to_us: virtual time, to_us: NEVER while it has no end."""

    kind: str
    from_us: int
    to_us: int


class BusFaults:
    """The wires to `chip` and the chip itself; scl_pin: whose edges are its clocks.

    `next_us`: when something begins or ends next; `code`: for the answer's R_FAULT.
    """

    def __init__(self, chip: Chip, scl_pin: int, seed: int) -> None:
        self.kind = ""  # what is wrong now
        self.next_us = NEVER
        self.code = 0
        self.frozen = False
        self.plan: list[Fault] = []
        self._chip = chip
        self._scl_pin = scl_pin
        self._chance = random.Random(f"bus {seed}")
        self._clocks = 0
        self._now: Fault | None = None

    def fault(self, kind: str, from_s: float, to_s: float = inf) -> None:
        """Plan a fault, in virtual seconds; where two overlap the one that begins later
        counts from then on."""
        if kind not in KINDS:
            raise ValueError(f"fault {kind!r}: one of {', '.join(KINDS)}")
        if not to_s > from_s:
            raise ValueError(f"a fault from {from_s} s to {to_s} s")
        end = NEVER if to_s == inf else round(to_s * 1e6)
        self.plan.append(Fault(kind, round(from_s * 1e6), end))
        self._look()

    def clear(self) -> None:
        """Everything is well again, and nothing more is planned."""
        self.plan.clear()
        self._set(None, 0)
        self._look()

    @property
    def answers(self) -> bool:
        """Does the chip itself take what is written to it?"""
        return self.kind != "wrong"

    def pass_to(self, t_us: int) -> None:
        """What begins or ends up to t_us. The plant has passed to `next_us`."""
        now = [f for f in self.plan if f.from_us <= t_us < f.to_us]
        self.plan = [f for f in self.plan if f.to_us > t_us]
        newest = max(now, key=lambda f: f.from_us, default=None)
        if newest is not self._now:
            self._set(newest, t_us)
        self._look(t_us)

    def clocked(self, pin: int, level: int) -> None:
        """A pin has changed: a chip that holds the line counts its clocks."""
        if self.kind != "held" or pin != self._scl_pin or not level:
            return
        self._clocks += 1
        if self._clocks >= CLOCKS:
            self._end()

    def registers(self) -> Sequence[int]:
        """The words that a reading finds."""
        words = self._chip.registers
        if not self.kind:
            return words
        if self.kind == "wrong":
            return [WORD] + [0] * (len(words) - 1)
        if self.kind != "flips":
            return words
        chance = self._chance
        return [word ^ 1 << chance.randrange(16) if chance.random() < FLIPS else word
                for word in words]

    def _set(self, fault: Fault | None, t_us: int) -> None:
        self._now = fault
        self.kind = fault.kind if fault else ""
        self.code = _CODES.get(self.kind, 0)
        self.frozen = self.kind == "frozen"
        self._clocks = 0
        if self.kind == "reset":
            self._chip.reset(t_us)
            self._end()

    def _end(self) -> None:
        """It is over by itself, before its planned end."""
        if self._now is not None:
            self.plan.remove(self._now)
        self._set(None, 0)
        self._look()

    def _look(self, after_us: int = -1) -> None:
        moments = [f.from_us for f in self.plan] + [f.to_us for f in self.plan]
        self.next_us = min((t for t in moments if t > after_us), default=NEVER)
