"""Faults: which stand, since when, and which the lamp shows.

A fault begins at once and ends five seconds after its cause has gone, so that a
cause that flickers is one fault and the lamp has time to count it out.
"""

from steadyturn_fw.pages import EV_FAULT, EV_FAULT_END, FAULTS

KEEP_MS = 5000


class Faults:
    def __init__(self, journal, now):
        self.journal = journal
        self.now = now
        self.left_ms = [0] * len(FAULTS)  # until a fault whose cause has gone ends
        self.shown = 0  # the standing fault of the lowest number

    def watch(self, fault, cause):
        """Each tick, for each fault."""
        left = self.left_ms[fault]
        if cause:
            self.left_ms[fault] = KEEP_MS
            if not left:
                self._began(fault)
        elif left:
            left = max(0, left - self.now.ms)
            self.left_ms[fault] = left
            if not left:
                self._ended(fault)

    def set(self, fault, stands):
        """For a fault that has no end within this boot."""
        if stands and not self.left_ms[fault]:
            self.left_ms[fault] = KEEP_MS
            self._began(fault)

    def _began(self, fault):
        self.journal.event(EV_FAULT, fault, self.now.t_ms)
        self.journal.faults = self.journal.faults + 1 & 0xFFFF
        self._show()

    def _ended(self, fault):
        self.journal.event(EV_FAULT_END, fault, self.now.t_ms)
        self._show()

    def _show(self):
        fault = 1
        while fault < len(FAULTS) and not self.left_ms[fault]:
            fault += 1
        self.shown = fault if fault < len(FAULTS) else 0
        self.journal.standing = self.shown
