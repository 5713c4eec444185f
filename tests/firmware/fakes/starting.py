"""Starts of a board: what is forgotten before each, and main.py with a loop of the test's."""

import machine
import time

from asking import HERE
from steadyturn_fw import chips, main, note, safe, settings
from steadyturn_fw.guard import Guard

PICO = chips.CHIPS["rp2040"]
NONE = chips.CHIPS[""]


class Stop(BaseException):
    """Ends what never ends by itself."""


def fresh(cause=machine.PWRON_RESET):
    machine.memory.clear()
    machine.dogs.clear()
    machine.host[0] = False
    machine.cause[0] = cause
    note.FILE = HERE + "/starts.bin"


def guard(wanted=True, chip=PICO):
    return Guard(chip, note.Note(chip), wanted)


class Start:
    """main.run() with a loop of ours; what it did."""

    def __init__(self, loop=None):
        self.resets = 0
        self.raised = ""
        keep = main.Loop, machine.reset, time.sleep_ms
        steps = [0]

        def reset():
            self.resets += 1
            raise Stop

        def sleep(ms):
            steps[0] += 1
            if steps[0] > 20000:
                raise Stop
            keep[2](ms)

        if loop is not None:
            main.Loop = loop
        machine.reset = reset
        safe.sleep_ms = main.sleep_ms = sleep
        self.began = time.now_us
        try:
            main.run()
        except Stop:
            pass
        except KeyboardInterrupt:
            self.raised = "KeyboardInterrupt"
        finally:
            main.Loop, machine.reset, _ = keep
            safe.sleep_ms = main.sleep_ms = keep[2]
        self.ms = (time.now_us - self.began) // 1000


class Here:
    """Settings that are looked for where the test runs."""

    def __init__(self):
        self.labels = []

    def load(self, doubted=False):
        loaded = settings.load(HERE + "/settings.json", doubted)
        self.labels.append(loaded.settings.label)
        return loaded


def here():
    main.settings = Here()
    return main.settings


def broken(*_):
    raise ValueError("a fault of the program")
