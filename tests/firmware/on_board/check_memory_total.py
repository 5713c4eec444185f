"""Allocations that the heap lock does not see: frames of large functions, and exceptions."""

import bench
import check
import machine
import micropython
import time

from asking import board
from states import STATES


def test_memory_total_unchanged_in_1000_ticks_of_each_state():
    for changed in (
        {}, {"part": bench.Ina3221(), "chip": "ina3221", "out_shunt_uohm": 50000},
        {"part": bench.Amplifier(), "chip": "adc"},
    ):
        unchanged(board(**changed))


def unchanged(b):
    machine.recording = False
    tick = b.loop.tick
    for what, mv, ma, _ in STATES:
        b.set(mv, ma)
        b.run(4000)
        left = 1000
        while left:
            before = micropython.mem_total()
            for _ in range(100):
                time.sleep_ms(20)
                tick()
            check.equal(micropython.mem_total() - before, 0, what)
            left -= 100
            b.loop.writing.work()


def test_memory_total_of_an_answer():
    b = board()
    b.run(1000)
    link = b.loop.link

    class Nothing:
        def write(self, data):
            pass

    link.writer = Nothing()
    link.service()  # the first look makes the list that it looks through
    before = micropython.mem_total()
    for _ in range(100):
        link.service()
        for byte in b":state\n":
            link._take(byte)
    check.equal(micropython.mem_total() - before, 0, "state")


check.run(globals())
