"""Readings of one kind beside each other, before any fit; and what no motor is.

A slip of the decimal point can carry a fit of few readings along with it: 27 V over the resistor
where the others have 2.7 fits a motor of all but no ohms whose brushes keep all the volts, and
then the good readings look wrong. So like readings are compared with their own median first,
never more than half of them is left out, and what comes out must be a motor.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench.constants import Constant
from steadyturn.bench.residuals import DROP, OHM, K
from steadyturn.bench.rows import Rows

Floats = NDArray[np.float64]
FEWEST = 3  # like readings: of two nobody can say which is wrong
ODD = math.log(2.0)  # from the median of like readings; only where a fit begins, it decides none
LEAST_OHMS = 0.05  # of volts over amperes at the held shaft: engineering judgement. With less the
# brushes would keep all of it; a motor of hand size shares it about evenly, or has more ohms
FAR_DROP = 2.5  # sigmas above what is typical from which a brush drop must be read at
APART = 3.0  # currents so many times apart


def groups(rows: Rows) -> list[tuple[NDArray[np.int64], Floats]]:
    """Of each group of like rows: which, and the log of what they should have in common."""
    with np.errstate(divide="ignore", invalid="ignore"):
        volts, amps = np.abs(rows.volts), np.abs(rows.amps)
        common = np.select(
            [rows.held > 0, rows.kind == "run", rows.kind == "stall",
             (rows.kind == "volts") & (volts > 0), rows.kind == "volts"],
            [volts / amps, amps, rows.torque / amps, volts / rows.w, amps / rows.w], np.nan)
        logs = np.log(common)
    keys = [(str(rows.kind[i]), bool(rows.held[i] > 0), float(rows.ohm[i]),
             bool(rows.peak[i] > 0), bool(volts[i] > 0), bool(rows.amps[i] < 0))
            for i in range(rows.size)]
    found = []
    for key in dict.fromkeys(keys):
        where = np.array([i for i, one in enumerate(keys) if one == key])
        where = where[np.isfinite(logs[where])]
        if len(where):
            found.append((where, logs[where]))
    return found


def odd(rows: Rows) -> set[int]:
    """Readings that stand far from the median of those like them."""
    found: set[int] = set()
    for where, logs in groups(rows):
        if len(where) >= FEWEST:
            far = np.abs(logs - np.median(logs)) > ODD
            if 2 * far.sum() < len(where):
                found |= set(rows.reading[where[far]].tolist())
    return found


def most_kept(rows: Rows, out: set[int]) -> bool:
    """No group of three or more like readings lost more than half."""
    return all(2 * sum(int(r) in out for r in rows.reading[where]) <= len(where)
               for where, _ in groups(rows) if len(where) >= FEWEST)


def doubts(rows: Rows, constants: tuple[Constant, ...], logs: Floats,
           out: set[int]) -> tuple[str, ...]:
    """Names of constants with a value that no motor has which gives such readings."""
    held = (rows.held > 0) & ~np.isin(rows.reading, list(out))
    if not held.any():
        return ()
    setup = rows.setup
    volts, amps = np.abs(rows.volts[held]), np.abs(rows.amps[held])
    apparent = volts / amps * setup.parallel / setup.series
    if math.exp(logs[OHM]) < LEAST_OHMS * float(apparent.min()):
        return constants[OHM].name, constants[DROP].name
    drop = constants[DROP]
    high = math.log(drop.start) + FAR_DROP * drop.sigma
    if logs[DROP] > high and amps.max() < APART * amps.min():
        return (drop.name,)
    return ()


def undecided(rows: Rows, constants: tuple[Constant, ...], out: set[int]) -> tuple[str, ...]:
    """Names of constants of whose readings as many are left out as kept: which of them are
    wrong, nobody can say."""
    gone = np.isin(rows.reading, list(out))
    held = rows.held > 0
    turned = (rows.kind == "volts") & (rows.w > 0)
    under = turned & (np.abs(rows.amps) > 0) & ~gone  # tell the ohms, too
    found: list[str] = []
    if held.any() and 2 * (held & gone).sum() >= held.sum() and not under.any():
        found += [constants[OHM].name, constants[DROP].name]
    if turned.any() and 2 * (turned & gone).sum() >= turned.sum():
        found.append(constants[K].name)
    return tuple(found)
