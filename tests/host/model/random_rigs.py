"""Rigs drawn at random, from a seed: every converter kind, switch place, feed and load.

Ranges are wide but such that machines of this size could have them; most can run
somewhere below 150 turns/min.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

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


def _converter(pick: random.Random) -> Converter:
    kind = pick.choice(["boost", "buck", "buck_boost", "linear"])
    out_v = pick.uniform(4.9, 5.3)
    start_v, max_v = {
        "boost": (pick.uniform(1.8, 3.5), pick.uniform(5.5, 24)),
        "buck": (pick.uniform(6.0, 8.0), pick.uniform(18, 40)),
        "buck_boost": (pick.uniform(2.5, 4.0), pick.uniform(12, 30)),
        "linear": (pick.uniform(5.5, 7.0), pick.uniform(12, 30)),
    }[kind]
    return Converter(
        kind=kind, out_v=out_v, start_v=start_v, stop_v=start_v * pick.uniform(0.7, 0.95),
        max_in_v=max_v, loss_w=pick.uniform(0, 0.2), loss_v=pick.uniform(0, 0.6),
        loss_ohm=pick.uniform(0, 0.4), in_limit_a=pick.choice([0.4, 1.0, 2.0, 4.0]),
        out_limit_a=pick.choice([0.4, 1.0, 2.0]), headroom_v=pick.uniform(0.05, 1.5),
        pass_drop_v=pick.uniform(0.02, 0.8), isolates=pick.random() < 0.5)


def _load(pick: random.Random) -> Load:
    kind = pick.choice(["phone", "phone", "power_bank", "lantern", "resistor", "none"])
    return Load(
        kind=kind, draw_a=pick.uniform(0.1, 1.2), sag_v=pick.uniform(4.4, 4.75),
        min_v=pick.uniform(3.7, 4.3), cable_m=pick.uniform(0, 2),
        cable_awg=pick.choice([20.0, 24.0, 26.0, 28.0]),
        resistance_ohm=pick.uniform(4, 50) if kind == "resistor" else None)


def random_rig(seed: int) -> Rig:
    """The rig of this seed, the same on every machine."""
    pick = random.Random(f"rig {seed}")
    converter = _converter(pick)
    series, parallel = pick.randint(1, 3), pick.randint(1, 2)
    motor = Motor(
        rated_v=12, no_load_rad_s=pick.uniform(2500, 9000) * RPM,
        no_load_a=pick.uniform(0.02, 0.3), terminal_ohm=pick.uniform(0.3, 6.0),
        brush_drop_v=pick.uniform(0, 0.8), brush_knee_a=pick.uniform(0.005, 0.1),
        drag_nm_s=pick.choice([0.0, 1e-6, 5e-6]))
    # gears that bring the bank to its volts somewhere near 40-110 turns/min
    volts = converter.start_v * pick.uniform(1.2, 2.5)
    per_rpm = series * 12 / (motor.no_load_rad_s or 1.0) * RPM
    ratio = volts / per_rpm / pick.uniform(40, 110)
    first = pick.uniform(1.5, max(2.0, ratio**0.5))
    bleed_ohm = 100 * 10 ** random.Random(f"bleed {seed}").uniform(0, 4)  # all that is accepted
    return Rig(
        name=f"random {seed}", motor=motor,
        bank=Bank(series=series, parallel=parallel, diode_each=pick.random() < 0.3),
        stages=(Stage(ratio=first, efficiency=pick.uniform(0.7, 0.97)),
                Stage(ratio=ratio / first, efficiency=pick.uniform(0.7, 0.97))),
        crank=Crank(friction_nm=pick.uniform(0, 0.2)),
        rectifier=Rectifier(kind=pick.choice(["schottky", "schottky", "bridge", "none"]),
                            drop_v=pick.uniform(0.25, 0.6), knee_a=pick.uniform(0.005, 0.1)),
        bus=Bus(bleed_ohm=bleed_ohm), converter=converter,
        switch=Switch(place=pick.choice(["enable", "bus_switch", "output_switch"]),
                      on_ohm=pick.uniform(0, 0.2)),
        protection=Protection(
            bus_clamp_v=converter.start_v * pick.uniform(1.3, 3) if pick.random() < 0.2 else None,
            bus_clamp_w=20.0),
        supply=Supply(feed=pick.choice(["crank", "crank", "cell", "usb"]),
                      power_w=pick.uniform(0.05, 0.25), wake_v=pick.uniform(2, 4),
                      drop_v=pick.uniform(0.2, 0.5), off_v=1.8, forbid_v=1.9,
                      fade_v=pick.uniform(2.0, 3.0)),
        load=_load(pick), arm=Arm(), air=Air(), sensor=Sensor(), board=Board())


def random_rigs(count: int, first: int = 0) -> Iterator[Rig]:
    for seed in range(first, first + count):
        yield random_rig(seed)
