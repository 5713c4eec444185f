"""The turn sensor at the handle: magnets that pass a contact, gears that may slip, a contact
that may be dead."""

from __future__ import annotations

from math import tau


class Turning:
    """pulses: a turn of the handle, 0: not fitted.

    slip: share of the handle's turns that does not reach the motors; dead: the contact tells
    nothing. Both may be set at any time.
    """

    def __init__(self, pulses: int) -> None:
        self.pulses = pulses
        self.slip = 0.0
        self.dead = False
        self.count = 0  # since the board has power
        self.at_us = 0  # when the last came
        self.turns = 0.0  # of the handle itself

    def moved(self, rad: float, from_us: float, to_us: float) -> None:
        """The motors' side has turned by rad, as felt at the handle, within this time."""
        before = self.turns * self.pulses
        self.turns += rad / tau / (1.0 - self.slip)
        after = self.turns * self.pulses
        passed = int(after) - int(before)
        if passed > 0 and not self.dead:
            self.count += passed
            share = (int(after) - before) / (after - before)
            self.at_us = round(from_us + share * (to_us - from_us))
