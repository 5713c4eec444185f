"""Resistors, and trials that need no bench supply, for bringing up one rig.

A cut or a clamp is made to act at low volts by a resistor across the upper arm of its divider:
so it is tried without any volts that could do harm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from steadyturn.circuit import references, standard
from steadyturn.circuit.clamp import SATURATED_V
from steadyturn.circuit.table import CONDITIONS
from steadyturn.circuit.values import Design
from steadyturn.model import bank
from steadyturn.model.point import operate
from steadyturn.rig.types import Rig

SPARE_W = 1.9  # a resistor in free air at half of its rating: too hot to hold, and lasts; practice
TRIAL_W = 5.0  # most that a resistor of the winding's trial gets: common in any drawer
OF_MOST_A = 0.7  # share of the motor's rated current in that trial: cautious
ROWS_OHM = 1.5  # that resistor over the winding's own, so that both share the volts visibly
ACROSS_TOLERANCE = 0.05  # of a resistor laid across: as sold
CUT_TRIAL = 0.88  # of the set point: clearly below, and clearly above the reference's own volts
CLAMP_TRIAL = 0.6  # of the open-circuit volts at the trial's pace
LEAST_CLAMP_V = 4.0  # below, reference and Darlington have no volts to act with
LEAST_CUT_V = 3.0
TOLD = 1.04  # the bus without the clamp over that with it, at least: a meter tells it


@dataclass(frozen=True)
class Resistor:
    """name: "winding" (across a row of motors), "dummy" (at the socket), "clamp_trial",
    "cut_trial", "bus_cut_trial" (across R2, R29 and R18). ohm: of E12 or E24 (IEC 60063);
    watts: the most it gets; rating_w: what it has to bear, twice that or more."""

    name: str
    ohm: float
    watts: float
    rating_w: float


@dataclass(frozen=True)
class Trial:
    """acts between low_v and high_v with the resistor across; pace_tpm: for the clamp, the
    pace that brings it there, and without_v: the bus at that pace without the resistor; None
    for the cut."""

    resistor: Resistor
    low_v: float
    nominal_v: float
    high_v: float
    pace_tpm: float | None = None
    without_v: float | None = None


def _rated(name: str, ohm: float, watts: float) -> Resistor:
    return Resistor(name, ohm, watts, standard.rating(SPARE_W * watts, standard.WATTS))


def winding(rig: Rig, pace_tpm: float) -> Resistor:
    """Across one row of motors at pace_tpm: large enough for the motor and for itself."""
    row_ohm = rig.bank.series * rig.motor.terminal_ohm
    emf_v = bank.emf_v_per_tpm(rig) * pace_tpm
    least = max(ROWS_OHM * row_ohm, emf_v / (OF_MOST_A * rig.motor.max_a) - row_ohm, 0.5)
    ohm = standard.at_least(least)
    while (watts := (emf_v / (ohm + row_ohm)) ** 2 * ohm) > TRIAL_W / SPARE_W:
        ohm = standard.at_least(1.1 * ohm)
    return _rated("winding", ohm, watts)


def dummy(rig: Rig) -> Resistor:
    """At the socket: what the device draws, within two percent or below."""
    if rig.load.kind == "resistor" and rig.load.resistance_ohm is not None:
        ohm = rig.load.resistance_ohm
    else:
        ohm = standard.at_least(rig.converter.out_v / rig.load.draw_a * 0.98, standard.E24)
    return _rated("dummy", ohm, rig.converter.out_v**2 / ohm)


def cut(rig: Rig, made: Design) -> Trial | None:
    """The output's cut brought below the set point; None where its reference has no room."""
    volts = CUT_TRIAL * rig.converter.out_v
    if volts < LEAST_CUT_V:
        return None
    return _across(made.cut, "cut_trial", volts, rig.converter.out_v)


def bus_cut(rig: Rig, made: Design, loaded_v: float) -> Trial | None:
    """The bus cut brought below what it watches at the target pace: the output, or the bus,
    loaded_v [V] then. None where the circuit has none."""
    if not CONDITIONS["bus_cut"](rig, "a"):
        return None
    watched_v = rig.converter.out_v if rig.switch.place == "output_switch" else loaded_v
    volts = CUT_TRIAL * watched_v
    if volts < LEAST_CUT_V:
        return None
    return _across(made.trip, "bus_cut_trial", volts, watched_v)


def clamp(rig: Rig, made: Design, most_tpm: float, series_ohm: float) -> Trial | None:
    """The clamp brought within a hand's reach, at most_tpm at the most, with series_ohm in the
    fuse's place; None where no hand brings the volts that it needs to act at all."""
    paces = np.arange(5.0, most_tpm + 0.5)
    idle_v = operate(rig, paces, connected=False).idle_v
    volts = CLAMP_TRIAL * min(float(idle_v[-1]), made.clamp.trip.low_v)
    if volts < LEAST_CLAMP_V:
        return None
    found = _across(made.clamp.trip, "clamp_trial", volts, volts)
    if found is None:
        return None
    # no more current than its resistor takes at these volts: there the clamp still holds
    spare_v = 0.9 * (found.low_v - SATURATED_V) / made.clamp.load_ohm
    spare_v *= bank.source_ohm(rig) + series_ohm
    wanted = min(found.low_v + spare_v, 1.3 * found.high_v)
    if wanted < TOLD * found.high_v:
        return None
    at = max(int(np.searchsorted(idle_v, wanted, side="right")) - 1, 0)
    return replace(found, pace_tpm=float(paces[at]), without_v=float(idle_v[at]))


def _across(trip: references.Trip, name: str, volts: float, across_v: float) -> Trial | None:
    """What resistor, of E12, across the upper arm of `trip` brings it to about `volts`."""
    wanted = trip.lower_ohm * (volts / references.REF_V - 1)
    if not 0 < wanted < 0.95 * trip.upper_ohm:
        return None
    ohm = standard.nearest(trip.upper_ohm * wanted / (trip.upper_ohm - wanted), standard.E12)
    ends = []
    for share in (1 - ACROSS_TOLERANCE, 1.0, 1 + ACROSS_TOLERANCE):
        both = 1 / (1 / trip.upper_ohm + 1 / (ohm * share))
        ends.append(references.trip(both, trip.lower_ohm, 0.005, 0.001))
    return Trial(_rated(name, ohm, across_v**2 / ohm), ends[0].low_v, ends[1].nominal_v,
                 ends[2].high_v)
