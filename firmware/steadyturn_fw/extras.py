"""What only some rigs have, with its one place in the loop: turn sensor, the winding's warmth,
second load."""

from steadyturn_fw.burst import Burst
from steadyturn_fw.pages import AT_RISE, FLAG_PACE_MEASURED, VALID


class Extras:
    def __init__(self, loop, newest):
        """loop: with its sensor, estimate, journal and faults made; newest: page, or None."""
        self.turn = None
        self.burst = None  # type: Burst | None
        self.any = False
        self.journal = loop.journal
        self.faults = loop.faults
        s = loop.loaded.settings
        if s is None:
            return
        estimate = loop.estimate
        self.turn = estimate.turn
        if self.turn is not None:
            self.journal.out_flag |= FLAG_PACE_MEASURED
        if estimate.warmth is not None:
            self.journal.rise_k = estimate.warmth.rise_k
            if newest is not None:
                estimate.warmth.begin(newest[AT_RISE], estimate)
        if s.second_load_pin >= 0 and s.second_load_mohm:
            self.burst = Burst(s, estimate, self.journal)
            self.journal.number = self.burst.number
        self.any = self.turn is not None or self.burst is not None

    def update(self, now):
        """At the end of a tick."""
        if self.turn is not None:
            self.turn.tell(now, self.journal, self.faults)
            if now.validity == VALID and not now.measured:
                self.journal.flags &= ~FLAG_PACE_MEASURED
        if self.burst is not None:
            self.burst.update(now)

    def release(self):
        """The program ends."""
        if self.burst is not None:
            self.burst.release()
