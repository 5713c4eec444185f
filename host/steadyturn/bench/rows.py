"""Readings as rows of numbers: each says what should be zero, and how far it may be from it.

An electrical row is series (k w f - I R - Vb tanh(I / Ib)) - diodes - V = 0 with the current I
counted as given (driven: negative); a row of a free run is I - I0 - d w / k = 0; a torque row
stands in `torques`. What several readings share - a range's gain, a resistor, the winding's
warmth, the EMF's peak over its mean - is an unknown of the fit with a prior of its own, so that
reading ten times with one meter does not make it a better meter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import meter as meters
from steadyturn.bench.readings import Readings
from steadyturn.bench.setup import Setup, peak_over_mean
from steadyturn.rig.types import RPM

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
WARMTH, PEAK, HEAT = "warmth", "peak", "what the windings' own heat does"
HEAT_SHARE = 0.4  # one sigma of it: a rig's heat data are typical ones; engineering judgement
FRICTION_WANDERS = 0.03  # of the no-load current, one reading to the next: practice
BEAT = 0.012  # one sigma: a quarter of a turn in twenty that somebody is not with the beat and
# does not see it; engineering judgement. The same for all paces of one evening
UNSEEN = 0.3  # one sigma of the share of the board's power that the bus gives beside the cable
CONDUCTS = 3.0  # knees of the diodes' current above which they conduct throughout


@dataclass(frozen=True)
class Rows:
    """Columns of equal length. reading: index of the reading; kind: "volts", "run", "torque",
    "stall", "step" or "gives". volts, amps: as read, into amps with the sign; *_digit: one sigma
    of the last place; volt_gain, amp_gain, ohm_gain: place among the shared unknowns, 0 for none
    (there the unknown is always 0); volt_off, amp_off, pace_gain: of the board's sensor and the
    lamp's beat likewise. from_a: smaller current of a step; unseen_a: what may pass the sensor
    by. hold: how far an open capacitor stands above the mean pace's volts, a share. warm_k: of the
    windings above the room, about. ohm: of the
    resistor that gives the current; loop_ohm: of leads and shunt; w: motor's rad/s, NaN unknown;
    w_share: one sigma. peak: 1 where a capacitor keeps what the current leaves of the EMF's
    crests; diode: 1 behind the diodes; held: 1 for a held shaft."""

    reading: Ints
    kind: NDArray[np.str_]
    volts: Floats
    volt_digit: Floats
    volt_gain: Ints
    amps: Floats
    amp_digit: Floats
    amp_gain: Ints
    volt_off: Ints
    amp_off: Ints
    pace_gain: Ints
    from_a: Floats
    unseen_a: Floats
    unseen: Ints
    hold: Floats
    warm_k: Floats
    ohm: Floats
    ohm_gain: Ints
    loop_ohm: Floats
    w: Floats
    w_share: Floats
    peak: Floats
    diode: Floats
    held: Floats
    torque: Floats
    torque_share: Floats
    shared: tuple[str, ...]
    shared_sigma: Floats
    peak_excess: float
    position: float
    setup: Setup = field(default_factory=Setup)

    @property
    def size(self) -> int:
        return len(self.reading)


class _Maker:
    def __init__(self, readings: Readings, setup: Setup) -> None:
        self.readings, self.setup = readings, setup
        self.meter, self.bench = readings.meter, readings.bench
        factor, sigma = peak_over_mean(self.bench.slots)
        self.excess = factor - 1
        self.shared: dict[str, float] = {"none": 0.0, WARMTH: self.bench.room_within_k / 2,
                                         PEAK: sigma}
        self.rows: list[dict[str, Any]] = []

    def place(self, name: str, sigma: float) -> int:
        self.shared.setdefault(name, sigma)
        return list(self.shared).index(name)

    def volts(self, value: float) -> dict[str, Any]:
        scale = meters.full_scale(self.meter, value)
        return {"volts": value, "volt_digit": meters.digit_error(self.meter, value),
                "volt_gain": self.place(f"{scale:g} V range", self.meter.percent / meters.SIGMAS)}

    def amps(self, value: float, sign: int) -> dict[str, Any]:
        scale = meters.full_scale(self.meter, value, "A")
        return {"amps": sign * value, "amp_digit": meters.digit_error(self.meter, value, "A"),
                "amp_gain": self.place(f"{scale:g} A range",
                                       self.meter.amp_percent / meters.SIGMAS)}

    def through(self, volts: float, one: Any, sign: int) -> dict[str, Any]:
        """The current that a resistor's volts tell."""
        found = self.volts(volts)
        return {"amps": sign * volts / one.resistor_ohm,
                "amp_digit": found["volt_digit"] / one.resistor_ohm,
                "amp_gain": found["volt_gain"], "ohm": one.resistor_ohm,
                "ohm_gain": self.place(f"{one.resistor_ohm:g} ohm resistor",
                                       one.resistor / meters.SIGMAS)}

    def pace(self, one: Any) -> dict[str, Any]:
        """Motor's speed; a hand adds its own unsteadiness, a watch its start and stop."""
        if one.rpm is not None:
            return {"w": one.rpm * RPM, "w_share": one.rpm_share / meters.SIGMAS}
        if one.turns is not None:
            share = math.hypot(self.bench.hand, self.bench.watch_s / one.seconds)
            tpm = one.turns / one.seconds * 60
            return {"w": tpm * RPM * self.setup.ratio, "w_share": share}
        if one.pace_tpm is not None:
            return {"w": one.pace_tpm * RPM * self.setup.ratio,
                    "w_share": max(self.bench.hand, one.rpm_share / meters.SIGMAS)}
        return {"w": math.nan, "w_share": 0.0}

    def seen(self, volts: float, amps: float) -> dict[str, Any]:
        """What the board's sensor reads, and what flows beside it: the bleed's and the board's."""
        own, setup = self.readings.sensor, self.setup
        sigma = meters.SIGMAS
        return {"volts": volts, "amps": amps + volts / setup.bleed_ohm,
                "volt_gain": self.place("sensor's volts", own.volts / sigma),
                "volt_off": self.place("sensor's zero of volts", own.volts_off_v / sigma),
                "amp_gain": self.place("sensor's amperes", own.amps / sigma),
                "amp_off": self.place("sensor's zero of amperes", own.amps_off_a / sigma),
                "loop_ohm": setup.shunt_ohm, "diode": 1.0}

    def plateau(self, index: int, one: Any) -> None:
        setup = self.setup
        columns = self.seen(one.volts, one.amps)
        loaded = columns["amps"] > CONDUCTS * setup.knee_a
        if one.by == "beat":
            columns["pace_gain"] = self.place("the lamp's beat", BEAT)
        self.add(index, "volts", **columns, w=one.pace_tpm * RPM * setup.ratio,
                 w_share=one.pace / meters.SIGMAS, peak=1.0,
                 warm_k=self.warm(one), hold=0.0 if loaded else one.sway,
                 unseen_a=setup.unseen_w / one.volts,
                 unseen=self.place("what the board takes from the bus", UNSEEN))

    def step(self, index: int, one: Any) -> None:
        over = one.ohm * (one.to_a - one.from_a)
        columns = {**self.seen(over, one.to_a), "amps": one.to_a, "volt_off": 0, "loop_ohm": 0.0}
        self.add(index, "step", **columns, w=one.pace_tpm * RPM * self.setup.ratio, peak=1.0,
                 from_a=one.from_a, warm_k=self.warm(one),
                 torque_share=one.ohm_share / meters.SIGMAS)
        if one.gives is not None and self.setup.inertia_kg_m2 > 0:
            share = math.hypot(one.gives_share / meters.SIGMAS, self.setup.inertia_log)
            self.add(index, "gives", amps=one.to_a, torque=one.gives, torque_share=share,
                     warm_k=one.warm_k)

    def warm(self, one: Any) -> float:
        if one.warm_k:
            self.place(HEAT, HEAT_SHARE)
        return float(one.warm_k)

    def behind(self, at: str) -> dict[str, Any]:
        if at != "bus":
            return {}
        return {"peak": 1.0, "diode": 1.0}

    def add(self, index: int, kind: str, **columns: Any) -> None:
        self.rows.append({"reading": index, "kind": kind, **columns})

    def item(self, index: int, kind: str, one: Any) -> None:
        if kind == "locked":
            self.add(index, "volts", **self.through(one.resistor_v, one, -1), held=1.0,
                     **self.volts(one.motor_v), w=0.0)
        elif kind == "open":
            self.add(index, "volts", **self.volts(one.volts), **self.pace(one),
                     **self.behind(one.at))
        elif kind == "loaded":
            columns = {**self.through(one.volts, one, 1), **self.volts(one.volts),
                       **self.pace(one)}
            self.add(index, "volts", **columns, **self.behind(one.at))
            if one.force_n is not None and self.setup.radius_m is not None:
                self.add(index, "torque", torque=one.force_n * self.setup.radius_m,
                         torque_share=one.force_share / meters.SIGMAS, **columns)
        elif kind == "short":
            self.add(index, "volts", **self.amps(one.amps, 1), **self.pace(one),
                     loop_ohm=self.meter.lead_ohm, **self.behind(one.at))
        elif kind == "run":
            columns = {**self.volts(one.volts), **self.amps(one.amps, -1), **self.pace(one)}
            if math.isfinite(columns["w"]):
                self.add(index, "volts", **columns)
            self.add(index, "run", **columns)
        elif kind == "plateau":
            self.plateau(index, one)
        elif kind == "step":
            self.step(index, one)
        elif kind == "stall":
            self.add(index, "stall", **self.amps(one.amps, -1), torque=one.torque_nm, w=0.0,
                     torque_share=one.torque_share / meters.SIGMAS)


_DEFAULTS: dict[str, float] = {
    "volts": 0.0, "volt_digit": 0.0, "amps": 0.0, "amp_digit": 0.0, "ohm": math.inf,
    "loop_ohm": 0.0, "w": math.nan, "w_share": 0.0, "peak": 0.0, "diode": 0.0, "held": 0.0,
    "torque": 0.0, "torque_share": 0.0, "from_a": 0.0, "unseen_a": 0.0, "hold": 0.0,
    "warm_k": 0.0}
_PLACES = ("reading", "volt_gain", "amp_gain", "ohm_gain", "volt_off", "amp_off", "pace_gain",
           "unseen")


def make(readings: Readings, setup: Setup) -> Rows:
    """The rows of readings taken at a set-up; those of a converter have none here."""
    maker = _Maker(readings, setup)
    for index, (kind, one) in enumerate(readings.items):
        maker.item(index, kind, one)
    columns: dict[str, Any] = {
        name: np.array([row.get(name, default) for row in maker.rows], dtype=float)
        for name, default in _DEFAULTS.items()}
    columns |= {name: np.array([row.get(name, 0) for row in maker.rows], dtype=int)
                for name in _PLACES}
    columns["kind"] = np.array([row["kind"] for row in maker.rows], dtype="U8")
    return Rows(shared=tuple(maker.shared), shared_sigma=np.array(list(maker.shared.values())),
                peak_excess=maker.excess, position=maker.bench.position, setup=setup, **columns)
