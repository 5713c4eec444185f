"""The figures of an outing with their 95 % ranges: energies, charge, percent, turns, times.

What the sensor measures is as sure as its data sheet says (`accuracy`), what follows from it
by constants of the machine as sure as these (`ranges`).
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite, nan
from typing import Any

import numpy as np

from steadyturn.rig.types import Rig
from steadyturn.sessions.accuracy import UNKNOWN, Accuracy
from steadyturn.sessions.estimates import Estimate, about, spread
from steadyturn.sessions.figures import MAH, WH, Figures
from steadyturn.sessions.flow import SAMPLE_S, Flow
from steadyturn.sessions.losses import KEYS, parts_j
from steadyturn.sessions.ranges import ends

ENDS = (5, 50, 95)  # percent of the time at a slower pace


def energies(
    figures: Figures, flow: Flow, settings: Mapping[str, Any], sensor: Accuracy,
    rig: Rig | None = None, out_sensor: Accuracy = UNKNOWN,
) -> list[Estimate]:
    """energy_in, energy_out, losses [Wh], charge [mAh], percent [%]."""
    f = figures
    volt_seconds = float(flow.volts.mean()) * f.on_s if len(flow.volts) else 0.0
    charge_c = f.charge_mah * MAH
    in_j = sensor.energy_j(f.energy_in_j, charge_c, volt_seconds)
    found = [about("energy_in", f.energy_in_wh, in_j / WH, "Wh", "measured"),
             _out(f, flow, settings, in_j, rig, out_sensor)]
    out = found[1]
    found += [_losses(f, out, in_j), about(
        "charge", f.charge_mah, sensor.charge_c(charge_c, f.on_s) / MAH, "mAh", "measured",
        note="at_bus")]
    if isfinite(f.percent):
        found.append(_percent(f, out, rig))
        if rig is not None and rig.load.capacity_j and rig.load.self_use_w:
            found.append(_net(f, found[-1], rig))
    return found


def _out(f: Figures, flow: Flow, settings: Mapping[str, Any], in_j: float, rig: Rig | None,
         out_sensor: Accuracy) -> Estimate:
    parts = parts_j(settings, flow)
    kind = "measured" if f.energy_out_kind == "measured" else "inferred"
    note = "partly" if f.energy_out_kind == "partly measured" else ""
    if parts is None:
        return Estimate("energy_out", f.energy_out_wh, nan, nan, "Wh", kind, note)
    connected = flow.connected
    in_connected = float(flow.watts[connected].sum()) * SAMPLE_S
    kept = sum(parts.values())
    # samples that are gone: their losses are as those that are there
    whole = f.energy_out_j / (in_connected - kept) if in_connected > kept else 1.0
    # an error of what went in comes out all but whole: losses hardly change
    moved = [(f.energy_out_j - whole * in_j, f.energy_out_j + whole * in_j)]
    if kind == "measured":
        # its own shunt and volts; offsets over the time it was connected
        out_v = settings["out_mv"] / 1000
        reach = out_sensor.energy_j(f.energy_out_j, f.energy_out_j / out_v,
                                    out_v * f.connected_s)
        moved = [(f.energy_out_j - reach, f.energy_out_j + reach)]
        parts = {"path": parts["path"]}
    for name, lost_j in parts.items():
        if KEYS[name]:
            low, high = ends(rig, KEYS[name])
            moved.append((f.energy_out_j - whole * lost_j * (high - 1),
                          f.energy_out_j + whole * lost_j * (1 - low)))
    low, high = spread(f.energy_out_j, moved)
    return Estimate("energy_out", f.energy_out_wh, _floor(low, f.energy_out_j) / WH,
                    high / WH, "Wh", kind, note)


def _losses(f: Figures, out: Estimate, in_j: float) -> Estimate:
    """What converter, switch and cable kept, and what went in while nothing was connected."""
    value = f.energy_in_wh - f.energy_out_wh
    if f.energy_out_kind == "measured":
        low, high = spread(value, [(value - in_j / WH, value + in_j / WH),
                                   (f.energy_in_wh - out.high, f.energy_in_wh - out.low)])
    else:  # out was inferred from in, so that an error of the sensor is in both
        # as far as there is an output to take it: what flowed for nothing is lost whole
        in_wh = in_j / WH
        stays = max(0.0, in_wh - f.energy_out_wh)
        low = value - float(np.hypot(_less(out.high - out.value, in_wh), stays))
        high = value + float(np.hypot(_less(out.value - out.low, in_wh), stays))
    return Estimate("losses", value, _floor(low, value), high, "Wh", "inferred")


def _floor(low: float, value: float) -> float:
    """Not below nothing, unless totals that contradict each other make the value itself so."""
    return max(low, min(0.0, value))


def _less(whole: float, part: float) -> float:
    """Of a root of squares, what is left without one part of it."""
    return float(np.sqrt(max(0.0, whole**2 - part**2)))


def _percent(f: Figures, out: Estimate, rig: Rig | None) -> Estimate:
    """Of the battery: what reached the socket, over what one percent takes there."""
    per_wh = f.percent / f.energy_out_wh if f.energy_out_wh else 0.0
    few, many = ends(rig, "load.charge_efficiency")
    small, large = ends(rig, "load.capacity_wh")
    low, high = spread(f.percent, [
        (out.low * per_wh, out.high * per_wh), (f.percent * few, f.percent * many),
        (f.percent / large, f.percent / small)])
    return Estimate("percent", f.percent, _floor(low, f.percent), high, "%", "inferred")


def _net(f: Figures, gross: Estimate, rig: Rig) -> Estimate:
    """Less what the phone used itself while it was connected."""
    assert rig.load.capacity_j
    used = 100 * rig.load.self_use_w * f.connected_s / rig.load.capacity_j
    few, many = ends(rig, "load.self_use_w")
    value = gross.value - used
    low, high = spread(value, [(gross.low - used, gross.high - used),
                               (gross.value - used * many, gross.value - used * few)])
    return Estimate("percent_net", value, low, high, "%", "modelled")


def times(figures: Figures) -> list[Estimate]:
    """turning, connected, in_band [s]: counted tick by tick; as sure as the board's crystal."""
    return [
        about(name, seconds, seconds * 1e-4, "s", "measured")
        for name, seconds in (("on", figures.on_s), ("turning", figures.turning_s),
                              ("connected", figures.connected_s), ("in_band", figures.band_s))
    ]
