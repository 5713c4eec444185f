"""The whole program, tick by tick: memory, a session, faults, the journal, the link."""

import bench
import check
import machine
import micropython
import sys
import time

from states import STATES
from asking import again, ask, board, events, state, stored
from steadyturn_fw import frames, pages

FAST = sys.maxsize > 1 << 40


def locked(b, ticks):
    """Ticks with the heap locked; what would have been written waits outside."""
    step = time.sleep_ms
    tick = b.loop.tick
    micropython.heap_lock()
    try:
        for _ in range(ticks):
            step(20)
            tick()
    finally:
        micropython.heap_unlock()


def test_no_allocation_in_1000_ticks_of_each_state():
    for chip, name in (
        (bench.Ina226(), "ina226"), (bench.Ina219(), "ina219"), (bench.Ina3221(), "ina3221"),
        (bench.Amplifier(), "adc"),
    ):
        b = board(part=chip, chip=name, out_shunt_uohm=50000, over_out_mv=5450)
        machine.recording = False
        for what, mv, ma, cue in STATES:
            b.set(mv, ma)
            b.run(3000)
            check.equal(b.now.cue, cue, what)
            # 1,000 each; of the slow build 1,000 in hold and 200 in the others
            for _ in range(10 if FAST or what == "hold" else 2):
                locked(b, 100)  # 2 s; a page closes in every third of them
                b.loop.writing.work()


def test_a_session():
    b = board()
    b.set(4000, 0)
    b.run(3000)
    check.equal((b.now.cue, b.now.connected), (pages.FASTER, False), "slow")
    b.set(7500, 0)
    b.run(2000)
    check.equal((b.now.cue, b.now.connected), (pages.HOLD, True), "connected")
    before = state(b)
    b.set(6500, 500)
    b.run(60000)
    now = state(b)
    check.near(now["energy_in_uj"] - before["energy_in_uj"], 195000000, 195000, "3.25 W, 60 s")
    check.near(now["turns_m"] - before["turns_m"], 69300, 700, "69 turns")
    check.near(now["connected_samples"] - before["connected_samples"], 300, 2, "connected")
    check.near(now["band_samples"] - before["band_samples"], 300, 2, "in band")
    check.equal(now["connections"], 1, "connections")
    check.equal((now["connected"], now["why"], now["fault"]), (1, 0, 0), "flags")
    check.equal((now["bus_mv"], now["settings_ok"]), (6500, 1), "readings")
    b.set(300, 0)
    b.run(5000)
    check.equal((b.now.cue, b.now.connected), (pages.REST, False), "let go")
    found = stored(b)
    check.equal([pages.get(p, pages.AT_SEQ, 4) for p in found], list(range(1, len(found) + 1)),
                "all pages, in order, once")
    check.equal(events(found[0])[0][0], "boot", "the first says boot")
    names = [name for page in found for name, _ in events(page)]
    check.true("connected" in names and "released" in names, "what happened")


def test_bad_settings():
    b = board(low_dtpm=1)
    check.equal(b.loaded.settings, None, "refused")
    machine.lamp.clear()
    b.run(20000)
    check.equal(b.now.cue, pages.FAULT, "cue")
    lit = [b_[0] - a[0] for a, b_ in zip(machine.lamp, machine.lamp[1:]) if a[1]]
    # the board's own LED gets its bits as well, 30 us
    check.true(set(lit) <= {600, 601} and len(lit) > 3, "the lamp counts: one long flash")
    check.equal([edge for edge in machine.edges if edge[1] == 16], [], "no pin of a load switch")
    now = state(b)
    check.equal((now["settings_ok"], now["fault"], now["settings_crc"]), (0, 1, 0), "state")
    check.equal(pages.REASONS[now["why"]], "settings_bad", "why")
    check.equal(ask(b, frames.ASK_SETTINGS + b" 0")[1], bytes(4), "none in force")
    check.true(("fault", 1) in events(stored(b)[0]), "an entry")


def test_pins_that_the_board_lacks():
    whole = machine.Pin.__init__

    def strict(self, number, mode=-1, pull=-1, value=None):
        if number > 29:
            raise ValueError("invalid pin")
        whole(self, number, mode, pull, value)

    machine.Pin.__init__ = strict
    try:
        b = board(switch_pin=40)
        check.equal(b.loaded.problems, ["pins"], "problem")
        check.equal(state(b)["settings_ok"], 0, "refused")
    finally:
        machine.Pin.__init__ = whole


def test_over_voltage_is_stored_and_shown():
    b = board()
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(10000)
    machine.edges.clear()
    b.set(13000, 900)
    b.tick()
    check.equal((b.now.connected, b.now.cue), (False, pages.STOP), "in the same tick")
    check.equal([e[1:] for e in machine.edges], [(19, 1)], "no edge any more, and let go")
    b.run(5000)
    names = [pair for page in stored(b) for pair in events(page)]
    check.true(("released", pages.WHY_OVER_VOLTAGE) in names, "why")
    check.true(("fault", pages.FAULT_OVER_VOLTAGE) in names, "fault")
    c = again()  # the power went with it
    c.set(4000, 0)
    machine.lamp.clear()
    c.run(5000)
    lit = [b_[0] - a[0] for a, b_ in zip(machine.lamp, machine.lamp[1:]) if a[1]]
    check.equal(lit[:3], [600, 600, 600], "three long flashes before any cue")


def test_measured_output():
    b = board(part=bench.Ina3221(), chip="ina3221", out_shunt_uohm=50000, over_out_mv=5450,
              path_mohm=100)
    b.chip.set(7500, 0, 5096, 0)
    b.run(5000)
    check.equal(b.now.connected, True, "connected")
    b.chip.set(6504, 560, 5048, 640)
    machine.adc[26] = bench.adc_word(6504, 11000)
    b.run(600)
    before = state(b)
    b.run(60000)
    now = state(b)
    # 5.048 V * 0.64 A less 0.1 ohm * 0.4096 A2, 60 s
    check.near(now["energy_out_uj"] - before["energy_out_uj"], 191385600, 4000, "measured")
    check.near(now["energy_in_uj"] - before["energy_in_uj"], 218534400, 15000, "input")
    check.true(stored(b)[-1][pages.AT_FLAGS] & pages.FLAG_OUT_MEASURED, "the page says so")
    b.chip.dead = True
    b.run(200)
    b.chip.dead = False
    b.run(10000)
    flags = [page[pages.AT_FLAGS] & pages.FLAG_OUT_MEASURED for page in stored(b)]
    check.true(0 in flags, "part of this page was inferred")
    other = board()
    other.run(6000)
    flags = [page[pages.AT_FLAGS] & pages.FLAG_OUT_MEASURED for page in stored(other)]
    check.equal(set(flags), {0}, "a rig without")


def test_over_voltage_at_the_output():
    b = board(part=bench.Ina3221(), chip="ina3221", out_shunt_uohm=50000, over_out_mv=5450)
    b.chip.set(7500, 300, 5096, 300)
    b.run(5000)
    check.equal(b.now.connected, True, "connected")
    b.chip.set(7500, 300, 5448, 300)
    b.tick()
    check.equal(b.now.connected, True, "just below")
    b.chip.set(7500, 300, 5456, 300)
    b.tick()
    check.equal((b.now.connected, b.now.cue), (False, pages.STOP), "in the same tick")
    check.equal(b.loop.faults.shown, pages.FAULT_OVER_VOLTAGE, "fault")
    b.run(10000)
    check.equal((b.now.connected, b.now.cue), (False, pages.STOP), "for as long as it lasts")
    b.chip.set(7500, 0, 5096, 0)
    b.run(8000)
    check.equal((b.now.connected, b.now.cue), (True, pages.HOLD), "and back by itself")


def test_sensor_lost_goes_on_by_volts():
    b = board()
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(2000)
    b.chip.dead = True
    b.run(5000)
    now = state(b)
    check.equal((now["connected"], now["fault"]), (1, pages.FAULT_SENSOR), "still charging")
    check.equal(pages.VALIDITY[now["validity"]], "volts_only", "said so")
    check.true(now["sensor_errors"] >= 5, "counted")
    b.chip.dead = False
    b.run(12000)
    now = state(b)
    check.equal((now["connected"], now["fault"], now["validity"]), (1, 0, 0), "healed")


def test_stall():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    before = b.loop.tally.energy_in.total.units()
    b.tick(400)
    check.equal(b.now.connected, False, "the hardware has let go: so has the program")
    added = b.loop.tally.energy_in.total.units() - before
    check.near(added, 650000, 1000, "0.2 s of it is counted, no more")
    b.run(10000)
    names = [pair for page in stored(b) for pair in events(page)]
    check.true(("gap", 400) in names, "an entry")
    check.equal(b.now.connected, True, "connected again")


def test_stop_by_ctrl_c():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    seq = b.loop.store.last_seq
    b.loop.stop()
    check.equal((b.loop.switch.connected, b.loop.store.last_seq), (False, seq + 1), "saved")
    check.equal(machine.lamp[-1][1], 0, "dark")
    check.true(("host", 2) in events(stored(b)[-1]), "why")


def test_program_fault_is_stored():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    b.loop.stop(pages.FAULT_PROGRAM)
    check.true(("fault", pages.FAULT_PROGRAM) in events(stored(b)[-1]), "an entry")
    c = again()
    check.equal(c.loop.lamp.stored, pages.FAULT_PROGRAM, "shown at the next boot")


check.run(globals())
