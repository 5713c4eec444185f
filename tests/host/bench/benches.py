"""Random motors and the readings that somebody would take at them, with every error a bench has.

The truth is drawn from what the fit believes before it reads; volts come from the model's own
functions (steadyturn.model.motor), not from the fit's residuals. Errors are drawn separately.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from steadyturn.bench import readings as kinds
from steadyturn.bench.constants import MOTOR
from steadyturn.bench.readings import Readings
from steadyturn.model import motor as physics
from steadyturn.rig.types import RPM, Motor

METER = kinds.Meter(counts=2000, percent=0.005, amp_percent=0.015, digits=2, lead_ohm=0.2)
BENCH = kinds.Bench(room_c=20.0, slots=3)


@dataclass
class World:
    """One motor with one meter, one set of resistors, one room."""

    motor: Motor
    winding_c: float
    rng: np.random.Generator
    meter: kinds.Meter
    bench: kinds.Bench

    def __post_init__(self):
        self.gains: dict[str, float] = {}

    def gain(self, name, share):
        return 1 + self.gains.setdefault(name, self.rng.normal(0, share / 2))

    def shown(self, value, unit="V"):
        """What the meter shows."""
        lead = self.meter.counts / 10 ** math.floor(math.log10(self.meter.counts))
        ranges = {"V": [0.1, 1, 10, 100, 1000], "A": [0.01, 0.1, 10]}[unit]
        full = next((lead * r for r in ranges if lead * r > abs(value)), lead * ranges[-1])
        last = full / self.meter.counts
        share = self.meter.percent if unit == "V" else self.meter.amp_percent
        raw = value * self.gain(f"{full} {unit}", share)
        raw += self.rng.normal(0, last * self.meter.digits / 2)
        return max(round(raw / last) * last, last)

    def real_ohm(self, nominal, share=0.01):
        return nominal * self.gain(f"{nominal} ohm", share)

    def counted(self, rad_s):
        """Turns and seconds of a drill or hand gear that turns the motor at rad_s, more or less;
        also what it really was."""
        real = rad_s * (1 + self.rng.normal(0, 0.05))
        turns = max(20.0, round(real / (2 * math.pi) * 20))
        seconds = turns / (real / (2 * math.pi))
        shown = seconds + self.rng.normal(0, self.bench.watch_s)
        shown *= 1 + self.rng.normal(0, self.bench.hand)
        return turns, shown, real

    def solve(self, volts_of, low, high):
        for _ in range(80):
            middle = (low + high) / 2
            low, high = (middle, high) if volts_of(middle) > 0 else (low, middle)
        return (low + high) / 2

    def locked(self, supply_v, ohm):
        real = self.real_ohm(ohm)
        here = replace(self.motor, terminal_ohm=self.motor.terminal_ohm * (
            1 + self.rng.normal(0, self.bench.position)))

        def over(amps):
            return -float(physics.terminal_v(here, 0.0, -amps, self.winding_c))

        amps = self.solve(lambda a: supply_v - a * (real + 0.3) + (
            -abs(over(a))), 0.0, supply_v / (real + 0.3))
        return "locked", kinds.Locked(resistor_ohm=ohm, resistor=0.01,
                                      resistor_v=self.shown(amps * real),
                                      motor_v=self.shown(abs(over(amps))))

    def open(self, rad_s):
        turns, seconds, real = self.counted(rad_s)
        volts = float(physics.terminal_v(self.motor, real, 0.0, self.winding_c))
        return "open", kinds.Open(turns=turns, seconds=seconds, volts=self.shown(volts))

    def loaded(self, rad_s, ohm):
        turns, seconds, real = self.counted(rad_s)
        by = self.real_ohm(ohm)
        emf = float(physics.terminal_v(self.motor, real, 0.0, self.winding_c))
        amps = self.solve(lambda a: float(physics.terminal_v(
            self.motor, real, a, self.winding_c)) - a * by, 0.0, emf / by)
        return "loaded", kinds.Loaded(turns=turns, seconds=seconds, resistor_ohm=ohm,
                                      resistor=0.01, volts=self.shown(amps * by))

    def run(self, supply_v):
        """From a supply, its speed not counted."""
        k = float(physics.emf_constant_at(self.motor, self.winding_c))

        wander = 1 + self.rng.normal(0, 0.03)

        def amps_at(w):
            return wander * float(physics.friction_nm(self.motor, w)) / k

        def missing(w):
            return supply_v + float(physics.terminal_v(self.motor, 0.0, amps_at(w),
                                                       self.winding_c)) - k * w

        if missing(0.0) < 0.2 * supply_v:  # it hardly turns, or not at all
            return self.run(2 * supply_v)
        amps = amps_at(self.solve(missing, 0.0, supply_v / k))
        return "run", kinds.Run(volts=self.shown(supply_v), amps=self.shown(amps, "A"))


def world(seed, *, meter=METER, bench=BENCH):
    rng = np.random.default_rng(seed)
    drawn = {c.name: c.start * math.exp(rng.normal(0, c.sigma)) for c in MOTOR[2:]}
    k = math.exp(rng.uniform(math.log(0.006), math.log(0.08)))
    ohm = math.exp(rng.uniform(math.log(0.8), math.log(25.0)))
    motor = Motor(emf_v_s=k, terminal_ohm=ohm, **drawn)
    winding = bench.room_c + rng.normal(0, bench.room_within_k / 2)
    return World(motor, winding, rng, meter, bench)


def near(ohm):
    """The common resistor next to it."""
    drawer = (1.0, 2.2, 4.7, 10.0, 22.0, 47.0, 100.0, 220.0)
    return min(drawer, key=lambda r: abs(math.log(r / ohm)))


def recommended(one):
    """Those of the guide: locked at six positions with a small resistor and four with a large
    one, five open circuits, three loads, free runs from three supplies, twice each."""
    ohm = one.motor.terminal_ohm
    small, large = near(ohm), near(20 * ohm)
    fast = min(10.0 / one.motor.emf_v_s, 3000 * RPM)
    items = [one.locked(4.5, small) for _ in range(6)]
    items += [one.locked(4.5, large) for _ in range(4)]
    items += [one.open(fast * share) for share in (0.4, 0.6, 0.8, 0.9, 1.0)]
    items += [one.loaded(fast * share, near(3 * ohm)) for share in (0.5, 0.75, 1.0)]
    items += [one.run(volts) for volts in (3.0, 6.0, 12.0, 3.0, 6.0, 12.0)]
    return Readings(one.bench, one.meter, tuple(items), ("",) * len(items))


def true_values(one):
    names = ("emf_v_s", "terminal_ohm", "brush_drop_v", "brush_knee_a", "no_load_a", "drag_nm_s")
    return {name: getattr(one.motor, name) for name in names}


FIELD = {"locked": "motor_v", "open": "volts", "loaded": "volts", "run": "amps"}
SIZE = {"locked": 0.03, "open": 0.015, "loaded": 0.02, "run": 0.05}  # about a sigma, as a share


def spoilt(readings, rng, share):
    """The readings with a share of them made wrong, and which: a decimal point, a thousandfold,
    two columns swapped, or more than five sigmas (some six to thirty)."""
    items, bad = list(readings.items), set()
    for index in rng.permutation(len(items))[: round(share * len(items))].tolist():
        kind, one = items[index]
        name = FIELD[kind]
        value = getattr(one, name)
        how = rng.integers(0, 4)
        if how == 0:
            wrong = replace(one, **{name: value * rng.choice([0.1, 10.0])})
        elif how == 1:
            wrong = replace(one, **{name: value * rng.choice([0.001, 1000.0])})
        elif how == 2 and kind == "locked" and not (
                0.75 < one.motor_v / one.resistor_v < 1.35):
            wrong = replace(one, motor_v=one.resistor_v, resistor_v=one.motor_v)
        else:
            wrong = replace(one, **{name: value * (1 + SIZE[kind] * rng.uniform(8, 30))})
        items[index] = kind, wrong
        bad.add(index)
    return replace(readings, items=tuple(items)), bad
