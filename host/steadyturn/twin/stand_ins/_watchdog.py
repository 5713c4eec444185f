"""The watchdog of the virtual board, and the registers around it; a part of `machine`.

As an RP2040's: a control register that tells whether it runs and can be cleared, a scratch
register that outlives resets, and the number of the last USB frame, which changes while a
host is there. Source: RP2040 data sheet 2.19 and 4.7.
"""

import os

import _chan
import _ops

_FRAME = 0x50110048
_NOTE = 0x4005800C
_CONTROL = 0x40058000
_CLEAR = 0x4005B000
_ENABLE = 1 << 30
_words = {_NOTE: int(os.getenv("TWIN_NOTE"))}


class _Memory:
    def __getitem__(self, at):
        if at == _FRAME:
            return _chan.clock() // 1000 & 0x7FF if _chan.rx[_ops.R_HOST] else 0
        return _words.get(at, 0)

    def __setitem__(self, at, word):
        if at == _CLEAR:
            _words[_CONTROL] = _words.get(_CONTROL, 0) & ~word
            if word & _ENABLE:
                _chan.change(_ops.CHANGE_FEED, 0, 0)
        else:
            _words[at] = word
            if at == _NOTE:
                _chan.change(_ops.CHANGE_NOTE, 0, word)


mem32 = _Memory()


class WDT:
    def __init__(self, id=0, timeout=5000):
        if not 1 <= timeout <= 8388:
            raise ValueError("timeout exceeds 8388")
        self._timeout = timeout
        _words[_CONTROL] = _ENABLE
        self.feed()

    def feed(self):
        if _words[_CONTROL] & _ENABLE:
            _chan.change(_ops.CHANGE_FEED, 0, self._timeout)
