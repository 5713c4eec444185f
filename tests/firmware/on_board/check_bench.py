"""The bench mode: what is ordered, added up and answered, and what ends it."""

import gc
import sys
import time

import check
import machine
import micropython

from asking import ask, board, events, stored
from second_load import CHIPS, OHM, PIN, Source, bench_of, step_of
from steadyturn_fw import bench_frames as codes, frames, pages

FAST = sys.maxsize > 1 << 40

def test_a_board_without_a_bench_says_so():
    b = board()
    told = bench_of(b)
    check.equal((told["on"], told["ended"]), (0, codes.END_NOT_BEGUN), "not begun")
    check.equal(step_of(b)["step_why"], codes.STEP_NO_BENCH, "no step")
    check.equal(ask(b, frames.ASK_SAMPLES + b" 0")[0], frames.END, "no samples")
    for line in (b":bench 650", b":bench 650 0", b":bench 650 0 1 1", b":bench 650 0 9",
                 b":bench 40 0 1", b":bench 9999 0 1", b":bench  650 0 1", b":bench x 0 1",
                 b":bench -1 0 1", b":bench 650 99999999999 1", b":step 1", b":samples",
                 b":samples x", b":bench 650 0 2", b":bench 650 0 ", b":benches"):
        check.equal(ask(b, line)[0], frames.WRONG, line)
    check.equal(b.loop.bench is None or not b.loop.bench.on, True, "nothing was begun")
    check.equal(b.loop.switch.asked, False, "nor is anything kept released")
    b = board(version=9)
    told = bench_of(b, b" 650 0 1")
    check.equal((told["on"], told["ended"]), (0, codes.END_NO_SETTINGS), "without settings")
    check.equal(step_of(b)["step_why"], codes.STEP_NO_BENCH, "no step either")


def test_plateaus():
    s = Source()
    b = s.b
    told = s.connected()
    check.equal((told["on"], told["connected"], told["order"]), (1, 1, 2), "connected")
    check.equal((told["ticks"], told["count"]), (0, 0), "sums begin anew")
    s.ticks(6000)
    told = bench_of(b)
    check.equal((told["ticks"], told["count"], told["missed"]), (300, 300, 0), "ticks")
    check.equal((told["connected_count"], told["second_count"]), (300, 0), "so loaded")
    check.near(told["mv_sum"] / 300, 7800 - 750, 5, "mean volts")
    check.near(told["ma_sum"] / 300, 300, 1, "mean amps")
    check.true(told["mv_min"] <= told["mv_sum"] / 300 <= told["mv_max"], "least and most")
    check.equal((told["blocks"], told["beat_ms"]), (8, 923), "blocks, beat")
    for i in range(codes.BLOCKS):
        at = codes.BENCH_HEAD_BYTES + i * codes.BLOCK_BYTES
        check.near(pages.get(told["payload"], at, 4) / 25, 7050, 6, "a block")
    bench_of(b, b" 700 20 2")
    s.ticks(2000)
    told = bench_of(b)
    check.equal((told["second"], machine.pins[PIN].level), (1, 1), "second load")
    check.near(told["ma_sum"] / told["count"], 300 + 7050 // OHM, 12, "both loads")
    check.equal((told["beat_ms"], told["pace_dtpm"], told["order"]), (857, 700, 3), "order")
    bench_of(b, b" 700 20 0")
    s.ticks(1000)
    told = bench_of(b)
    check.equal((told["connected"], told["second"], machine.pins[PIN].level), (0, 0, 0), "open")
    check.equal(pages.REASONS[told["why"]], "asked", "why")
    bench_of(b, b" 700 20 3")
    s.ticks(1000)
    told = bench_of(b)
    check.equal((told["connected"], told["second"]), (0, 1), "the second load alone")
    bench_of(b, b" 700 0 3")
    s.ticks(1000)
    check.equal(b.now.cue, pages.FASTER, "only the beat")
    told = bench_of(b, b" end")
    check.equal((told["on"], told["ended"], told["second"]), (0, codes.END_ASKED, 0), "over")
    check.equal((machine.pins[PIN].level, b.loop.lamp.beat), (0, 923), "as usual")
    check.equal(b.now.cue, pages.HOLD, "the beat is over")
    s.ticks(20)
    check.equal(b.now.cue, b.loop.cue.cue, "and stays so")
    s.ticks(5000)
    check.equal(b.now.connected, True, "charging goes on")
    ask(b, frames.ASK_FLUSH)
    found = [events(page) for page in stored(b)]
    marked = [("bench", 650) in page or ("bench", 700) in page for page in found]
    over = [("bench", 0) in page for page in found]
    first, last = marked.index(True), over.index(True)
    check.true(all(marked[first : last + 1]), "each page of it says so")
    check.true(last < len(found) - 1 and not any(marked[last + 1 :]), "and no later one")


def test_the_second_load_alone_where_the_switch_stands_before_it():
    s = Source(place="bus_switch")
    check.equal(ask(s.b, b":bench 650 0 3")[0], frames.WRONG, "not there")
    bench_of(s.b, b" 650 0 0")
    check.equal(ask(s.b, b":bench 650 0 3")[0], frames.WRONG, "nor later")
    check.equal(step_of(s.b)["step_why"], codes.STEP_NO_CURRENT, "before the first reading")
    s.ticks(1000)
    check.equal(step_of(s.b)["step_why"], codes.STEP_RELEASED, "nor a step")


def test_what_the_lamp_shows():
    s = Source()
    shown = []
    # 516 mV of drops at 300 mA: 7284 mV are 65 turns a minute
    for emf, order in ((7300, b" 650 20 0"), (7300, b" 650 20 1"), (8300, b" 650 20 1"),
                       (6800, b" 650 20 1"), (7300, b" 500 20 1"), (7300, b" 500 0 1")):
        s.emf_mv = emf
        told = s.connected(order)
        shown.append((pages.CUES[told["cue"]], codes.GUIDES[told["guide"]]))
    check.equal(shown[0], ("faster", "beat"), "open circuit: nobody knows, it beats")
    check.equal(shown[1:], [("hold", "volts"), ("slower", "volts"), ("faster", "volts"),
                            ("slower", "volts"), ("faster", "beat")], "about the pace ordered")


def test_what_ends_it():
    s = Source()
    b = s.b
    s.connected(b" 650 0 2")
    s.ticks(1000)
    check.equal(machine.pins[PIN].level, 1, "second load")
    s.ticks(13900)
    told = bench_of(b)
    check.equal(told["on"], 1, "nearly fifteen seconds")
    s.ticks(15020)
    told = bench_of(b)
    check.equal((told["on"], told["ended"]), (0, codes.END_SILENT), "silent")
    check.equal((machine.pins[PIN].level, b.loop.cue is b.loop.bench), (0, False), "as usual")
    s.connected(b" 650 0 2")
    s.ticks(1000)
    s.emf_mv = 16000
    s.ticks(60)
    told = bench_of(b)
    check.equal((told["on"], told["ended"]), (0, codes.END_PROTECTION), "over-voltage")
    check.equal((told["connected"], machine.pins[PIN].level), (0, 0), "released")
    check.equal(pages.REASONS[told["why"]], "over_voltage", "why")
    s.emf_mv = 7800
    s.ticks(5000)
    s.connected(b" 650 0 2")
    s.ticks(1000)
    b.loop.release()
    told = bench_of(b)
    check.equal((told["ended"], machine.pins[PIN].level), (codes.END_RELEASED, 0), "released")
    told = s.connected(b" 650 0 2")
    check.equal((told["on"], told["connected"], told["second"]), (1, 0, 0), "it stays so")
    s.part.dead = True
    s.ticks(200)
    told = bench_of(b)
    check.equal(told["ended"], codes.END_SENSOR_LOST, "sensor")


def test_the_end_of_the_program():
    s = Source()
    s.connected(b" 650 0 2")
    s.ticks(1000)
    check.equal(machine.pins[PIN].level, 1, "second load")
    s.b.loop.stop()
    check.equal((machine.pins[PIN].level, s.b.loop.bench.ended), (0, codes.END_PROGRAM), "off")


def test_nothing_is_allocated():
    usual = machine.ADC.read_u16
    for chip in CHIPS if FAST else ("ina226", "adc"):
        s = Source(chip, turn_pin=17, turn_pulses=4)
        s.connected(b" 650 30 2")
        b = s.b
        machine.recording = False
        micropython.heap_lock()
        try:
            for n in range(150):
                if n % 12 == 0:
                    machine.pins[17].see(n // 12 & 1)
                time.sleep_ms(20)
                b.loop.tick()
        finally:
            micropython.heap_unlock()
        told = bench_of(b)
        check.true(told["count"] > 100 and told["pulses"] > 5, "ticks of a bench")
        b.loop.writing.work()
        gc.collect()
        micropython.heap_lock()
        try:
            b.loop.bench.step.run()
        finally:
            micropython.heap_unlock()
        check.equal(b.loop.bench.step.why, codes.STEP_DONE, "a step")
    machine.ADC.read_u16 = usual


check.run(globals())
