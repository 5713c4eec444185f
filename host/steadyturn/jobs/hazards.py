"""What can go wrong with a machine as described, and whether `check` refuses it for that.

The volts come from the band; here stands what to do about each, and the rule
on sensors without an alert output.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from steadyturn.model import hazards as model
from steadyturn.model.band import Band
from steadyturn.rig import sensors
from steadyturn.rig.types import Rig
from steadyturn.rig.units import plain
from steadyturn.settings import barriers

# what parts the volts from the part; {v}: its rating
_HOW = {
    "set_point": "Set the converter to 5.0-5.2 V with nothing connected.",
    "open_circuit_capacitor": "A capacitor for more volts, a lower gear ratio, or a clamp below "
                              "{v} V (bus_clamp_v, bus_clamp_w).",
    "open_circuit_sensor": "A lower gear ratio, or a clamp below {v} V (bus_clamp_v, "
                           "bus_clamp_w).",
    "open_circuit_converter": "A converter for more volts, a lower gear ratio, or a clamp or cut "
                              "below {v} V (bus_clamp_v, bus_cut_v).",
    "open_circuit_adc": "A divider of {d} : 1 or more (R_top + R_bottom over R_bottom; write it "
                        "as divider), or a clamp on the bus.",
    "reservoir_adc": "A divider of {d} : 1 or more (write it as supply_permille in "
                     "[board.pins], in thousandths).",
    "open_circuit_rectifier": "Diodes for more volts, or a lower gear ratio.",
    "open_circuit_switch": "A switch for more volts, or a lower gear ratio.",
    "open_circuit_device": "Fit a cut at the output that works without the firmware "
                           "(output_cut_v at or below {v} V), or take a buck_boost.",
    "open_circuit_device_fault": "Fit a cut at the output that works without the firmware: "
                                 "output_cut_v at or below {v} V.",
    "clamp_power": "A clamp that bears the power, and bus_clamp_w to say so.",
}
# whose rating it is, where the rig file says it
_RATED_BY = {
    "open_circuit_capacitor": "bus.capacitor_max_v",
    "open_circuit_converter": "converter.max_in_v",
    "open_circuit_rectifier": "rectifier.max_v",
    "open_circuit_switch": "switch.max_v",
}
ALERTED = ("ina226",)
# of these the device is in danger already, with nothing failed or with the same thing
_DEVICE = ("open_circuit_device", "open_circuit_device_fault", "set_point")


@dataclass(frozen=True)
class Hazard:
    """volts: what would be there; rating_v: what is borne; refuses: `check` says no."""

    name: str
    volts: float
    rating_v: float
    reason: str
    how: str
    refuses: bool


def hazards_of(rig: Rig, band: Band) -> tuple[Hazard, ...]:
    """Every rating that the source can exceed, worst first."""
    return _judged(rig, band.hazards, band.high_tpm)


def hazards_at(rig: Rig, pace_tpm: float) -> tuple[Hazard, ...]:
    """The same if the hand is at pace_tpm [turns/min] when the load goes."""
    return _judged(rig, model.hazards(rig, pace_tpm), pace_tpm)


def _judged(rig: Rig, broken: Iterable[model.Hazard], high_tpm: float | None
            ) -> tuple[Hazard, ...]:
    found = [
        Hazard(h.name, h.volts, h.rating, h.reason, _how(rig, h),
               h.name not in model.AFTER_A_FAULT)
        for h in broken
    ]
    protection = rig.protection
    fitted = (protection.bus_clamp_v, protection.bus_cut_v, protection.output_cut_v)
    if found and rig.sensor.chip not in ALERTED and not any(fitted):
        worst = found[0]
        found.append(Hazard(
            "sensor_without_alert", worst.volts, worst.rating_v,
            f"the {sensors.name(rig.sensor)} has no alert that tells of too high a bus: with it, "
            "only the firmware stands between the source and what it can harm",
            "Fit a clamp or a cut that works without the firmware, or use an INA226 with its "
            "alert wired.", True))
    if not any(h.name in _DEVICE for h in found):
        found += [_after(rig, fault) for fault in barriers.single_faults(rig, high_tpm)]
    return tuple(found)


def _after(rig: Rig, fault: barriers.Fault) -> Hazard:
    """One part fails, and nothing else keeps the device: shown, as other second barriers are."""
    most = plain(rig.load.max_v)
    if rig.protection.output_cut_v is None:
        how = f"Fit a cut at the output that works without the firmware: output_cut_v at {most} V."
    elif not barriers.isolates(rig):
        how = ("Take a bus_switch or an output_switch, and a bus cut that opens it (bus_cut_v): a "
               "second barrier beside the cut.")
    else:
        how = (f"Fit a second cut or a clamp that keeps the bus below {most} V without the "
               "firmware (bus_cut_v, bus_clamp_v).")
    return Hazard(f"single_fault_{fault.failed}", fault.volts, rig.load.max_v,
                  f"{barriers.FAILURES[fault.failed]}, nothing else parts the device from the "
                  "generator", how, False)


def _how(rig: Rig, broken: model.Hazard) -> str:
    """What parts the volts from the part; first of all, whether its rating is known."""
    name, rating_v = broken.name, broken.rating
    over = broken.volts / rating_v
    divider = rig.sensor.divider if name == "open_circuit_adc" else model.reservoir_divider(rig)
    remedy = _HOW.get(name, "").replace("{v}", plain(rating_v)).replace(
        "{d}", f"{math.ceil(10 * over * divider) / 10:g}" if name.endswith("_adc") else "")
    if name == "open_circuit_adc" and _assumed(rig, "sensor.divider"):
        return f"The divider of {plain(divider)} : 1 is only assumed. {remedy}"
    key = _RATED_BY.get(name, "")
    if not _assumed(rig, key):
        return remedy
    return (f"Its {plain(rating_v)} V are only assumed: read what is printed on it or in its data "
            f"sheet and write {key.partition('.')[2]} in [{key.partition('.')[0]}]. Else: "
            f"{remedy[:1].lower()}{remedy[1:]}")


def _assumed(rig: Rig, key: str) -> bool:
    origin = rig.origins.get(key)
    return origin is not None and origin.kind == "assumed"
