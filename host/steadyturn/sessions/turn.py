"""What the turn sensor says of an outing: whose the pace is, and how far it was off the volts."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages


def pace_kind(pages: Pages) -> str:
    """Of the pages that have a valid pace at all."""
    valid = np.unique(pages.samples["seq"][pages.samples["valid"] == layout.VALID])
    flags = pages.pages["flags"][np.isin(pages.pages["seq"], valid)]
    measured = flags & layout.FLAG_PACE_MEASURED > 0
    if not measured.any():
        return "from volts"
    return "measured" if measured.all() else "partly measured"


def farthest(permille: NDArray[Any]) -> float:
    """The one that is farthest from 1000 as a ratio."""
    if not len(permille):
        return float("nan")
    ratio = np.maximum(permille, 1) / 1000.0
    return float(permille[np.argmax(np.abs(np.log(ratio)))])
