"""The bench mode: what is ordered, added up and answered, a step's samples, and what ends it."""

import gc
import time

import bench
import check
import machine
import micropython

from asking import ask, board, events, stored
from steadyturn_fw import bench_frames as codes, frames, pages

PIN = 22
OHM = 47
TAU_US = 2000
FITTED = {"second_load_pin": PIN, "second_load_mohm": OHM * 1000, "supply_adc_pin": -1,
          "supply_ma": 0, "place": "enable"}
BENCH = codes.places(codes.BENCH_FIELDS)
STEP = codes.places(codes.STEP_FIELDS)
CHIPS = {"ina226": bench.Ina226, "ina219": bench.Ina219, "ina3221": bench.Ina3221,
         "adc": bench.Amplifier}


def unpacked(payload, places):
    found = {}
    for name in places:
        at, size, signed = places[name]
        value = pages.get(payload, at, size)
        if signed and value >> 8 * size - 1:
            value -= 1 << 8 * size
        found[name] = value
    return found


def bench_of(b, words=b""):
    kind, payload = ask(b, frames.ASK_BENCH + words)
    check.equal((kind, len(payload)), (frames.BENCH, codes.BENCH_BYTES), "bench")
    told = unpacked(payload, BENCH)
    told["payload"] = payload
    return told


def step_of(b):
    kind, payload = ask(b, frames.ASK_STEP)
    check.equal(kind, frames.BENCH, "step")
    return unpacked(payload, BENCH)


def samples_of(b):
    """Heads' last, and (us, bus word, amps word) of each sample."""
    found = []
    head = {}
    while True:
        kind, payload = ask(b, frames.ASK_SAMPLES + b" %d" % len(found))
        if kind == frames.END:
            return head, found
        check.equal(kind, frames.SAMPLES, "samples")
        head = unpacked(payload, STEP)
        check.equal(head["first"], len(found), "from there on")
        for i in range(head["sent"]):
            at = codes.STEP_HEAD_BYTES + i * codes.STEP_SAMPLE_BYTES
            get = pages.get
            found.append((get(payload, at, 4), get(payload, at + 4, 2), get(payload, at + 6, 2)))


class Source:
    """Volts of an EMF behind 2.5 ohm, a capacitor, and what draws from it, at each moment that
    somebody looks: stands where the chip is."""

    def __init__(self, chip="ina226", **changed):
        part = CHIPS[chip]()
        values = dict(FITTED)
        values["chip"] = chip
        values.update(changed)
        self.b = board(part=part, **values)
        self.b.set(0, 0)
        self.part = part
        self.chip = chip
        self.out_mv = 5000
        self.emf_mv = 7800
        self.draw_ma = 300
        self.at_us = time.now_us
        self.mv = 0
        self.looks = 0
        self.action = None  # (number of the look, what then happens)
        self.word = part.word if hasattr(part, "word") else None
        if self.word is not None:
            part.word = self.look
        else:
            def read_u16(pin):
                return self.read(pin)

            machine.ADC.read_u16 = read_u16

    def now(self):
        on = PIN in machine.pins and machine.pins[PIN].level
        drawn = self.draw_ma if self.b.now.connected else 0
        goal = self.emf_mv - drawn * 5 // 2
        if on:
            goal = goal * OHM * 10 // (OHM * 10 + 25)
        passed = time.now_us - self.at_us
        self.at_us = time.now_us
        # half of the way in each 0.69 of the time constant
        while passed >= TAU_US // 4:
            self.mv += (goal - self.mv) * 221 // 1000
            passed -= TAU_US // 4
        self.at_us -= passed
        ma = drawn + (self.mv // OHM if on else 0)
        if self.chip == "ina3221":
            self.part.set(self.mv, ma, self.out_mv, 0)
        else:
            self.b.set(self.mv, ma)

    def look(self, register):
        if register in (1, 2):
            self.now()
            self.happen()
        return self.word(register)

    def read(self, pin):
        if pin.number in (26, 28):
            self.now()
            self.happen()
        return machine.adc.get(pin.number, 0)

    def happen(self):
        self.looks += 1
        if self.action is not None and self.looks >= self.action[0]:
            action = self.action[1]
            self.action = None
            action()

    def ticks(self, ms):
        for _ in range(ms // 20):
            self.b.tick()

    def connected(self, order=b" 650 0 1"):
        """A bench with the load connected, and sums that begin after that."""
        bench_of(self.b, order)
        self.ticks(5000)
        return bench_of(self.b, order)


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
    told = bench_of(b, b" end")
    check.equal((told["on"], told["ended"], told["second"]), (0, codes.END_ASKED, 0), "over")
    check.equal((machine.pins[PIN].level, b.loop.lamp.beat), (0, 923), "as usual")
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


def test_nothing_is_allocated():
    usual = machine.ADC.read_u16
    for chip in CHIPS:
        s = Source(chip, turn_pin=17, turn_pulses=4)
        s.connected(b" 650 30 2")
        b = s.b
        machine.recording = False
        micropython.heap_lock()
        try:
            for n in range(400):
                if n % 12 == 0:
                    machine.pins[17].see(n // 12 & 1)
                time.sleep_ms(20)
                b.loop.tick()
        finally:
            micropython.heap_unlock()
        told = bench_of(b)
        check.true(told["count"] > 300 and told["pulses"] > 10, "ticks of a bench")
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
