"""Marks at the begin and end of each part of many ticks, for test_steps.py to add up.

Runs on the metered 32-bit build (METER set; meter_wasm.mjs): there a call of the built-in clock
notes how many instructions and bytecodes were executed. What stands for hardware here is Python;
its calls are marked too, so that their share can be taken off. A tick allocates nothing, nor do
the marks, so the same program gives the same figures everywhere.
"""

import gc

import bench
import js
import machine
import time
import utime

from asking import board
from states import STATES

SPAN = 236  # ticks looked at: a page closes in them
HARDWARE = (
    ("i", machine.I2C, "readfrom_mem_into", 4), ("a", machine.ADC, "read_u16", 1),
    ("v", machine.Pin, "value", 2), ("w", machine.PWM, "duty_u16", 2),
)
PARTS = (  # letter, owner, method, arguments
    ("C", "", "_clock", 0), ("S", "sensor", "read", 1), ("E", "estimate", "update", 1),
    ("P", "", "_protect", 1), ("Q", "cue", "update", 1), ("T", "tally", "add", 1),
    ("N", "", "_percent", 0), ("B", "count", "update", 1), ("L", "lamp", "update", 3),
    ("J", "", "_record", 1), ("U", "switch", "pulse", 0),
)
END = 46
mark = utime.ticks_ms
ids = bytearray(1024)
noted = 0


def note(letter):
    """Before the mark where a part begins, after it where one ends."""
    global noted
    ids[noted] = letter
    noted = noted + 1 & 1023


def part(function, letter, arguments):
    """A part of the tick: its letter is noted outside what is marked."""

    def none():
        note(letter)
        mark()
        function()
        mark()
        note(END)

    def one(a):
        note(letter)
        mark()
        function(a)
        mark()
        note(END)

    def three(a, b, c):
        note(letter)
        mark()
        function(a, b, c)
        mark()
        note(END)

    return (none, one, None, three)[arguments]


def device(function, letter, arguments):
    """A call of what stands for hardware: all but the way there and back is marked."""

    def one(a):
        mark()
        note(letter)
        result = function(a)
        note(END)
        mark()
        return result

    def two(a, b=None):
        mark()
        note(letter)
        result = function(a, b)
        note(END)
        mark()
        return result

    def four(a, b, c, d):  # one local more and its frame would be taken from the heap
        mark()
        note(letter)
        function(a, b, c, d)
        note(END)
        mark()

    return (None, one, two, None, four)[arguments]


def tell(what):
    global noted
    js.told(what, bytes(ids[:noted]).decode())
    noted = 0
    gc.collect()


def fit(loop):
    """Marks round each part of a tick."""
    for letter, owner, name, arguments in PARTS:
        whose = getattr(loop, owner) if owner else loop
        setattr(whose, name, part(getattr(whose, name), ord(letter), arguments))


def nothing():
    pass


def while_steps(n):
    while n:
        n -= 1


def for_steps(n):
    for _ in range(n):
        pass


def ten(a, b):
    c = a + b
    c = c - a
    c = c & 255
    c = c + b
    c = c * 3
    c = c - b
    c = c + 1
    c = c >> 1
    c = c | a
    return c ^ b


def calls(n):
    while n:
        ten(3, 4)
        n -= 1


def anchors():
    """The figures that a real board is known for, and what a mark itself costs."""
    empty = part(nothing, 110, 0)
    mark()
    empty()
    mark()
    tell("part")
    for name, function in (("while", while_steps), ("for", for_steps), ("calls", calls)):
        for n in (100, 1100):
            mark()
            function(n)
            mark()
            tell("%s %d" % (name, n))


def hardware():
    """One call of each of the stand-ins, from a function that does nothing else."""
    bus = machine.I2C(0)
    two_bytes = bytearray(2)
    read = machine.ADC(26).read_u16
    pin = machine.Pin(16).value
    duty = machine.PWM(machine.Pin(15)).duty_u16
    for letter, call in (
        ("i", lambda: bus.readfrom_mem_into(0x40, 1, two_bytes)), ("a", read),
        ("v", lambda: pin(1)), ("w", lambda: duty(1)), ("n", lambda: None),
    ):
        mark()
        call()
        mark()
        tell("hardware " + letter)


def ticks(chip, fitted, changed):
    b = board(part=fitted, chip=chip, over_out_mv=5450, **changed)
    machine.recording = False
    loop = b.loop
    fit(loop)
    for what, mv, ma, cue in STATES:
        b.set(mv, ma)
        b.run(3000)
        if b.now.cue != cue:
            raise AssertionError(what)
        tell("")
        for _ in range(SPAN):
            time.sleep_ms(20)
            mark()
            loop.tick()
            mark()
            tell("%s %s %d %d" % (chip, what, loop.journal.index, loop.journal.seq))
            loop.writing.work()
            tell("")


class Sent:
    """What a host has sent, where stdin would be; its own cost is counted too."""

    def __init__(self, link, data):
        self.data = data
        self.at = 0
        link.reader = self
        link._waiting = self.waiting

    def waiting(self):
        return self.at < len(self.data)

    def readinto(self, one):
        one[0] = self.data[self.at]
        self.at += 1
        return 1

    def write(self, data):
        pass


def link_costs():
    """Answers, and bytes that are none."""
    b = board()
    b.run(10000)
    link = b.loop.link
    for what, data in (
        ("garbage 0", b""), ("garbage 12", b"x" * 11 + b"\n"),
        ("garbage 192", b"\xff" * 191 + b"\n"),
        ("state", b":state\n"), ("page", b":page 1\n"), ("settings", b":settings 0\n"),
        ("who", b":who\n"), ("now", b":now\n"), ("page", b":page 1\n"), ("made ready", b""),
        ("next", b":+\n"),
    ):
        link_cost(link, what, data)


def link_cost(link, what, data):
    link.writer = Sent(link, data)
    service = link.service
    gc.collect()
    mark()
    service(17)
    mark()
    tell("link " + what)


def bench_costs():
    """Of a bench, last: loading it leaves a lot on the heap."""
    b = board(place="enable", second_load_pin=22, second_load_mohm=47000)
    b.set(6500, 500)
    b.run(3000)
    link = b.loop.link
    link_cost(link, "loading", b":bench 650 20 0\n")
    b.run(1000)
    for what, data in (
        ("step", b":step\n"), ("bench", b":bench\n"), ("bench order", b":bench 650 20 0\n"),
        ("samples", b":samples 25\n"), ("bench end", b":bench end\n"),
    ):
        link_cost(link, what, data)


anchors()
link_costs()
for letter, owner, name, arguments in HARDWARE:
    setattr(owner, name, device(getattr(owner, name), ord(letter), arguments))
machine.i2c_devices[0x40] = bench.Ina226()
hardware()
for chip, fitted, changed in (
    ("ina226", bench.Ina226(), {}), ("ina219", bench.Ina219(), {}),
    ("ina3221", bench.Ina3221(), {"out_shunt_uohm": 50000}), ("adc", bench.Amplifier(), {}),
):
    ticks(chip, fitted, changed)
bench_costs()
