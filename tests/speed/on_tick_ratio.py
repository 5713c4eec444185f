"""Runs on MicroPython: see tick_ratio.py."""
# ruff: noqa: E402, F401, I001, UP031

import gc
import os
import utime

gc.collect()
before = gc.mem_alloc()

import steadyturn_fw.main

gc.collect()
imported = gc.mem_alloc()

import bench
import machine
import time

gc.collect()
fakes = gc.mem_alloc()
os.mkdir("board")
b = bench.Bench("board")
machine.recording = False
gc.collect()
started = gc.mem_alloc()


def bare(count):
    """us of a two-register read."""
    sensor = b.loop.sensor
    i2c, address, two = sensor.i2c, sensor.address, sensor.two
    begin = utime.ticks_us()
    for _ in range(count):
        i2c.readfrom_mem_into(address, 1, two)
        i2c.readfrom_mem_into(address, 2, two)
    return utime.ticks_diff(utime.ticks_us(), begin) / count


def ticks(count):
    """us of a tick, with the clock's step that both would need left out."""
    tick = b.loop.tick
    total = 0
    for _ in range(count):
        time.sleep_ms(20)
        begin = utime.ticks_us()
        tick()
        total += utime.ticks_diff(utime.ticks_us(), begin)
        if b.loop.journal.pending:
            b.loop.writing.work()
    return total / count


read = min([bare(5000) for _ in range(5)])
print("bare read of two registers: %.2f us" % read)
for what, mv, ma in (("rest", 300, 0), ("faster", 4000, 0), ("hold, connected", 6500, 500)):
    b.set(mv, ma)
    b.run(4000)
    best = min([ticks(2000) for _ in range(3)])
    print("%-16s %.2f us a tick, ratio %.1f" % (what, best, best / read))
print("heap, 64-bit words: import %d bytes" % (imported - before))
print("heap, 64-bit words: start %d bytes more" % (started - fakes))
