"""Bus volts of many builds over pace, converter running and regulating, winding at 20 degC."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model.batch import LIMIT_NAMES
from steadyturn.model.batch_edges import FINE, between
from steadyturn.model.batch_ends import ends
from steadyturn.model.batch_frame import build, size, spread
from steadyturn.model.batch_look import coil_a, look
from steadyturn.model.batch_target import MILD_C
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

POINTS = 48  # of each build's curve


def bus_v_over(rig: Rig, values: Mapping[str, ArrayLike], pace: Floats) -> Floats:
    """[builds, paces], volts as the sensor reads them; NaN where the build's converter does
    not regulate in its window at that pace.

    pace: 1-D [turns/min], rising; values: as of `batch.bands`, with the same errors.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> volts = bus_v_over(hut, {"motor.terminal_ohm": [1.34, 2.0]}, np.array([20.0, 70.0]))
    >>> volts.round(1).tolist()
    [[nan, 9.1], [nan, 8.6]]
    """
    n = size(values)
    found = np.full((n, len(pace)), np.nan)
    with np.errstate(all="ignore"):
        whole = build(spread(rig, values), LIMIT_NAMES, n)
        for start in range(0, n, FINE.chunk):
            frame, count = whole.take(slice(start, start + FINE.chunk)), min(FINE.chunk, n - start)
            reach = ends(frame, count, LIMIT_NAMES)
            top = np.minimum(frame.high_v, frame.pass_v)
            in_v = between(reach.low_v, np.maximum(top, reach.low_v * 1.001), POINTS)
            at = look(frame, in_v, MILD_C, heated=False)
            bus_v = in_v + frame.switch_ohm * coil_a(frame, in_v)[0]
            tpm = np.where(np.isnan(at.pace), np.inf, at.pace)
            for i in range(count):
                first = int(np.argmin(tpm[:, i]))  # below lies the unstable branch
                found[start + i] = np.interp(pace, tpm[first:, i], bus_v[first:, i],
                                             left=np.nan, right=np.nan)
    return found
