"""Rigs and hands for the tests of the machine in time. Their figures are invented."""

from __future__ import annotations

import random
from dataclasses import replace
from math import sin

from steadyturn.rig.types import (
    RPM,
    Air,
    Arm,
    Bank,
    Board,
    Bus,
    Converter,
    Crank,
    Load,
    Motor,
    Protection,
    Rectifier,
    Rig,
    Sensor,
    Stage,
    Supply,
    Switch,
)

BOOST = Converter(kind="boost", out_v=5.1, start_v=2.8, stop_v=2.3, max_in_v=12)
BUCK = Converter(kind="buck", out_v=5.1, start_v=6.5, stop_v=5.9, max_in_v=30)
BUCK_BOOST = Converter(kind="buck_boost", out_v=5.1, start_v=3.6, stop_v=3.1, max_in_v=30)
LINEAR = Converter(kind="linear", out_v=5.1, start_v=6.5, stop_v=5.9, max_in_v=30)
KINDS = (BOOST, BUCK, BUCK_BOOST, LINEAR)

BASE = Rig(
    name="bench of numbers",
    motor=Motor(emf_v_s=0.025, terminal_ohm=0.8, no_load_a=0.06, brush_drop_v=0.2,
                drag_nm_s=2e-6),
    bank=Bank(series=2, parallel=1),
    stages=(Stage(ratio=5.0, efficiency=0.88), Stage(ratio=5.0, efficiency=0.9)),
    crank=Crank(),
    rectifier=Rectifier(kind="schottky"),
    bus=Bus(capacitor_f=2.2e-3),
    converter=BUCK_BOOST,
    switch=Switch(place="bus_switch"),
    protection=Protection(),
    supply=Supply(),
    load=Load(cable_m=0.5, cable_awg=24),
    arm=Arm(),
    air=Air(),
    sensor=Sensor(),
    board=Board(),
)


def rig(**parts: object) -> Rig:
    """BASE with whole parts, or single fields as part__field, replaced."""
    made = BASE
    for key, value in parts.items():
        part, _, name = key.partition("__")
        new = replace(getattr(made, part), **{name: value}) if name else value
        made = replace(made, **{part: new})
    return made


def random_rig(seed: int) -> Rig:
    """A rig with everything drawn at random, from the small to the absurd."""
    r = random.Random(seed)
    spread = r.uniform

    def log(low: float, high: float) -> float:
        return low * (high / low) ** r.random()

    kind = r.choice(KINDS)
    series = r.choice((1, 1, 2, 3))
    ratio = log(4, 60)
    per_tpm = r.uniform(0.06, 0.3)  # volts of the bank per turn a minute: some are no use
    return Rig(
        name=f"random {seed}",
        motor=Motor(
            emf_v_s=per_tpm / RPM / ratio / series, terminal_ohm=log(0.2, 20),
            no_load_a=log(0.01, 0.3), brush_drop_v=spread(0, 0.6), brush_knee_a=log(0.005, 0.1),
            drag_nm_s=spread(0, 5e-6), inertia_kg_m2=log(3e-7, 1e-5),
        ),
        bank=Bank(series=series, parallel=r.choice((1, 1, 2, 3)),
                  diode_each=r.random() < 0.3),
        stages=(Stage(ratio=ratio**0.5, efficiency=spread(0.7, 0.98)),
                Stage(ratio=ratio**0.5, efficiency=spread(0.7, 0.98))),
        crank=Crank(friction_nm=spread(0, 0.2), inertia_kg_m2=log(5e-4, 1e-2)),
        rectifier=Rectifier(kind=r.choice(("schottky", "bridge")), drop_v=spread(0.2, 0.6),
                            knee_a=log(0.005, 0.1)),
        bus=Bus(capacitor_f=log(2e-5, 2e-2),
                bleed_ohm=100 * 10 ** random.Random(f"bleed {seed}").uniform(0, 4)),
        converter=replace(kind, soft_start_s=r.choice((0.0, 0.001, 0.005, 0.05)),
                          isolates=r.random() < 0.5, out_capacitor_f=log(2e-5, 5e-3),
                          in_limit_a=spread(0.8, 3), out_limit_a=spread(0.3, 1.5)),
        switch=Switch(place=r.choice(("enable", "bus_switch", "output_switch"))),
        protection=Protection(
            bus_clamp_v=r.choice((None, 9.0, 14.0)), bus_cut_v=r.choice((None, 16.0)),
            output_cut_v=r.choice((None, 5.45, 6.0)),
        ),
        supply=Supply(feed=r.choice(("crank", "crank", "usb")), reservoir_f=log(1e-4, 5e-2)),
        load=r.choice((
            Load(draw_a=log(0.1, 1.0)), Load(kind="none"),
            Load(kind="resistor", resistance_ohm=log(4, 100)),
        )),
        arm=Arm(), air=Air(), sensor=Sensor(), board=Board(),
    )


class Servo:
    """Holds a pace stiffly, never beyond most_nm; with a ripple twice a turn if asked."""

    def __init__(self, tpm: float, *, stiff: float = 20.0, most_nm: float = 30.0,
                 ripple: float = 0.0) -> None:
        self.rad_s, self.stiff, self.most_nm, self.ripple = tpm * RPM, stiff, most_nm, ripple

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        push = self.stiff * (self.rad_s - crank_rad_s) + self.ripple * sin(2 * theta_rad)
        return min(max(push, 0.0), self.most_nm)


class Droops:
    """The hand of design: T0 less a droop, with a ripple of a share of T0."""

    def __init__(self, t0_nm: float, tpm: float, droop: float = 0.8, ripple: float = 0.25) -> None:
        self.t0, self.rad_s, self.droop, self.ripple = t0_nm, tpm * RPM, droop, ripple

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        push = self.t0 * (1 + self.ripple * sin(2 * theta_rad))
        return push - self.droop * (crank_rad_s - self.rad_s)


class LetGo:
    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return 0.0
