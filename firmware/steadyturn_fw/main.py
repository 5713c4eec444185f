"""Start: read the settings, run the loop, and hand the board back cleanly on Ctrl-C.

Ctrl-C is how a host comes in, not an accident: the load is released and the page
being filled is stored before the exception goes on to the prompt. Any other
exception is a fault of the program: it is stored, shown, and the board starts anew,
because at the other end somebody is turning a handle in the dark. Where that does
not help, after a few starts, it stays in safe mode for a while.
"""

import sys
from time import sleep_ms

import machine
import micropython

from steadyturn_fw import safe, settings, thisboard
from steadyturn_fw.guard import Guard
from steadyturn_fw.loop import TICK_MS, Loop
from steadyturn_fw.note import ENDED, FAILED, HOST, SAFE, STARTING, Note
from steadyturn_fw.pages import FAULT, FAULT_PROGRAM
from steadyturn_fw.thisboard import board_row

SHOW_MS = 20000  # a fault of the program is shown this long before the board starts anew
FELL_BACK = False  # main.py sets it when it had to take the firmware from before


def run():
    chip = thisboard.chip(thisboard.machine_name())
    note = Note(chip)
    fails = note.fails
    loaded = settings.load(doubted=fails == safe.FAILS - 1)
    if _safe_mode(loaded.settings, chip, note):
        return
    note.write(STARTING, fails)
    loop = None
    try:
        wanted = loaded.settings is not None and loaded.settings.watchdog
        loop = Loop(loaded, board_row(), Guard(chip, note, wanted))
        if FELL_BACK:
            loop.program_failed()
        loop.run()
        # a host has come, and the watchdog cannot be stopped for it
        loop.stop()
        note.write(HOST)
        machine.reset()
    except KeyboardInterrupt:
        # another Ctrl-C must not cut the release and the last page short
        micropython.kbd_intr(-1)
        try:
            note.write(ENDED)
            if loop is not None:
                loop.stop()
                if not loop.guard.stop():
                    note.write(HOST)
                    machine.reset()
        finally:
            micropython.kbd_intr(3)
        raise
    except Exception as error:
        sys.print_exception(error)
        _mourn(loop, note, fails)
        machine.reset()


def _safe_mode(s, chip, note):
    """Stay there if something asks for it. True: it is over, and the board has been reset."""
    fails = note.fails
    if fails < safe.FAILS:
        pin = s.button_pin if s is not None else -1
        if pin < 0 or note.state == SAFE or not safe.held(pin):
            return False
        fails = 0
    try:
        safe.Safe(s, board_row(), chip, fails).run()
    except KeyboardInterrupt:
        note.write(ENDED)
        raise
    note.write(SAFE)
    machine.reset()
    return True


def _mourn(loop, note, fails):
    """Store the fault, show it; nothing that may fail again is asked for more than once."""
    early = loop is None or not loop.guard.good()
    note.write(FAILED if early else ENDED, fails)
    if loop is None:
        sleep_ms(SHOW_MS // 10)
        return
    try:
        loop.stop(FAULT_PROGRAM)
        loop.guard.stop()
    except Exception as error:
        sys.print_exception(error)
    for _ in range(SHOW_MS // TICK_MS):
        loop.lamp.update(FAULT, FAULT_PROGRAM, TICK_MS)
        loop.lamp.tell()
        sleep_ms(TICK_MS)
