"""What a capacitor behind diodes keeps of the EMF's crests while a load draws on it.

Between two commutator segments the EMF is nearly a parabola, 1 + e - 3 e u^2 of its mean with u
from -1 to 1 and e the peak's excess. Against the steady volts of a large capacitor, behind the
source's resistance R, the diodes conduct where it stands above; the mean of what they pass is the
load's current I. With y = I R / (e E) that gives volts of E (1 + e p) - I R, where

    p = 1 + y - 3 (y / 2)^(2/3)   for y < 2, and 0 from there on: the diodes conduct throughout.

A small capacitor, or much inductance, keeps a little less. Own derivation; the circuit simulator
ngspice confirms it (tests/published/test_ngspice_commutator.py).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
# what capacitors of 0.2 to 5 mF and windings up to 2 mH keep less, by ngspice: 0 to twice this
LESS = 0.4


def kept(y: ArrayLike) -> Floats:
    """p, of a large capacitor.

    >>> kept([0.0, 0.25, 2.0, 9.0]).round(3).tolist()
    [1.0, 0.5, 0.0, 0.0]
    """
    part = np.clip(np.asarray(y, dtype=float), 0.0, 2.0)
    return np.asarray(1 + part - 3 * (part / 2) ** (2 / 3))


def expected(y: ArrayLike) -> tuple[Floats, Floats]:
    """p where neither capacitor nor inductance is known, and one sigma of it.

    >>> [x.round(2).tolist() for x in expected([0.0, 0.25, 3.0])]
    [[1.0, 0.4, 0.0], [0.0, 0.1, 0.0]]
    """
    whole = kept(y)
    less = LESS * whole * (1 - whole)
    return whole - less, less
