"""What slip would explain a reading that stands out: decimal point, mV for V, swapped columns.

Each slip is undone on that reading alone and it is asked whether it then fits; the plainest slip
that does is named. A slip is never corrected silently: the reading stays out, and the person is
told what to look at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steadyturn.bench import rows as making
from steadyturn.bench.fit import Fit
from steadyturn.bench.readings import Readings
from steadyturn.bench.residuals import evaluate
from steadyturn.bench.setup import Setup

FITS = 3.0  # sigmas within which a reading fits once its slip is undone
# slip -> what to multiply the reading by to undo it
FACTORS = (("decimal point", 0.1), ("decimal point", 10.0), ("thousandfold", 0.001),
           ("thousandfold", 1000.0), ("decimal point", 0.01), ("decimal point", 100.0))
_READ = {"locked": ("resistor_v", "motor_v", "resistor_ohm"),
         "open": ("volts", "rpm", "seconds", "pace_tpm"),
         "loaded": ("volts", "rpm", "seconds", "pace_tpm", "resistor_ohm"),
         "short": ("amps", "rpm", "seconds", "pace_tpm"),
         "run": ("amps", "volts", "rpm"), "stall": ("torque_nm", "amps")}  # a board makes none
_SWAPS = {"locked": (("resistor_v", "motor_v"),), "run": (("volts", "amps"),),
          "open": (("turns", "seconds"),), "loaded": (("turns", "seconds"),)}


@dataclass(frozen=True)
class Suspect:
    """A reading taken out. sigmas: how far it stands from what the others say. slip: "decimal
    point", "thousandfold", "swapped" or "" for none that explains it; key, value: what is
    suspected, as read and as it would fit (of "swapped": the two keys)."""

    reading: str
    where: str
    index: int
    sigmas: float
    slip: str = ""
    keys: tuple[str, ...] = ()
    read: float | None = None
    would_fit: float | None = None


def suspects(readings: Readings, setup: Setup, rows: making.Rows, fit: Fit) -> tuple[Suspect, ...]:
    """The readings that a fit took out, each with the slip that explains it."""
    found = []
    for index in fit.out:
        own = np.abs(fit.standing[rows.reading == index])
        base = Suspect(readings.named(index), readings.where[index] if readings.where else "",
                       index, float(own.max()))
        found.append(_explained(base, readings, setup, fit, rows))
    return tuple(found)


def _explained(base: Suspect, readings: Readings, setup: Setup, fit: Fit,
               rows: making.Rows) -> Suspect:
    kind, one = readings.items[base.index]
    for slip, keys, mended in _undone(kind, one):
        far = _far(readings, setup, fit, rows, base.index, mended)
        if far < FITS:
            single = keys[0] if len(keys) == 1 else None
            return replace(base, slip=slip, keys=keys,
                           read=getattr(one, single) if single else None,
                           would_fit=getattr(mended, single) if single else None)
    return base


def _undone(kind: str, one: Any) -> Iterator[tuple[str, tuple[str, ...], Any]]:
    for pair in _SWAPS.get(kind, ()):
        a, b = (getattr(one, name) for name in pair)
        if a is not None and b is not None:
            yield "swapped", pair, replace(one, **{pair[0]: b, pair[1]: a})
    for slip, factor in FACTORS:
        for name in _READ.get(kind, ()):
            value = getattr(one, name)
            if value is not None:
                yield slip, (name,), replace(one, **{name: value * factor})


def _far(readings: Readings, setup: Setup, fit: Fit, rows: making.Rows, index: int,
         mended: Any) -> float:
    """Sigmas of the mended reading from the fit's constants."""
    alone = replace(readings, items=((readings.items[index][0], mended),), where=("",))
    own = making.make(alone, setup)
    count = len(fit.constants)
    at = dict(zip(rows.shared, fit.center[count:] * rows.shared_sigma, strict=True))
    shared = np.array([at.get(name, 0.0) for name in own.shared])
    left, sigma = evaluate(own, np.exp(fit.center[:count]), shared)
    here = rows.reading == index
    lever = 1.0
    if here.sum() == own.size:  # the constants are not exact either
        lever = float(np.max(np.abs(fit.left[here] / fit.sigma[here])
                             / np.maximum(np.abs(fit.standing[here]), 1e-9)))
        lever = min(max(lever, 1.0), 3.0)
    far = float(np.max(np.abs(left / sigma))) / lever
    return far if math.isfinite(far) else math.inf
