"""How much the windings warm while a bench goes on, by the rig's own heat data."""

from __future__ import annotations

import math

from steadyturn.model import gears, motor
from steadyturn.rig.types import RPM, Rig


class Warmth:
    """warm_k: of the windings above the room [K], which they begin at; model/thermal.md."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.warm_k = 0.0
        self._last_s: float | None = None

    def passed(self, now_s: float, amps: float, pace_tpm: float) -> float:
        """warm_k after what flowed since the last call [A] at that pace.

        >>> from steadyturn.rig.examples import example_path
        >>> from steadyturn.rig.file import read_rig
        >>> hut = Warmth(read_rig(example_path("lakeside-hut")))
        >>> hut.passed(0.0, 0.6, 60.0), 5 < hut.passed(180.0, 0.6, 60.0) < 10
        (0.0, True)
        """
        seconds = 0.0 if self._last_s is None else max(now_s - self._last_s, 0.0)
        self._last_s = now_s
        part, each = self.rig.motor, max(amps, 0.0) / self.rig.bank.parallel
        turns = pace_tpm * RPM * gears.ratio(self.rig.stages)
        wound = each**2 * float(motor.ohm_at(part, 20.0))
        rest = each * float(motor.brush_v(part, each))
        rest += float(motor.friction_nm(part, turns)) * turns
        goal = (wound + rest) * part.case_air_k_w + wound * part.winding_case_k_w
        lag_s = (part.winding_case_k_w + part.case_air_k_w) * part.winding_j_k
        self.warm_k = goal + (self.warm_k - goal) * math.exp(-seconds / lag_s)
        return self.warm_k
