"""A rig at an array of paces, in one thermal state: what the limits look at."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import thermal
from steadyturn.model.accounts import Points, points
from steadyturn.model.pair import Pair
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
        return points(self.pair, running=True, connected=True, shape=self.pace.shape)

    @cached_property
    def runs(self) -> NDArray[np.bool_]:
        assert self.pair.found is not None
        return self.pair.found.there

    @cached_property
    def spare(self) -> NDArray[np.bool_]:
        """Whether it would still run with a tenth more load."""
        load = self.rig.load
        more = replace(
            load, draw_a=load.draw_a * SPARE,
            resistance_ohm=load.resistance_ohm and load.resistance_ohm / SPARE)
        found = Pair(replace(self.rig, load=more), self.pace, self.winding_c).found
        assert found is not None
        return found.there

    def while_on(self, values: Floats) -> Floats:
        """`values` where the converter runs, NaN elsewhere: there is nothing to judge."""
        return np.where(self.runs, values, np.nan)
