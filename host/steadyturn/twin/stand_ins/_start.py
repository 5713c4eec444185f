"""Runs first on the virtual board: stand-ins, file system, then the board's own programs."""

import os
import sys
import time  # noqa: F401 - found here and not later on the board's own path

import _chan
import _flash
import _ops
import machine

for _name in ("rp2", "esp32"):  # where the board has that chip
    try:
        __import__(_name)
    except ImportError:
        pass


def _run(name):
    try:
        os.stat(name)
    except OSError:
        return
    try:
        with open(name) as file:
            text = file.read()
        exec(compile(text, name, "exec"), {"__name__": "__main__"})
    except SystemExit:
        machine.soft_reset()
    except BaseException as error:
        sys.print_exception(error)


_chan.exchange(_ops.SLEEP)
_flash.mount(os.getenv("TWIN_IMAGE"))
sys.path[:] = ["", ".frozen", "/lib"]
_chan.exchange(_ops.START)
_run("boot.py")
if os.getenv("TWIN_MODE") == "main":
    _run("main.py")
_chan.at_prompt = True
_chan.exchange(_ops.PROMPT)
