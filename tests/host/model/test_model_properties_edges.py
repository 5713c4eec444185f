"""The band's ends once more, from limits.md: each condition is written out here by itself on
operating points, and holds 0.01 turn/min inside of each edge and not 0.01 outside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_rigs import random_rig
from steadyturn.model import thermal
from steadyturn.model.band import Band, find_band
from steadyturn.model.limits import constraints
from steadyturn.model.point import Points, operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM, Rig

STEP = 0.01  # turns/min
SPARE_POWER = 1.1


@dataclass
class There:
    """One rig at one pace, hot (windings settled) or cold: running, from rest, released."""

    rig: Rig
    pace: float
    winding_c: float
    case_c: float
    on: Points
    rest: Points

    @property
    def runs(self) -> bool:
        return str(self.on.regime) not in ("idle", "collapse")


def states(rig: Rig, pace: float) -> list[There]:
    found = []
    for air_c, hot in ((rig.air.hot_c, True), (rig.air.cold_c, False)):
        winding = case = air_c
        if hot:
            w, c = thermal.settled_c(rig, np.array([pace]), air_c)
            winding, case = float(w[0]), float(c[0])
        on, rest = (operate(rig, pace, running=running, winding_c=winding)
                    for running in (True, False))
        found.append(There(rig, pace, winding, case, on, rest))
    return found


def cold_peak_v(rig: Rig, pace: float) -> float:
    """Open-circuit bus at max(1.3 pace, 150): mean EMF of the cold machine, 5 % of peaks."""
    far = max(1.3 * pace, 150.0)
    return 1.05 * float(operate(rig, far, winding_c=rig.air.cold_c).emf_v)


def window(rig: Rig) -> tuple[float, float]:
    part = rig.converter
    low, high = part.stop_v, part.max_in_v
    if part.kind in ("buck", "linear"):
        low = max(low, part.out_v + part.headroom_v)
    return low, min(high, part.out_v) if part.kind == "boost" else high


def reservoir(t: There) -> float:
    behind = float(t.on.node_v) - t.rig.supply.drop_v
    return min(max(behind, 0.0), t.rig.supply.reservoir_max_v)


# what holds, by the names of limits.md; None where nothing runs that could be judged
HOLDS: dict[str, Callable[[There], bool]] = {
    "start": lambda t: str(t.rest.regime) not in ("idle", "collapse"),
    "holding": lambda t: t.runs,
    "input_limit": lambda t: t.on.bus_a < t.rig.converter.in_limit_a * (1 - 5e-10),
    "output_limit": lambda t: t.on.out_a < t.rig.converter.out_limit_a * (1 - 5e-10),
    "window_low": lambda t: t.on.in_v >= window(t.rig)[0],
    "window_high": lambda t: t.on.in_v <= window(t.rig)[1],
    "pass_through": lambda t: str(t.on.regime) != "pass_through",
    "output_low": lambda t: t.on.out_v >= t.rig.load.sag_v,
    "output_high": lambda t: t.on.out_v <= t.rig.load.max_v,
    "board_fade": lambda t: reservoir(t) >= t.rig.supply.fade_v,
    "board_wake": lambda t: t.on.emf_v >= t.rig.supply.wake_v,
    "clamp": lambda t: t.on.node_v < t.rig.protection.bus_clamp_v * (1 - 5e-10),
    "bus_cut": lambda t: t.on.node_v < t.rig.protection.bus_cut_v,
    "output_cut": lambda t: t.on.converter_v < t.rig.protection.output_cut_v,
    "motor_speed": lambda t: t.on.motor_rpm * RPM <= t.rig.motor.max_rad_s,
    "motor_current": lambda t: t.on.motor_a <= t.rig.motor.max_a,
    "winding_temperature": lambda t: t.winding_c <= t.rig.motor.max_winding_c,
    "mount_temperature": lambda t: t.case_c <= t.rig.bank.mount_max_c,
    "arm_force": lambda t: t.on.crank_nm / t.rig.crank.radius_m <= t.rig.arm.force_n,
    "arm_power": lambda t: t.on.arm_w <= t.rig.arm.power_w,
    "comfort_low": lambda t: t.pace >= t.rig.arm.comfort_low_tpm,
    "comfort_high": lambda t: t.pace <= t.rig.arm.comfort_high_tpm,
    "open_circuit_converter": lambda t: cold_peak_v(t.rig, t.pace) <= t.rig.converter.max_in_v,
    "open_circuit_capacitor": lambda t: cold_peak_v(t.rig, t.pace) <= t.rig.bus.capacitor_max_v,
    "open_circuit_rectifier": lambda t: cold_peak_v(t.rig, t.pace) <= t.rig.rectifier.max_v,
    "open_circuit_sensor": lambda t: cold_peak_v(t.rig, t.pace) <= 36.0,
    "open_circuit_adc": lambda t: cold_peak_v(t.rig, t.pace) / t.rig.sensor.divider <= 3.3,
}
# the tangent's fold has no short form on operating points; test_band.py looks at its margin
ELSEWHERE = {"collapse_margin", "open_circuit_switch", "open_circuit_device",
             "open_circuit_device_fault"}
ALWAYS = {"start", "holding", "board_wake", "motor_speed", "comfort_low", "comfort_high"}


def holds(name: str, rig: Rig, pace: float) -> bool:
    """In the hot machine and in the cold one, where it can be judged."""
    judged = [t for t in states(rig, pace)
              if t.runs or name in ALWAYS or name.startswith("open_circuit")]
    return all(bool(HOLDS[name](t)) for t in judged)


def look(rig: Rig, band: Band) -> set[str]:
    """Names of the limits at the band's ends that were tried."""
    tried = set()
    for limit in band.limits:
        end = band.low_tpm if limit.side == "low" else band.high_tpm
        if end is None or abs(limit.pace_tpm - end) > 1e-4 or limit.name in ELSEWHERE:
            continue
        out = STEP if limit.side == "high" else -STEP
        if band.high_tpm - band.low_tpm > 2 * STEP:
            assert holds(limit.name, rig, end - out), (limit, "inside", rig)
        # what nothing can judge outside is what `start` and `holding` say
        gone = not any(t.runs for t in states(rig, end + out))
        assert gone or not holds(limit.name, rig, end + out), (limit, "outside", rig)
        tried.add(limit.name)
    return tried


@given(seed=st.integers(0, 10**6))
@settings(max_examples=6, deadline=None)
def test_band_ends_by_conditions_of_their_own(seed) -> None:
    rig = random_rig(seed)
    look(rig, find_band(rig, deep=False))


@pytest.mark.parametrize("name", ["lakeside-hut", "radio-tent", "night-ferry", "dangerous-barn"])
def test_band_ends_of_the_examples(name) -> None:
    path = example_path(name)
    assert path is not None
    rig = read_rig(path)
    assert look(rig, find_band(rig, deep=False))


def test_every_limit_is_known_here() -> None:
    seen = {c.name for seed in range(60) for c in constraints(random_rig(seed))}
    assert seen <= set(HOLDS) | ELSEWHERE


@pytest.mark.soak
def test_band_ends_of_many() -> None:
    tried: set[str] = set()
    for seed in range(120):
        rig = random_rig(seed)
        tried |= look(rig, find_band(rig, deep=False))
    assert len(tried) >= 8, tried
