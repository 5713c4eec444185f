"""A machine's constants as its rig file has them, to hold what is learned against."""

from __future__ import annotations

from math import hypot, log

from steadyturn.model import bank, gears
from steadyturn.rig.types import RPM, Rig
from steadyturn.sessions.burst_pool import sd_of, slope_of
from steadyturn.sessions.ranges import ends

# which key of the rig file tells a constant; "" where several do
KEYS = {"source_ohm": "motor.terminal_ohm", "emf_v_per_tpm": "motor.emf_v_per_krpm",
        "losses": "", "slope": ""}
LEAST_FACTOR = 1.5  # of the slope by the rig's inertia: a hand adds its own; assumption
# of another way of measuring the same, beside the interval of the bench's own; assumption
OTHER_WAY_SD = 0.05


def of_rig(name: str, rig: Rig | None) -> tuple[float, float, float] | None:
    """(value, low, high) of a constant of `learned.WORN`, in its unit; None without a rig."""
    if rig is None:
        return None
    if name == "losses":
        return 1.0, *ends(rig, "converter.loss_ohm")
    if name == "slope":
        value, factor = slope(rig)
        low, high = 1 / factor, factor
    elif name == "source_ohm":
        value = bank.source_ohm(rig)
        low, high = ends(rig, KEYS[name])
    else:
        value = bank.emf_v_per_tpm(rig)
        key = KEYS[name] if KEYS[name] in rig.origins else "motor.no_load_rpm"
        low, high = ends(rig, key)
    return value, value * low, value * high


def measured(name: str, rig: Rig | None) -> tuple[float, float] | None:
    """(logarithm, its deviation) of what was measured on the bench; None where nothing was. A
    guess or a data sheet is none: the outings know better at once."""
    if rig is None or not KEYS[name]:
        return None
    origin = rig.origins.get(KEYS[name])
    own = of_rig(name, rig)
    if origin is None or origin.kind != "measured" or own is None:
        return None
    return log(own[0]), hypot(sd_of(own[1], own[2]), OTHER_WAY_SD)


def slope(rig: Rig) -> tuple[float, float]:
    """c [ohm/s] (burst_pool.py) by the rig's EMF, gears and inertia, and within which factor."""
    factor = LEAST_FACTOR
    for key in ("motor.inertia_gcm2", "crank.inertia_gm2"):
        low, high = ends(rig, key)
        factor = max(factor, high, 1 / max(low, 1e-3))
    return slope_of(bank.emf_v_per_tpm(rig) / RPM, gears.efficiency(rig.stages),
                    _inertia(rig)), factor


def _inertia(rig: Rig) -> float:
    motors = rig.bank.series * rig.bank.parallel
    return float(rig.crank.inertia_kg_m2
                 + motors * rig.motor.inertia_kg_m2 * gears.ratio(rig.stages) ** 2)
