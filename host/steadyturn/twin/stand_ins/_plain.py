"""The virtual board on CPython: what MicroPython has and CPython lacks, then the programs.

Started as `python -I -S _plain.py`, with the hardware's pipes as standard input and
output. The flash is a folder; the console travels over the pipes.
"""

import array
import binascii
import builtins
import errno
import gc
import hashlib
import importlib.util
import io
import json
import os
import struct
import sys
import time
import traceback
import types

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.environ["TWIN_IMAGE"]
os.environ["TWIN_FROM"], os.environ["TWIN_TO"] = "0", "1"
sys.dont_write_bytecode = True
sys.path.insert(0, HERE)
_open = builtins.open
_USED = (array, binascii, hashlib, io, json, struct)  # loaded before `time` is exchanged


def _module(name, **names):
    module = types.ModuleType(name)
    module.__dict__.update(names)
    sys.modules[name] = module
    return module


def _same(function):
    return function


_PERIOD = 1 << 30
_module(
    "utime", gmtime=time.gmtime, localtime=time.localtime, mktime=time.mktime,
    ticks_us=lambda: time.monotonic_ns() // 1000,
    ticks_add=lambda t, d: (t + d) % _PERIOD,
    ticks_diff=lambda a, b: (a - b + _PERIOD // 2) % _PERIOD - _PERIOD // 2,
)

def _kbd_intr(char):
    _chan.deaf = char != 3


_module(
    "micropython", const=_same, native=_same, viper=_same, kbd_intr=_kbd_intr,
    heap_lock=lambda: 0, heap_unlock=lambda: 0, mem_total=lambda: 0, mem_info=lambda *a: None,
    mem_current=lambda: 0, opt_level=lambda *a: 0, alloc_emergency_exception_buf=lambda n: None,
)

import _chan  # noqa: E402 - after those
import _ops  # noqa: E402
import machine  # noqa: E402

_spec = importlib.util.spec_from_file_location("time", os.path.join(HERE, "time.py"))
_time = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_time)
sys.modules["time"] = _time


# ---- gc, sys

builtins.const = _same
gc.mem_free = lambda: 150000
gc.mem_alloc = lambda: 50000
gc.threshold = lambda *a: None
sys.print_exception = lambda error, file=None: traceback.print_exception(error)


# ---- the console


class _Console:
    """sys.stdin, sys.stdout and their buffers in one."""

    def __init__(self):
        self.buffer = self
        self.held = b""

    def waits(self):
        return bool(self.held) or _chan.rx[1] >> _ops.WAITING_SHIFT > 0

    def _fill(self):
        while not self.held:
            while not _chan.rx[1] >> _ops.WAITING_SHIFT:
                _chan.exchange(_ops.SLEEP, 1000)
            _chan.exchange(_ops.INPUT)
            size = _chan.rx[1] >> _ops.WAITING_SHIFT
            _chan.rx[1] &= (1 << _ops.WAITING_SHIFT) - 1
            while len(self.held) < size:
                self.held += _chan._from.read(size - len(self.held))

    def read(self, size=-1):
        if size == 0:
            return b""
        self._fill()
        size = len(self.held) if size < 0 else size
        out, self.held = self.held[:size], self.held[size:]
        return out

    def readinto(self, data):
        got = self.read(len(data))
        data[: len(got)] = got
        return len(got)

    def readline(self):
        line = b""
        while not line.endswith(b"\n"):
            line += self.read(1)
        return line

    def write(self, data):
        raw = data.encode() if isinstance(data, str) else bytes(data)
        _chan.exchange_data(_ops.OUTPUT, 0, raw)
        return len(data)

    def flush(self):
        pass


class _Poll:
    def __init__(self):
        self.registered = []

    def register(self, thing, events=5):
        self.registered.append((thing, events))

    def unregister(self, thing):
        self.registered = [pair for pair in self.registered if pair[0] is not thing]

    def poll(self, timeout=-1):
        """Timeouts other than 0 are not needed: the loop sleeps by itself."""
        return [
            (thing, event)
            for thing, events in self.registered
            for event in ((events & 4) | (events & 1 if _console.waits() else 0),)
            if event
        ]

    def ipoll(self, timeout=-1, flags=0):
        return iter(self.poll(timeout))


_console = _Console()
sys.stdin = sys.stdout = sys.stderr = _console
_module("select", poll=_Poll, POLLIN=1, POLLOUT=4, POLLERR=8, POLLHUP=16)


# ---- the file system


def _path(name):
    """Of the host, for a path on the board; nothing leads out of the folder."""
    name = name.decode() if isinstance(name, bytes) else name
    inside = os.path.normpath(name.replace("\\", "/")).replace("\\", "/").lstrip("/.")
    return os.path.join(ROOT, inside) if inside else ROOT


def _board_open(name, mode="r", *rest, **more):
    if isinstance(name, str | bytes) and sys._getframe(1).f_globals.get("__file__") != __file__:
        return _open(_path(name), mode, *rest, **more)
    return _open(name, mode, *rest, **more)


def _ilistdir(name="/"):
    for entry in os.scandir(_path(name)):
        if entry.name.startswith("__pycache__"):
            continue
        folder = entry.is_dir()
        yield (entry.name, 0x4000 if folder else 0x8000, 0, 0 if folder else entry.stat().st_size)


def _stat(name):
    found = os.stat(_path(name))
    folder = os.path.isdir(_path(name))
    return (0x4000 if folder else 0x8000, 0, 0, 0, 0, 0, 0 if folder else found.st_size, 0, 0, 0)


def _rename(old, new):
    os.replace(_path(old), _path(new))


def _remove(name):
    if os.path.isdir(_path(name)):
        if os.listdir(_path(name)):
            raise OSError(errno.ENOTEMPTY, name)
        os.rmdir(_path(name))
    else:
        os.remove(_path(name))


def _statvfs(name):
    used = sum(
        (os.path.getsize(os.path.join(folder, file)) + 4095) // 4096
        for folder, _, files in os.walk(ROOT) for file in files
    )
    free = max(0, 352 - used)
    return (4096, 4096, 352, free, free, 0, 0, 0, 0, 255)


_board_os = _module(
    "os", open=os.open, listdir=lambda name="/": [e[0] for e in _ilistdir(name)],
    ilistdir=_ilistdir, stat=_stat, rename=_rename, remove=_remove, unlink=_remove,
    rmdir=lambda name: os.rmdir(_path(name)), mkdir=lambda name: os.mkdir(_path(name)),
    statvfs=_statvfs, urandom=os.urandom, sync=lambda: None, getcwd=lambda: "/",
    chdir=lambda name: None, sep="/",
)


# ---- the board's own programs


def _run(name):
    try:
        with _open(os.path.join(ROOT, name), encoding="utf-8") as file:
            text = file.read()
    except OSError:
        return
    try:
        exec(compile(text, name, "exec"), {"__name__": "__main__"})
    except SystemExit:
        machine.soft_reset()
    except BaseException:
        # in the order in which a board prints it: for people only
        traceback.print_exc()


sys.path[:] = [p for p in sys.path if p != HERE]
sys.path[:0] = [ROOT, os.path.join(ROOT, "lib")]
builtins.open = _board_open
_chan.exchange(_ops.SLEEP)
_chan.exchange(_ops.START)
_run("boot.py")
if os.environ["TWIN_MODE"] == "main":
    _run("main.py")
_chan.at_prompt = True
_chan.exchange(_ops.PROMPT)
while _chan._from.readinto(_chan.rx):
    pass
