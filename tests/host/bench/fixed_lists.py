"""The best fixed list of readings, found on training machines; and the best list of all for one
machine whose constants are known beforehand, which nothing can beat.

What a list leaves of the goal's interval is reckoned from the slopes of its readings at the true
constants. A list is grown reading by reading, always by the one that narrows the geometric mean
over the machines most, then each place is filled anew until nothing gains. A reading that motor
or resistor would not bear at some machine is either lost there ("strict") or taken with the
nearest resistor that is borne, as somebody with a drawer would ("nearest"): then the list adapts,
too.
"""

from __future__ import annotations

import math

import numpy as np
from benches import BENCH, METER, true_values
from steadyturn.bench import planner
from steadyturn.bench.readings import Loaded, Locked, Open, Readings, Run
from steadyturn.bench.residuals import evaluate
from steadyturn.bench.result import constants_for
from steadyturn.bench.rows import make
from steadyturn.bench.setup import Setup
from steadyturn.rig.types import RPM

CONSTANTS = constants_for(Setup())
COUNT = len(CONSTANTS)
PRIOR = np.array([1 / c.sigma**2 for c in CONSTANTS])
STEP = 1e-5
ENTRIES = [("open", 0.0), *(("loaded", r) for r in planner.RESISTORS),
           *(("locked", r) for r in planner.RESISTORS), *(("run", v) for v in planner.SUPPLIES_V)]
SWEEPS = 4


def constants_of(one):
    return np.array([*true_values(one).values(), *(c.start for c in CONSTANTS[6:])])


def ideal(one):
    """Every entry as a reading without an error, and whether motor and resistor bear it."""
    truth, setup = constants_of(one), Setup()
    k, ohm, drop, _, idle, drag = truth[:6]
    rpm = min(planner.FAST_RPM, 10.0 / (k * RPM))
    emf, pace = k * rpm * RPM, {"turns": rpm / 3, "seconds": 20.0}  # as benches.World counts
    items, borne = [], []
    for kind, value in ENTRIES:
        if kind == "open":
            items.append((kind, Open(volts=emf, **pace)))
            borne.append(True)
        elif kind == "run":
            free = max(value - drop, 0.2) / k
            items.append((kind, Run(volts=value, amps=max(idle + drag * free / k, 0.0005))))
            borne.append(True)
        else:
            by = planner.CELL_V if kind == "locked" else emf
            amps = planner._current(truth, setup, by, value)
            over = max(amps * value, 1e-3)
            mild = amps**2 * max(value, ohm) < planner.MOST_W
            if kind == "locked":
                items.append((kind, Locked(resistor_ohm=value, resistor_v=over,
                                           motor_v=max(by - over, 1e-3))))
                borne.append(mild and over > 0.01 and by - over > 0.01)
            else:
                items.append((kind, Loaded(resistor_ohm=value, volts=over, **pace)))
                borne.append(mild and over > 0.05 and value > 0.5 * ohm)
    return items, np.array(borne)


def nearest(entry, borne):
    """The entry that is taken in place of one: of its kind, borne, the resistor next to it; -1:
    none."""
    kind, value = ENTRIES[entry]
    found = [(abs(math.log(other / value)) if value else 0.0, i)
             for i, (k, other) in enumerate(ENTRIES) if k == kind and borne[i]]
    return min(found)[1] if found else -1


class Machine:
    """One machine's information, entry by entry. likewise: those of `nearest`."""

    def __init__(self, one):
        items, self.borne = ideal(one)
        truth = constants_of(one)
        rows = make(Readings(BENCH, METER, tuple(items), ("",) * len(items)), Setup())
        size = COUNT + len(rows.shared)
        at = np.concatenate([np.log(truth), np.zeros(len(rows.shared))])
        x = at + np.concatenate([np.zeros((1, size)), np.eye(size), -np.eye(size)]) * STEP
        left, sigma = evaluate(rows, np.exp(x[:, :COUNT]), x[:, COUNT:] * rows.shared_sigma)
        slopes = ((left[1 : size + 1] - left[size + 1 :]) / (2 * STEP) / sigma[0]).T
        own = np.array([slopes[rows.reading == i].T @ slopes[rows.reading == i]
                        for i in range(len(items))])
        self.own = np.where(self.borne[:, None, None], own, 0.0)
        self.likewise = np.array([self.own[nearest(i, self.borne)] for i in range(len(items))])
        self.prior = np.diag(np.concatenate([PRIOR, np.ones(len(rows.shared))]))
        self.goal = np.zeros((3, size))
        self.goal[:, :COUNT] = planner.goal_slopes(truth)

    def widths(self, information):
        """The goal's 95 % half width in percent for each of many information matrices."""
        solved = np.linalg.solve(information, np.broadcast_to(
            self.goal.T, (len(information), *self.goal.T.shape)))
        return 100 * planner.SURE * np.sqrt(np.einsum("ij,mji->m", self.goal, solved))


def best_list(machines, count, *, strict):
    """The list that leaves least over all these machines, as indices into ENTRIES."""
    blocks = [m.own if strict else m.likewise for m in machines]
    have = [m.prior.copy() for m in machines]

    def best():
        return int(sum(np.log(m.widths(h + b))
                       for m, h, b in zip(machines, have, blocks, strict=True)).argmin())

    def put(entry, sign=1.0):
        for i, b in enumerate(blocks):
            have[i] += sign * b[entry]

    chosen = []
    for _ in range(count):
        chosen.append(best())
        put(chosen[-1])
    for _ in range(SWEEPS):
        before = list(chosen)
        for place in range(count):
            put(chosen[place], -1.0)
            chosen[place] = best()
            put(chosen[place])
        if chosen == before:
            break
    return chosen


def left_by(machine, chosen, *, strict):
    """What is left of the goal's interval [%] after a list."""
    blocks = machine.own if strict else machine.likewise
    return float(machine.widths((machine.prior + blocks[chosen].sum(axis=0))[None])[0])
