"""The watchdog, fed only by whole ticks, and none while a USB host is there.

A watchdog that bites a board which its maker has stopped by Ctrl-C would cut off every
tool, so it starts only when no host has shown itself for a while after the start, and a
host that comes later ends it: on chips whose watchdog can be stopped by stopping it, on
others by a clean end and a new start without one.
"""

from machine import WDT, mem32

from steadyturn_fw import chips
from steadyturn_fw.note import HOST, RUNNING, STARTING

SAMPLE, SWITCH, LAMP, JOURNAL = 1, 2, 4, 8
ALL = 15
# longest of an RP2040: 8,388 ms (MicroPython, ports/rp2/machine_wdt.c). Nine erases in a row,
# each of the worst 400 ms, are 3.6 s.
TIMEOUT_MS = 8000
HOST_WAIT_MS = 3000  # a host finds a board within a second (USB 2.0, 7.1.7.3: 0.1 s and a reset)
LOOK_MS = 100
GOOD_MS = 10000  # a start that ran so long did not fail


class Guard:
    def __init__(self, chip, note, wanted):
        """chip: a row of chips.CHIPS; note: note.Note; wanted: by the settings."""
        self.note = note
        self.bitten = note.state in (STARTING, RUNNING)  # the last start ended unasked
        self.marks = 0  # what has run in this tick
        self.dog = None  # type: WDT | None
        self.frame_at, self.frame_mask, _, self.dog_at, self.dog_clear_at = chip
        self.may = bool(wanted and self.frame_at and note.state != HOST)
        self.clear = 1 << chips.DOG_ENABLE_BIT
        self.host = False  # one was seen since the start
        self.changes = 0  # of the frame's number, in a row
        self.frame = self._frame()
        self.look_ms = 0
        self.run_ms = 0

    def _frame(self):
        return mem32[self.frame_at] & self.frame_mask if self.frame_at else 0

    def good(self):
        """Has this start not failed?"""
        return self.run_ms >= GOOD_MS

    def after(self, ms):
        """After each tick, and what was written behind it. True: the program has to end, so
        that it can start again without a watchdog."""
        marks = self.marks
        self.marks = 0
        if self.run_ms < GOOD_MS:
            self.run_ms += ms
            if self.run_ms >= GOOD_MS:
                self.note.write(RUNNING)
        self.look_ms += ms
        if self.look_ms >= LOOK_MS:
            self.look_ms = 0
            self._look()
        if self.dog is not None:
            if self.host:
                return not self.stop()
            if marks == ALL:
                self.dog.feed()
        elif self.may and not self.host and self.run_ms >= HOST_WAIT_MS:
            self.dog = WDT(timeout=TIMEOUT_MS)
        return False

    def _look(self):
        frame = self._frame()
        self.changes = self.changes + 1 if frame != self.frame else 0
        self.frame = frame
        if self.changes >= 2:
            self.host = True

    def stop(self):
        """Have no watchdog running from now on; False where that cannot be."""
        self.may = False
        if self.dog is None:
            return True
        if self.dog_at:
            mem32[self.dog_clear_at] = self.clear
            if not mem32[self.dog_at] >> chips.DOG_ENABLE_BIT & 1:
                self.dog = None
        return self.dog is None
