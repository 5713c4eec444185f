"""The source line of a bus that its clamp holds; equations in point.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.line import At, series_ohm
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Clamped:
    """The line of a bus held at `volts` by its clamp; parameter: the current into the
    converter."""

    def __init__(self, rig: Rig, volts: Floats) -> None:
        self.rig, self.volts, self.ohm = rig, volts, series_ohm(rig)

    def __getitem__(self, where: Flags) -> Clamped:
        return Clamped(self.rig, self.volts[where])

    def zero(self) -> Floats:
        return np.zeros_like(self.volts)

    def most(self) -> Floats:
        return self.volts / max(self.ohm, 1e-6)

    def could_give(self, power_w: float) -> Flags:
        return np.ones(self.volts.shape, dtype=bool)

    def too_little(self, power_w: float) -> Floats:
        return np.minimum(power_w / self.volts, self.most())

    def near(self, power_w: float, loss_v: float, loss_ohm: float) -> Floats:
        return self.too_little(power_w)

    def loaded(self, in_a: float) -> Floats:
        return self.volts

    def spare_v(self, in_a: Floats, in_v: Floats) -> Floats:
        return self.volts - self.ohm * in_a - in_v

    def spare_slope(self, in_a: Floats, by_v: Floats, in_v: Floats) -> tuple[Floats, Floats]:
        return self.spare_v(in_a, in_v), -1 - self.ohm * by_v

    def feeding(self, in_a: Floats | float, node_v: Floats) -> Floats:
        return np.broadcast_to(in_a, self.volts.shape)

    def at(self, in_a: Floats) -> At:
        flat, one = np.zeros_like(in_a), np.ones_like(in_a)
        return At(self.volts, flat, in_a, one, self.volts - self.ohm * in_a, flat - self.ohm)
