"""How the last start went: one small number that outlives a reset, not the loss of power.

A board that loses its power in the dark did nothing wrong: it forgets. Kept in a register of
the watchdog or the RTC's memory, so that a start costs no write to the flash; where a chip
has neither, in a file that is written only when a start has failed.
"""

import os

import machine

from steadyturn_fw import pages

STARTING, RUNNING, FAILED, ENDED, HOST, SAFE = range(1, 7)
MOST_FAILS = 15
MAGIC = 0x5374
BYTES = 3
FILE = "/starts.bin"


class Note:
    def __init__(self, chip):
        """chip: a row of chips.CHIPS."""
        self.at = chip[2]
        self.data = bytearray(BYTES)
        self.memory = None  # of the RTC
        rtc = getattr(machine, "RTC", None)
        if not self.at and rtc is not None and hasattr(rtc, "memory"):
            self.memory = rtc().memory
        self.state = 0  # of the start before this one; 0: not known, it lost its power
        self.fails = 0  # starts in a row that failed, before this one
        word = self._read()
        if word >> 8 == MAGIC and machine.reset_cause() != machine.PWRON_RESET:
            self.state = word >> 4 & 15
            if self.state in (STARTING, FAILED):  # a reset while it was starting is a failure
                self.fails = min((word & 15) + 1, MOST_FAILS)

    def _read(self):
        if self.at:
            word = machine.mem32[self.at]
            return word if 0 <= word < 1 << 24 else 0
        data = b""
        if self.memory is not None:
            data = self.memory()
        else:
            try:
                with open(FILE, "rb") as file:
                    data = file.read(BYTES + 1)
            except OSError:
                pass
        return pages.get(data, 0, BYTES) if len(data) == BYTES else 0

    def write(self, state, fails=0):
        """Allocates only where the note is a file."""
        word = MAGIC << 8 | state << 4 | min(fails, MOST_FAILS)
        if self.at:
            machine.mem32[self.at] = word
            return
        pages.put(self.data, 0, BYTES, word)
        if self.memory is not None:
            self.memory(self.data)
            return
        try:
            if state == FAILED:
                with open(FILE, "wb") as file:
                    file.write(self.data)
            elif state != STARTING and self.fails:
                self.fails = 0
                os.remove(FILE)
        except OSError:
            pass
