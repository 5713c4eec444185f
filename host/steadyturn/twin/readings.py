"""What the sensor showed: every reading that the program was given, as it was given.

Taken down where the registers are read, beside the clock readings and the edges of the
load switch's pin, so that totals can be computed from them without the firmware.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

from steadyturn.twin.stand_ins import _ops


@dataclass(slots=True)
class Boot:
    """began_us: virtual time when the board's program was started; reads: words of
    `_ops.A_READS`; edges: those of the load switch's pin, us."""

    began_us: int
    reads: array[int] = field(default_factory=lambda: array("q"))
    edges: array[int] = field(default_factory=lambda: array("q"))


class Readings:
    """Boot by boot; `take` hands over what there is and keeps none of it."""

    def __init__(self, switch_pin: int) -> None:
        self.boots: list[Boot] = []
        self._edge = _ops.CHANGE_PIN << 8 | switch_pin

    def begin(self, t_us: int) -> None:
        self.boots.append(Boot(t_us))

    def add(self, words: tuple[int, ...]) -> None:
        """The readings and edges of one question."""
        if not self.boots:
            return
        boot = self.boots[-1]
        boot.reads.extend(words[_ops.A_READS : _ops.A_READS + words[_ops.A_READ_COUNT]])
        at = _ops.A_CHANGES
        for _ in range(words[_ops.A_COUNT]):
            if words[at + 1] >> 32 == self._edge:
                boot.edges.append(words[at])
            at += 2

    def take(self) -> list[Boot]:
        boots, self.boots = self.boots, []
        return boots
