"""Which reading is worth taking next: the one that narrows the machine's answer most.

For each reading that could be taken, the model says what it would show; its row's slopes and
its error say how much narrower the constants would be after it (a rank-one step of the
covariance). What counts is the goal: how well the volts under load, the open-circuit volts and
the friction's torque are known, as shares of themselves, added as squares; half the EMF's
current, as at the top of the power, stands for "under load".
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import rows as making
from steadyturn.bench.fit import STEP, SURE, Fit
from steadyturn.bench.readings import Loaded, Locked, Open, Readings, Run
from steadyturn.bench.residuals import DRAG, DROP, IDLE, OHM, K, evaluate
from steadyturn.bench.setup import Setup
from steadyturn.rig.types import RPM

Floats = NDArray[np.float64]
CELL_V = 4.5  # three cells, what most kitchens have
RESISTORS = (1.0, 2.2, 4.7, 10.0, 22.0, 47.0, 100.0, 220.0)
SUPPLIES_V = (3.0, 6.0, 9.0, 12.0)
MOST_W = 10.0  # in motor or resistor: borne for a few seconds; engineering judgement
FAST_RPM = 3000.0  # of a motor on a drill: a cordless one on its fast gear and half the hand's


@dataclass(frozen=True)
class Proposal:
    """kind and what to set; goal_percent: 95 % half width of the goal before and after it;
    narrower_percent: the reduction of the goal's interval that is expected."""

    kind: str
    resistor_ohm: float | None
    supply_v: float | None
    rpm: float | None
    goal_percent: float
    after_percent: float
    narrower_percent: float


@dataclass(frozen=True)
class _Candidate:
    item: tuple[str, Any]
    resistor_ohm: float | None = None
    supply_v: float | None = None
    rpm: float | None = None


def goal_slopes(constants: Floats) -> Floats:
    """Slopes of the goal's three shares over the logs of the constants: (3, constants)."""
    k, ohm, drop, _, idle, drag = constants[:6]
    w = 0.7 * CELL_V * 2 / k  # some 6 V of EMF
    emf = k * w
    amps = 0.5 * emf / ohm
    left = max(emf - amps * ohm - drop, 0.1 * emf)
    friction = k * idle + drag * w
    torque = k * amps + friction
    slopes = np.zeros((3, len(constants)))
    slopes[0, [K, OHM, DROP]] = emf / left, -amps * ohm / left, -drop / left
    slopes[1, K] = 1.0
    slopes[2, [K, IDLE, DRAG]] = (k * amps + k * idle) / torque, k * idle / torque, (
        drag * w / torque)
    return slopes


def proposals(readings: Readings, setup: Setup, rows: making.Rows, fit: Fit, *,
              resistors: tuple[float, ...] = RESISTORS, supply: bool = True,
              ) -> tuple[Proposal, ...]:
    """Every candidate, the most telling first. resistors: those at hand."""
    count = len(fit.constants)
    constants = np.exp(fit.center[:count])
    slopes = np.zeros((3, len(fit.center)))
    slopes[:, :count] = goal_slopes(constants)
    before = _goal(slopes, fit.covariance)
    found = []
    for one in _candidates(readings, setup, constants, resistors, supply):
        covariance = _after(readings, setup, rows, fit, one.item)
        after = _goal(slopes, covariance)
        found.append(Proposal(one.item[0], one.resistor_ohm, one.supply_v, one.rpm, before, after,
                              100 * (1 - after / before)))
    return tuple(sorted(found, key=lambda p: -p.narrower_percent))


def _goal(slopes: Floats, covariance: Floats) -> float:
    """95 % half width, percent."""
    return 100 * SURE * float(np.sqrt(np.trace(slopes @ covariance @ slopes.T)))


def _after(readings: Readings, setup: Setup, rows: making.Rows, fit: Fit,
           item: tuple[str, Any]) -> Floats:
    """The covariance with one more reading; what it shares with earlier ones stays shared."""
    own = making.make(replace(readings, items=(item,), where=("",)), setup)
    count = len(fit.constants)
    names = [name for name in own.shared if name not in rows.shared]
    size = len(fit.center) + len(names)
    covariance = np.eye(size)
    covariance[: len(fit.center), : len(fit.center)] = fit.covariance
    every = list(rows.shared) + names
    place = np.array([count + every.index(name) for name in own.shared])
    center = np.concatenate([fit.center, np.zeros(len(names))])

    moves = np.concatenate([np.zeros((1, size)), np.eye(size), -np.eye(size)]) * STEP
    x = center + moves
    left, sigma = evaluate(own, np.exp(x[:, :count]), x[:, place] * own.shared_sigma)
    slopes = ((left[1 : size + 1] - left[size + 1 :]) / (2 * STEP) / sigma[0]).T
    spread = covariance @ slopes.T
    after = covariance - spread @ np.linalg.solve(np.eye(own.size) + slopes @ spread, spread.T)
    return np.asarray(after[: len(fit.center), : len(fit.center)])


def _candidates(readings: Readings, setup: Setup, constants: Floats,
                resistors: tuple[float, ...], supply: bool) -> list[_Candidate]:
    k, ohm, drop, _, idle, drag = constants[:6]
    rows_ohm = ohm * setup.series / setup.parallel
    rpm = min(FAST_RPM, 10.0 / (k * RPM * setup.series))
    found = []
    emf = k * rpm * RPM * setup.series
    pace = _counted(readings, setup, rpm)
    found.append(_Candidate(("open", Open(volts=emf, **pace)), rpm=rpm))
    for resistor in resistors:
        amps = _current(constants, setup, CELL_V, resistor)
        mild = amps**2 * max(resistor, rows_ohm) < MOST_W
        if amps * resistor > 0.01 and CELL_V - amps * resistor > 0.01 and mild:
            found.append(_Candidate(("locked", Locked(
                resistor_ohm=resistor, resistor_v=amps * resistor,
                motor_v=CELL_V - amps * resistor)), resistor, CELL_V))
        amps = _current(constants, setup, emf, resistor)
        mild = amps**2 * max(resistor, rows_ohm) < MOST_W
        if resistor > 0.5 * rows_ohm and amps * resistor > 0.05 and mild:
            found.append(_Candidate(("loaded", Loaded(
                resistor_ohm=resistor, volts=amps * resistor, **pace)), resistor, rpm=rpm))
    for volts in SUPPLIES_V if supply else ():
        free = max(volts * setup.series - drop, 0.2) / k
        amps = (idle + drag * free / k) * setup.parallel
        found.append(_Candidate(("run", Run(volts=volts, amps=max(amps, 0.0005))),
                                supply_v=volts))
    return found


def _counted(readings: Readings, setup: Setup, rpm: float) -> dict[str, Any]:
    """The speed as it was told at the last reading that turned: counted over as long a time, or
    known as well."""
    for _, one in reversed(readings.items):
        if getattr(one, "turns", None) is not None:
            return {"turns": max(rpm / 60 / setup.ratio * one.seconds, 1.0),
                    "seconds": one.seconds}
        if getattr(one, "rpm", None) is not None:
            return {"rpm": rpm, "rpm_share": one.rpm_share}
    if setup.ratio > 1:
        return {"turns": 60.0, "seconds": 60.0 / max(rpm / 60 / setup.ratio, 1e-9)}
    return {"rpm": rpm}


def _current(constants: Floats, setup: Setup, emf: float, resistor: float) -> float:
    """Amperes that an EMF drives through resistor, motors and brushes."""
    _, ohm, drop, knee = constants[:4]
    low, high = 0.0, emf / resistor
    for _ in range(40):
        amps = (low + high) / 2
        each = amps / setup.parallel
        need = amps * resistor + setup.series * (each * ohm + drop * np.tanh(each / knee))
        low, high = (amps, high) if need < emf else (low, amps)
    return low


