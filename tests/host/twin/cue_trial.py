"""One person at the handle, with the firmware's own estimate, switch, cue and lamp in between.

The files of firmware/ run here as they are, on CPython and in this process, against the
machine's dynamics: a virtual board without its interpreter, journal and link, so that hundreds
of people can be tried. The person sees the light, never the cue's name.
"""

from __future__ import annotations

import random
import sys
import time
from bisect import bisect_right
from dataclasses import dataclass, replace
from functools import cache
from math import pi
from types import ModuleType, SimpleNamespace

import numpy as np
from steadyturn.model.band import Band, find_band
from steadyturn.model.dynamics import Machine
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM, Rig
from steadyturn.settings.build import build
from steadyturn.twin.people import Traits
from steadyturn.twin.person import Person
from steadyturn_fw import pages
from steadyturn_fw.cue import Cue
from steadyturn_fw.lamp import Lamp
from steadyturn_fw.now import Now
from steadyturn_fw.patterns import HIGH_HZ, LOW_HZ

TICK_S, TICK_MS = 0.02, 20
STEP_S = 0.01
# Inertia of handle and motors as felt at the handle [kg m2]: the hut with the lightest motors
# and handle of their typical class, as it is, with the heaviest, and with a wheel on the axle
INERTIAS = (0.0011, 0.0045, 0.0225, 0.1)
STEADY_FROM_S = 20.0  # by then nearly everybody has set out; nobody's own success decides it
TRIAL_S = 80.0
THERE_S = 3.0  # so long on end in the band, and it counts as reached
# errors of what the board knows, standard deviations: a fitted EMF constant, a 1 % shunt
EMF_ERROR, SHUNT_ERROR = 0.01, 0.005
WAYS = ("lamp", "none", "meter")


def _firmware():
    """Estimate and Switch, with what they import of MicroPython replaced by what does nothing."""

    class Pin:
        IN = OUT = PULL_UP = IRQ_RISING = IRQ_FALLING = 1

        def __init__(self, *_args, **_named):
            pass

        def value(self, *_args):
            return 0

    machine, clock = ModuleType("machine"), ModuleType("time")
    machine.Pin = Pin
    vars(clock).update(vars(time))
    for name in ("ticks_add", "ticks_diff", "ticks_us", "ticks_ms", "sleep_ms", "sleep_us"):
        setattr(clock, name, lambda *_args: 0)
    stand_ins = {"machine": machine, "time": clock}
    had = {name: sys.modules.get(name) for name in stand_ins}
    sys.modules.update(stand_ins)
    try:
        from steadyturn_fw.estimate import Estimate
        from steadyturn_fw.switch import Switch
    finally:
        for name, module in had.items():
            if module is None:
                del sys.modules[name]
            else:
                sys.modules[name] = module
    return Estimate, Switch


Estimate, Switch = _firmware()


@dataclass(frozen=True)
class Course:
    """A rig whose band is +/- share about its target, and what the board is told of it."""

    rig: Rig
    band: Band
    settings: dict[str, int | str]
    window_v: tuple[float, float]  # loaded, at the band's edges: what a meter should show


@cache
def course(share: float, inertia: float, kind: str = "led") -> Course:
    rig = read_rig(example_path("lakeside-hut"))
    motors = rig.bank.series * rig.bank.parallel
    ratio2 = (inertia - 0.1 * inertia) / motors / (25.0 ** 2)
    rig = replace(
        rig, motor=replace(rig.motor, inertia_kg_m2=ratio2),
        crank=replace(rig.crank, inertia_kg_m2=0.1 * inertia),
        # the lamp works from the first turn: waking is another subject
        supply=replace(rig.supply, feed="cell"), board=replace(rig.board, lamp=kind),
    )
    whole = find_band(rig, deep=False)
    target = whole.target_tpm
    assert target is not None
    low, high = (1 - share) * target, (1 + share) * target
    assert whole.low_tpm < low
    assert high < whole.high_tpm
    band = replace(whole, low_tpm=low, high_tpm=high)
    volts = operate(rig, np.array([low, high])).bus_v
    return Course(rig, band, build(rig, band), (float(volts[0]), float(volts[1])))


@dataclass(frozen=True)
class Outcome:
    """in_band, in_band_now: share of the steady time that the pace, as a mean over the last
    half turn, and from moment to moment, was within the band. changes: of the cue, a minute.
    reached_s: when the band was reached, None: never. connected: share of the steady time."""

    in_band: float
    in_band_now: float
    changes: float
    reached_s: float | None
    connected: float


class Light:
    """What lights.py makes of a level, without pins."""

    def __init__(self, kind: str, person: Person) -> None:
        self.kind, self.person, self.t_s = kind, person, 0.0
        self.log: list[tuple[float, float]] = []

    def show(self, level: int, hue: int) -> None:
        light = float(level > 0)
        if self.kind == "piezo":
            light = (0.0, LOW_HZ / HIGH_HZ, 1.0)[level]
        self.log.append((self.t_s, light))
        self.person.see(self.t_s, light)


class Trial:
    """traits: who cranks; way: "lamp", "none" or "meter"; changed: settings other than the
    rig's. `record` is kept where it is asked for: time, pace now, pace, cue, connected."""

    def __init__(self, on: Course, traits: Traits, seed: int, way: str = "lamp",
                 changed: dict[str, int] | None = None) -> None:
        chance = random.Random(f"board {seed}")
        s = SimpleNamespace(**on.settings)
        s.emf_uv_per_tpm = round(s.emf_uv_per_tpm * (1 + chance.gauss(0, EMF_ERROR)))
        for name, value in (changed or {}).items():
            setattr(s, name, value)
        self.shunt = 1 + chance.gauss(0, SHUNT_ERROR)
        self.on, self.settings = on, s
        self.machine = Machine(on.rig, step_s=STEP_S, locate=False)
        self.person = Person(
            on.rig, seed, way == "lamp", traits=traits, window_v=on.window_v,
            meter=(lambda: self.machine.state.in_v) if way == "meter" else None,
        )
        kind = on.rig.board.lamp
        self.light = Light(kind, self.person)
        self.now = Now()
        self.estimate, self.switch, self.cue = Estimate(s), Switch(s), Cue(s)
        self.lamp = Lamp(self.light, kind, s.target_dtpm)
        self.t_s = 0.0
        self.thetas: list[float] = []

    def tick(self) -> None:
        """As loop.Loop.tick, without what is written down."""
        machine, now = self.machine, self.now
        v_s, c = machine.sums.in_v_s, machine.sums.in_c
        self.t_s += TICK_S
        machine.advance(self.t_s, self.person, self.switch.connected, True, True)
        now.bus_mv = int(1000 * (machine.sums.in_v_s - v_s) / TICK_S)
        now.bus_ma = int(1000 * self.shunt * (machine.sums.in_c - c) / TICK_S)
        now.volts = now.amps = True
        now.supply_mv = 5000
        now.ms = TICK_MS
        now.t_ms += TICK_MS
        self.light.t_s = self.t_s
        self.estimate.update(now)
        self.switch.update(now)
        self.cue.update(now)
        self.lamp.update(now.cue, 0, TICK_MS)
        self.switch.pulse()
        self.thetas.append(machine.state.theta_rad)

    def pace_tpm(self) -> float:
        """Mean over the last half turn: pull and push within a turn are not its business."""
        thetas = self.thetas
        here = thetas[-1]
        back = bisect_right(thetas, here - pi)
        if back == 0:
            return 60 * here / (2 * pi) / max(self.t_s, TICK_S)
        a, b = thetas[back - 1], thetas[back]
        ticks = len(thetas) - 1 - back + (b - (here - pi)) / (b - a if b > a else 1.0)
        return pi / (ticks * TICK_S) / RPM

    def run(self, seconds: float = TRIAL_S, record: list | None = None) -> Outcome:
        low, high = self.on.band.low_tpm, self.on.band.high_tpm
        steady = inside = inside_now = changes = joined = 0
        within, reached, cue = 0, None, self.now.cue
        for _ in range(round(seconds / TICK_S)):
            self.tick()
            pace, pace_now = self.pace_tpm(), self.machine.state.crank_rad_s / RPM
            good = low <= pace <= high
            within = within + 1 if good else 0
            if reached is None and within * TICK_S >= THERE_S:
                reached = self.t_s - THERE_S
            if self.t_s > STEADY_FROM_S:
                steady += 1
                inside += good
                inside_now += low <= pace_now <= high
                changes += self.now.cue != cue
                joined += self.now.connected
            cue = self.now.cue
            if record is not None:
                record.append((self.t_s, pace_now, pace, pages.CUES[cue], self.now.connected,
                               self.now.ahead_dtpm / 10))
        return Outcome(inside / steady, inside_now / steady, 60 * changes / (steady * TICK_S),
                       reached, joined / steady)
