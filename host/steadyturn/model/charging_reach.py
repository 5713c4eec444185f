"""The most current that a machine gives a device at one pace; see charging.md."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.model import arm
from steadyturn.model.charging import with_draw
from steadyturn.model.point import operate
from steadyturn.rig.types import Rig

STEP_A, MOST_A = 0.1, 5.0  # a USB-C cable carries 5 A at most
PORTS_A = (0.5, 0.9, 1.5, 3.0)  # USB 2.0, USB 3, BC 1.2, Type-C: what a port can advertise


@dataclass(frozen=True)
class Reach:
    """gives_a: the largest draw that this pace bears; limit: what ends it, by the names of
    model.limits ("" where MOST_A is reached); arm_w there; port_a: the most that the port may
    advertise of PORTS_A, None where even the least is too much."""

    gives_a: float
    limit: str
    arm_w: float
    port_a: float | None


def reach(rig: Rig, pace_tpm: float) -> Reach:
    """How much a device could draw at pace_tpm [turns/min], winding at 20 degC.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> found = reach(read_rig(example_path("lakeside-hut")), 60)
    >>> found.gives_a > 0.5, found.port_a
    (True, 0.9)
    """
    good, bad, limit = 0.0, MOST_A, ""
    for number in range(1, round(MOST_A / STEP_A) + 1):
        if limit := _broken(rig, pace_tpm, number * STEP_A):
            bad = number * STEP_A
            break
        good = number * STEP_A
    for _ in range(8 if limit else 0):
        middle = 0.5 * (good + bad)
        found = _broken(rig, pace_tpm, middle)
        good, bad, limit = (good, middle, found) if found else (middle, bad, limit)
    arm_w = float(operate(with_draw(rig, good), pace_tpm).arm_w) if good else 0.0
    ports = [amps for amps in PORTS_A if amps <= good]
    return Reach(good, limit, arm_w, max(ports, default=None))


def _broken(rig: Rig, pace_tpm: float, draw_a: float) -> str:
    """The first limit that this draw breaks, "" for none."""
    at = operate(with_draw(rig, draw_a), pace_tpm)
    tests = (
        ("holding", str(at.regime) == "idle"),
        ("collapse_margin", str(at.regime) == "collapse"),
        ("input_limit", float(at.bus_a) >= rig.converter.in_limit_a * (1 - 1e-9)),
        ("output_limit", float(at.out_a) >= rig.converter.out_limit_a * (1 - 1e-9)),
        ("output_low", float(at.out_v) < rig.load.sag_v),
        ("motor_current", float(at.motor_a) > rig.motor.max_a),
        ("arm_power", float(at.arm_w) > rig.arm.power_w),
        ("arm_force", float(arm.force_n(rig, at.crank_nm)) > rig.arm.force_n),
    )
    return next((name for name, broken in tests if broken), "")
