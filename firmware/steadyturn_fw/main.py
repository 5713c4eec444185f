"""Start: read the settings, run the loop, and hand the board back cleanly on Ctrl-C."""

import micropython

from steadyturn_fw import settings
from steadyturn_fw.loop import Loop


def run():
    loop = Loop(settings.load())
    try:
        loop.run()
    except KeyboardInterrupt:
        # another Ctrl-C must not cut the release and the last page short
        micropython.kbd_intr(-1)
        try:
            loop.stop()
        finally:
            micropython.kbd_intr(3)
        raise
