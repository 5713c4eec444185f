"""A board with a second load, and a source whose volts follow what draws from it at each moment;
the bench's answers, unpacked."""

import time

import bench
import check
import machine

from asking import ask, board
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
        if passed > 8 * TAU_US:
            self.mv = goal
            passed = 0
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
        self.ticks(3000)
        return bench_of(self.b, order)
