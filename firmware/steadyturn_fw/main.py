"""Start: read the settings, run the loop, and hand the board back cleanly on Ctrl-C.

Ctrl-C is how a host comes in, not an accident: the load is released and the page
being filled is stored before the exception goes on to the prompt. Any other
exception is a fault of the program: it is stored, shown, and the board starts anew,
because at the other end somebody is turning a handle in the dark.
"""

import sys
from time import sleep_ms

import machine
import micropython

from steadyturn_fw import boards, settings
from steadyturn_fw.loop import TICK_MS, Loop
from steadyturn_fw.pages import FAULT, FAULT_PROGRAM

SHOW_MS = 20000  # a fault of the program is shown this long before the board starts anew


def board_row():
    """The pins of this board, for a lamp that works without settings."""
    name = getattr(sys.implementation, "_machine", "").lower()
    key = "pico"
    if "esp32c3" in name:
        key = "esp32_c3"
    elif "esp32" in name:
        key = "esp32_s3"
    elif "pico2" in name or "pico 2" in name:
        key = "pico2"
    elif "pico w" in name:
        key = "pico_w"
    row = {}
    for i in range(len(boards.COLUMNS)):
        row[boards.COLUMNS[i]] = boards.BOARDS[key][i]
    return row


def run():
    loop = None
    try:
        loop = Loop(settings.load(), board_row())
        loop.run()
    except KeyboardInterrupt:
        # another Ctrl-C must not cut the release and the last page short
        micropython.kbd_intr(-1)
        try:
            if loop is not None:
                loop.stop()
        finally:
            micropython.kbd_intr(3)
        raise
    except Exception as error:
        sys.print_exception(error)
        if loop is None:
            raise
        _mourn(loop)
        machine.reset()


def _mourn(loop):
    """Store the fault, show it; nothing that may fail again is asked for more than once."""
    try:
        loop.stop(FAULT_PROGRAM)
    except Exception as error:
        sys.print_exception(error)
    for _ in range(SHOW_MS // TICK_MS):
        loop.lamp.update(FAULT, FAULT_PROGRAM, TICK_MS)
        sleep_ms(TICK_MS)
