"""Safe mode: nothing but the lamp and a way in, after failed starts or by a held button.

The load stays released, no pin but the lamp's is touched, the lamp counts out the fault
of the program, and Ctrl-C leads to the prompt as always. Nobody is kept out of charging by
it: when no USB host has come for a while the board starts anew in the usual way.
"""

import select
import sys
from time import sleep_ms

from machine import ADC, Pin, mem32, reset_cause

from steadyturn_fw import frames, lights
from steadyturn_fw.lamp import Lamp
from steadyturn_fw.pages import EV_BOOT, EV_SAFE_MODE, FAULT, FAULT_PROGRAM

STEP_MS = 20
HELD_MS = 3000  # the button, from the start on
ALONE_MS = 60000
FAILS = 3  # starts in a row
ADC_MV = 3300


def held(pin):
    """Is the button down, and stays so?"""
    try:
        button = Pin(pin, Pin.IN, Pin.PULL_UP)
    except (ValueError, TypeError):
        return False
    ms = 0
    while not button.value():
        if ms >= HELD_MS:
            return True
        sleep_ms(STEP_MS)
        ms += STEP_MS
    return False


class Safe:
    def __init__(self, settings, row, chip, fails):
        """settings: None where there are none; row, chip: of the board; fails: 0: a button."""
        self.fails = fails
        self.settings = settings
        self.frame_at, self.frame_mask = chip[:2]
        self.frame = 0
        self.host = False
        self.poll = select.poll()
        self.poll.register(sys.stdin, select.POLLIN)
        self.byte = bytearray(1)
        self.line = b""
        self.lamp = self._lamp(settings, row)

    def _lamp(self, s, row):
        if s is not None:
            try:
                return Lamp(lights.fit(s), s.lamp, s.target_dtpm)
            except (ValueError, TypeError):
                pass
        return Lamp(lights.Unknown(row), "led", 600)

    def run(self):
        """Until the board is alone for long; Ctrl-C ends it earlier."""
        ms = 0
        try:
            while ms < ALONE_MS or self.host:
                self.lamp.update(FAULT, FAULT_PROGRAM, STEP_MS)
                self.lamp.tell()
                self._listen()
                self._look()
                sleep_ms(STEP_MS)
                ms += STEP_MS
                if ms == ALONE_MS // 10:  # the lamp has told by now, whatever comes of this
                    self.record()
        finally:
            self.lamp.dark()

    def _look(self):
        """A host numbers its frames: chips.py."""
        if self.frame_at:
            frame = mem32[self.frame_at] & self.frame_mask
            if self.frame and frame != self.frame:
                self.host = True
            self.frame = frame

    def _listen(self):
        """Take in what comes, or a full ring would hide Ctrl-C; say why there is no answer."""
        for _ in range(frames.LINE_MAX):
            if not self.poll.poll(0) or sys.stdin.buffer.readinto(self.byte) != 1:
                return
            if self.byte == b"\n":
                if self.line.startswith(b":"):
                    print(frames.SAFE_MODE)
                self.line = b""
            else:
                self.line = (self.line + self.byte)[: frames.LINE_MAX]

    def record(self):
        """An entry in the journal, if that still can be."""
        try:
            from steadyturn_fw.journal import Journal
            from steadyturn_fw.store import Store
            from steadyturn_fw.tally import Tally

            if not self._fed():
                return
            store = Store()
            journal = Journal(Tally(None), 0, 0, 0, 0, STEP_MS)
            if store.newest is not None:
                journal.follow(store.newest)
            journal.event(EV_BOOT, reset_cause(), 0)
            journal.event(EV_SAFE_MODE, self.fails, 0)
            journal.close(0)
            while store.write(journal.closed) is None:
                pass
        except Exception as error:
            sys.print_exception(error)

    def _fed(self):
        """Has the reservoir enough for a write?"""
        s = self.settings
        if s is None or s.supply_adc_pin < 0 or not s.fade_mv:
            return True
        mv = ADC(Pin(s.supply_adc_pin)).read_u16() * ADC_MV // 65535
        return mv * s.supply_permille // 1000 >= s.fade_mv
