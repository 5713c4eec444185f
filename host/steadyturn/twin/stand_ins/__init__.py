"""What the child process sees in place of a board's hardware.

The files are read by MicroPython (or, on the fallback, by CPython) in the child;
only `_ops` is also imported by the host. They must never go onto a real board.
"""
