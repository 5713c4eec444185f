"""The clocks wrap, ticks_us after 17.9 minutes and ticks_ms after 12.4 days: nothing follows."""

import bench
import check
import machine
import sys

from asking import board, stored
from steadyturn_fw import pages
from steadyturn_fw.loop import LAST_MS

FAST = sys.maxsize > 1 << 40
WRAP = 1 << 30
SETTLE_MS = 20000  # from the start to the wrap


def course(start_us, chip, name):
    """What a board does that is cranked, loses its sensor, and is let go, with the wrap in each
    part of it: edges, lamp, totals, pages."""
    bench.START_US = start_us
    try:
        b = board(part=chip, chip=name)
    finally:
        bench.START_US = 0
    b.set(7500, 0)
    b.run(SETTLE_MS - 8000)
    b.set(6500, 500)
    b.run(6000)
    if hasattr(chip, "dead"):
        chip.dead = True  # looked for once a second, the wrap between
        b.run(5000)
        chip.dead = False
    b.run(5000)
    for _ in range(30):
        machine.pins[14].level = 0  # the button, from before one wrap to behind it
        b.run(60)
        machine.pins[14].level = 1
        b.run(200)
    b.set(12500, 0)
    b.run(1000)
    b.set(300, 0)
    b.run(4000)
    began = start_us // 1000
    edges = [(ms - began, pin, level) for ms, pin, level in machine.edges]
    lamp = [(ms - began, duty) for ms, duty in machine.lamp]
    b.loop.writing.flush()
    return edges, lamp, b.loop.tally.energy_in.total.units(), [bytes(p) for p in stored(b)]


def test_nothing_follows_from_a_wrap():
    for name, part in (("ina226", bench.Ina226), ("adc", bench.Amplifier)):
        right = course(0, part(), name)
        check.true(len(right[0]) > 500 and len(right[3]) > 5, "something happened")
        for what, wrap_us in (("us", WRAP), ("ms", WRAP * 1000)):
            for before_ms in (SETTLE_MS, SETTLE_MS + 1500, SETTLE_MS + 7000)[: 3 if FAST else 1]:
                # whole milliseconds, so that both courses are rounded alike
                found = course((wrap_us // 1000 - before_ms) * 1000, part(), name)
                for i in range(4):
                    check.equal(
                        found[i] == right[i], True,
                        "%s, %s, %d ms: %s" % (
                            name, what, before_ms, ("edges", "lamp", "energy", "pages")[i]),
                    )


def test_a_boot_of_twelve_days_goes_on_as_the_next():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(5000)
    energy = b.loop.tally.energy_in.total.units()
    b.now.t_ms = LAST_MS - 3000
    b.run(10000)
    check.equal(b.loop.journal.boot, 2, "boot")
    check.true(b.now.t_ms < 8000, "its clock begins anew")
    check.true(b.now.connected, "and the load stays connected")
    check.near(b.loop.tally.energy_in.total.units() - energy, 32500000, 66000, "10 s of 3.25 W")
    b.loop.writing.flush()
    found = stored(b)
    check.equal([pages.get(p, pages.AT_SEQ, 4) for p in found], list(range(1, len(found) + 1)),
                "pages, each once")
    boots = [pages.get(p, pages.AT_BOOT, 3) for p in found]
    check.equal((boots[0], boots[-1], sorted(boots) == boots), (1, 2, True), "boots")


check.run(globals())
