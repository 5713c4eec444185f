"""Starts MicroPython for a virtual board; a program of its own, run as `python -I -S`.

It makes the terminal on its standard input the controlling one, so that the child dies
with it, and then becomes the interpreter: python -I -S launch.py WHERE ARGUMENT...
WHERE is a program, or the folder of the wheel's module.
"""

import fcntl
import importlib
import os
import sys
import termios


def main() -> None:
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    where, arguments = sys.argv[1], sys.argv[2:]
    if not os.path.isdir(where):
        os.execv(where, [where, *arguments])
    sys.path.append(where)
    run_main = importlib.import_module("micropython_run").run_main

    sys.exit(run_main(["micropython", *arguments]))


main()
