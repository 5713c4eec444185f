"""A step of the second load: its samples with each chip, what refuses it, what is done to it."""

import time

import check
import machine

from second_load import CHIPS, OHM, PIN, Source, bench_of, samples_of, step_of
from steadyturn_fw import bench_frames as codes, pages


def stepped(chip, order, **changed):
    """One step; the head and samples."""
    s = Source(chip, **changed)
    b = s.b
    s.connected(order)
    s.ticks(1000)
    machine.edges.clear()
    begun = time.now_us
    told = step_of(b)
    check.equal(codes.STEP_REASONS[told["step_why"]], "none", chip)
    check.true(time.now_us - begun < 72000, "so long")
    return s, told


def test_a_step_with_each_chip():
    usual = machine.ADC.read_u16
    for chip in CHIPS:
        s, told = stepped(chip, b" 650 0 1")
        b = s.b
        head, found = samples_of(b)
        check.equal((head["total"], len(found)), (told["step_samples"],) * 2, chip)
        on, off = head["on_us"], head["off_us"]
        times = [sample[0] for sample in found]
        check.true(on - times[0] >= 5000 and off - on >= 30000, "long enough before and with it")
        check.true(times[-1] - off >= 30000, "and after it")
        gaps = [times[i + 1] - times[i] for i in range(len(times) - 1)]
        check.true(max(gaps) <= 1000, "1 kHz: %s %d" % (chip, max(gaps)))
        mv = []
        for at, bus, amps in found:
            mv.append((bus * head["bus_factor"] >> head["bus_shift"]) + head["bus_offset_mv"])
        check.near(mv[5], 7050, 30, "before")
        check.near(mv[times.index(next(t for t in times if t >= off)) - 1],
                   7050 * OHM * 10 // (OHM * 10 + 25), 30, "with it")
        check.near(mv[-1], 7050, 30, "after it")
        amps = found[5][2]
        if head["amps_signed"] and amps & 0x8000:
            amps -= 65536
        ma = (amps - head["amps_zero"]) * head["amps_factor"] >> head["amps_shift"]
        check.near(ma + head["amps_offset_ma"], 300, 3, "amps")
        level = [edge[2] for edge in machine.edges if edge[1] == PIN]
        check.true(1 in level and level[-1] == 0, "switched on and off")
        check.equal(len([1 for edge in machine.edges if edge[1] == 16]), 2, "edges")
        if chip != "adc":
            check.equal(s.part.registers[0], b.loop.sensor.chip.OUR_CONFIG, "put back")
        if chip == "ina226":
            check.equal((s.part.registers[6] & 0xFC00, s.part.registers[7]), (0x2000, 9600),
                        "the alert stands")
        b.tick(4)
        check.equal((b.now.connected, b.loop.sensor.errors), (True, 0), "nothing was lost")
        s.ticks(1000)
        check.equal((b.now.connected, b.loop.sensor.errors), (True, 0), "nor later")
        check.near(b.now.bus_mv, 7050, 15, "readings as before")
    machine.ADC.read_u16 = usual


def test_a_step_the_other_way_round_and_without_the_load():
    s, _ = stepped("ina226", b" 650 0 2")
    head, _ = samples_of(s.b)
    check.true(head["off_us"] < head["on_us"], "off first")
    check.equal(machine.pins[PIN].level, 1, "and as ordered in the end")
    s, _ = stepped("ina226", b" 650 0 0")
    head, found = samples_of(s.b)
    check.equal(found[0][2], 0, "no current before it")
    check.equal((s.b.now.connected, machine.pins[PIN].level), (False, 0), "released throughout")


def test_steps_that_are_refused():
    def why(*order, **changed):
        s = Source(**changed)
        for words in order:
            s.connected(words)
            s.ticks(1000)
        return codes.STEP_REASONS[step_of(s.b)["step_why"]]

    check.equal(why(), "no_bench", "none begun")
    check.equal(why(b" 650 0 1", second_load_pin=-1, second_load_mohm=0), "no_second_load", "")
    check.equal(why(b" 650 0 1", capacitor_uf=0), "no_capacitor", "")
    check.equal(why(b" 650 0 1", connect_mv=9000, over_mv=12000), "released", "")
    check.equal(why(b" 650 0 1", release_mv=6500, connect_mv=6600), "too_low", "")
    check.equal(why(b" 650 0 1", over_ma=500), "too_much", "")
    s = Source()
    s.connected()
    s.ticks(1000)
    check.equal(step_of(s.b)["step_why"], codes.STEP_DONE, "a step")
    first = samples_of(s.b)
    told = step_of(s.b)
    check.equal((told["step_why"], told["steps"]), (codes.STEP_TOO_SOON, 1), "none right after")
    check.equal(samples_of(s.b)[1], first[1], "the samples stay")
    s.ticks(1000)
    s.draw_ma = 200
    check.equal(step_of(s.b)["steps"], 2, "the next takes their place")
    head, found = samples_of(s.b)
    check.equal((head["step"], found[0][2] < first[1][0][2]), (2, True), "and is told from them")


def test_attacks_within_a_step():
    def attacked(action, chip="ina226", **changed):
        s = Source(chip, **changed)
        s.connected(b" 650 0 1")
        s.ticks(1000)
        s.action = s.looks + 40, lambda: action(s)  # in the step's second part
        s.step_ended = None
        try:
            told = step_of(s.b)
            s.step_ended = told
        except KeyboardInterrupt:
            pass
        check.equal(machine.pins[PIN].level, 0, "second load off")
        return s

    def surge(s):
        s.mv = s.emf_mv = 16000

    def overload(s):
        s.draw_ma = 2500

    def sink(s):
        s.mv = s.emf_mv = 2000

    def high_output(s):
        s.out_mv = 5600

    def break_in(s):
        raise KeyboardInterrupt

    def lose(s):
        s.part.dead = True

    for chip in ("ina226", "ina219", "ina3221"):
        s = attacked(surge, chip)
        check.equal(codes.STEP_REASONS[s.step_ended["step_why"]], "protection", "cut short")
        check.equal((s.b.now.connected, s.step_ended["on"]), (False, 0), "released at once")
        check.equal(machine.pins[19].level, 1, "by the let-go pin")
        check.equal(pages.REASONS[s.b.loop.switch.why], "over_voltage", "why")
        head, found = samples_of(s.b)
        check.true(head["reason"] == codes.STEP_PROTECTION and found, "what was seen is kept")
        check.equal(s.part.registers[0], s.b.loop.sensor.chip.OUR_CONFIG, "put back")
    s = attacked(overload)
    check.equal(pages.REASONS[s.b.loop.switch.why], "over_current", "current")
    s = attacked(sink)
    check.equal((pages.REASONS[s.b.loop.switch.why], s.step_ended["on"]), ("low_bus", 1), "low")
    s = attacked(high_output, "ina3221", out_shunt_uohm=50000, over_out_mv=5450)
    check.equal(pages.REASONS[s.b.loop.switch.why], "over_voltage", "the output's volts")
    s = attacked(break_in)
    check.equal(s.step_ended, None, "Ctrl-C goes on to the prompt")
    check.equal(s.part.registers[0], 0x4497, "the chip is put back")
    s = attacked(lose)
    check.equal(codes.STEP_REASONS[s.step_ended["step_why"]], "sensor_lost", "lost")
    s.ticks(100)
    s.part.dead = False
    s.ticks(3000)
    check.equal((s.part.registers[0], s.b.loop.sensor.lost), (0x4497, False), "repaired")
    check.equal(bench_of(s.b)["ended"], codes.END_SENSOR_LOST, "the bench is over")


check.run(globals())
