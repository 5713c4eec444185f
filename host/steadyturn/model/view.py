"""A rig at an array of paces, in one thermal state: what the limits look at."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import thermal
from steadyturn.model.accounts import Points, points
from steadyturn.model.pair import Pair
from steadyturn.model.states import REGULATING
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

SPARE = 1.1  # the load may draw this much more before the volts collapse


class View:
    """pace: 1-D [turns/min]. hot: windings settled in the rig's hot air, else everything
    at its cold air. Arrays are computed when first asked for."""

    def __init__(self, rig: Rig, pace: Floats, *, hot: bool) -> None:
        self.rig, self.pace, self.hot = rig, pace, hot
        if hot:
            self.winding_c, self.case_c = thermal.settled_c(rig, pace, rig.air.hot_c)
        else:
            self.winding_c = self.case_c = np.full(pace.shape, rig.air.cold_c)

    @cached_property
    def pair(self) -> Pair:
        return Pair(self.rig, self.pace, self.winding_c)

    @cached_property
    def on(self) -> Points:
        """The converter running already."""
        return points(self.pair, running=True, connected=True)

    @cached_property
    def runs(self) -> NDArray[np.bool_]:
        assert self.pair.found is not None
        return self.pair.found.there

    @cached_property
    def spare(self) -> Floats:
        """Room before the fold of a constant-power load, as a share: zero where SPARE
        times the power would just be too much for the source line's tangent here.

        On a straight line of EMF E the power's slope by current is E - 2 R I =
        E * sqrt(1 - P / Pmax).
        """
        pair = self.pair
        assert pair.found is not None
        if self.rig.converter.kind == "linear":
            return np.ones_like(self.pace)
        at = pair.line.at(np.where(pair.found.there, pair.found.x, 0.0))
        slope = pair.output.power(at)[1] / at.in_slope
        emf = at.in_v + at.in_a * np.abs(at.v_slope / at.in_slope)
        left = np.sign(slope) * (slope / np.maximum(emf, 1e-9)) ** 2
        constant_power = (pair.found.regime == REGULATING) & ~pair.held
        return np.where(constant_power, left - (1 - 1 / SPARE), 1.0)

    def while_on(self, values: Floats) -> Floats:
        """`values` where the converter runs, NaN elsewhere: there is nothing to judge."""
        return np.where(self.runs, values, np.nan)
