"""A board's sums as readings, and readings as the text of a file."""

from __future__ import annotations

import math
from dataclasses import fields
from itertools import pairwise
from typing import Any

from steadyturn_fw import bench_frames as layout

from steadyturn.bench.readings import Bench, LoadStep, Plateau, Sensor
from steadyturn.bench.step import Machine, Step
from steadyturn.board import bench as words
from steadyturn.jobs.bench_plan import Order
from steadyturn.model import bank
from steadyturn.model.rectifier import DIODES
from steadyturn.rig.spec import specs
from steadyturn.rig.types import Rig

SURE = 1.96
# how long a deviation from the beat lasts, s: half of it averages out in so long; what tapping to
# a beat shows (twin/people.py), assumption
LASTS_S = 2.5
LEAST_SWAY = 0.01  # nobody keeps a pace better; practice
PULSES = 4  # fewer intervals of the turn sensor tell no pace
SENSOR_SHARE = 0.002  # 95 %: a magnet's place and the contact's bounce; engineering judgement


class EMF:
    """The rig's own reckoning from sensor to pace, for what is shown and how steady it is; no
    reading is made of it."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.per_tpm = float(bank.emf_v_per_tpm(rig, 20.0))
        self.ohm = float(bank.source_ohm(rig, 20.0)) + rig.sensor.shunt_ohm
        self.brush = rig.bank.series * rig.motor.brush_drop_v
        self.knee = rig.bank.parallel * rig.motor.brush_knee_a
        self.diode = DIODES[rig.rectifier.kind] * rig.rectifier.drop_v

    def volts(self, bus_v: float, amps: float) -> float:
        flows = max(amps, 0.0)
        drops = self.brush * math.tanh(flows / self.knee)
        drops += self.diode * math.tanh(flows / self.rig.rectifier.knee_a)
        return bus_v + flows * self.ohm + drops

    def pace_tpm(self, bus_v: float, amps: float) -> float:
        return self.volts(bus_v, amps) / self.per_tpm

    def open_v(self, pace_tpm: float) -> float:
        return self.per_tpm * pace_tpm

    @staticmethod
    def least_a(rig: Rig) -> float:
        """Current with which the diodes conduct throughout."""
        return 3 * rig.rectifier.knee_a


def machine(rig: Rig) -> Machine:
    """What the fit of a burst takes as known."""
    through = rig.bank.parallel if rig.bank.diode_each else 1
    return Machine(
        capacitor_f=rig.bus.capacitor_f,
        henry=rig.bank.series * rig.motor.inductance_h / rig.bank.parallel,
        shunt_ohm=rig.sensor.shunt_ohm, brush_v=rig.bank.series * rig.motor.brush_drop_v,
        brush_a=rig.bank.parallel * rig.motor.brush_knee_a,
        diode_v=DIODES[rig.rectifier.kind] * rig.rectifier.drop_v,
        diode_a=through * rig.rectifier.knee_a, bleed_ohm=rig.bus.bleed_ohm)


def plateau_of(rig: Rig, emf: EMF, order: Order, said: words.Bench,
               seen: list[tuple[int, int, int]], warm_k: float = 0.0) -> Plateau | None:
    """The plateau of an order that has been followed. seen: (count, mV, mA) summed up so far,
    look by look; warm_k: of the windings above the room; None where too little was counted."""
    count = said["count"]
    if count < layout.BLOCK_TICKS or said["saturated"] > count / 20:
        return None
    volts, amps = said["mv_sum"] / count / 1000, max(said["ma_sum"] / count / 1000, 0.0)
    parts = []
    for (n0, v0, a0), (n1, v1, a1) in pairwise(seen):
        if n1 - n0 > 4:
            parts.append(emf.volts((v1 - v0) / (n1 - n0) / 1000, (a1 - a0) / (n1 - n0) / 1000))
    mean = sum(parts) / len(parts)
    sway = math.sqrt(sum((x - mean) ** 2 for x in parts) / max(len(parts) - 1, 1)) / mean
    sway = max(sway, LEAST_SWAY)
    seconds = count * 0.02
    pulses = rig.sensor.turn_pulses
    if pulses and said["pulses"] >= PULSES and said["pulses_us"]:
        pace = 60e6 * said["pulses"] / pulses / said["pulses_us"]
        # the pulses' time is not quite that of the volts
        share = math.hypot(SENSOR_SHARE, SURE * sway / max(said["pulses"], 1))
        return Plateau(volts=volts, amps=amps, pace_tpm=pace, pace=share, by="turn_sensor",
                       sway=sway, warm_k=warm_k)
    share = SURE * sway * min(1.0, math.sqrt(2 * LASTS_S / seconds))
    return Plateau(volts=volts, amps=amps, pace_tpm=order.pace_tpm, pace=share, by="beat",
                   sway=sway, warm_k=warm_k)


def step_reading(found: Step, pace_tpm: float, warm_k: float = 0.0) -> LoadStep | None:
    """The reading that bursts give together; None where it would not be one of a file."""
    share = min(max(found.share * found.ohm / found.chord_ohm, 1e-4), 1.0)
    told = 0 < found.gives_low < found.gives_high < 100 * found.gives_low
    gives_share = math.log(found.gives_high / found.gives_low) / 2 if told else 4.0
    spec = specs(LoadStep)["gives"]
    known = told and spec.low <= found.gives_ohm_s <= spec.high
    if not (found.chord_ohm > 0.005 and found.to_a > found.from_a >= 0):
        return None
    return LoadStep(ohm=found.chord_ohm, ohm_share=share, from_a=found.from_a, to_a=found.to_a,
                    pace_tpm=pace_tpm, gives=found.gives_ohm_s if known else None,
                    gives_share=min(max(gives_share, 0.001), 4.0), warm_k=warm_k)


def text(about: Bench, sensor: Sensor, items: list[tuple[str, Any]]) -> str:
    """A file of readings, as `bench.file` reads it."""
    lines = ["# Readings taken by the board; 'steadyturn bench RIG --readings THIS FILE' uses",
             "# them again. A reading that is not to count: put a # before each of its lines.", ""]
    for section, one in (("[bench]", about), ("[sensor]", sensor),
                         *((f"[[{kind}]]", one) for kind, one in items)):
        lines += [section, *_keys(one), ""]
    return "\n".join(lines)


def _keys(one: Any) -> list[str]:
    found = []
    by = specs(type(one))
    for place in fields(one):
        value, spec = getattr(one, place.name), by[place.name]
        if value is None:
            continue
        if isinstance(value, str):
            found += [f'{spec.key} = "{value}"'] if value else []
        elif isinstance(value, int):
            found.append(f"{spec.key} = {value}")
        else:
            found.append(f"{spec.key} = {_plain(value / spec.scale)}")
    return found


def _plain(value: float) -> str:
    shown = f"{value:.6g}"
    return f"{value:.6f}" if "e" in shown else shown
