"""What is charged, and the cable to it; equations in load.md."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.rig.types import Load, Rig

Floats = NDArray[np.float64]

COPPER_OHM_M = 1.724e-8  # annealed copper at 20 degC (IACS)
USB = ("phone", "power_bank", "lantern")


def cable_ohm(load: Load) -> float:
    """Resistance [ohm] of the cable, out and back, at 20 degC.

    Wire of gauge n is 0.127 mm * 92**((36 - n) / 39) thick (ASTM B258).

    >>> round(cable_ohm(Load(cable_m=1, cable_awg=28)), 3)
    0.426
    """
    across = 0.127e-3 * 92 ** ((36 - load.cable_awg) / 39)
    return 2 * load.cable_m * COPPER_OHM_M / (pi * across**2 / 4)


def path_ohm(rig: Rig) -> float:
    """Resistance [ohm] between the converter's output and the device's socket: a shunt
    that measures the output, an output switch, the cable.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(path_ohm(hut), 3)
    0.084
    """
    inline = rig.switch.on_ohm if rig.switch.place == "output_switch" else 0.0
    return inline + (rig.sensor.out_shunt_ohm or 0.0) + cable_ohm(rig.load)


def draw(load: Load, path: float, out_v: ArrayLike) -> tuple[Floats, Floats]:
    """Current [A] that the load takes through `path` [ohm] from a converter output of
    out_v [V], and its slope [A/V]; both shaped like out_v.

    A USB device takes draw_a while its socket has sag_v, less below, nothing
    below min_v.

    >>> phone = Load(draw_a=0.5, sag_v=4.6, min_v=4.1)
    >>> [values.round(3).tolist() for values in draw(phone, 0.0, [4.0, 4.35, 5.0])]
    [[0.0, 0.25, 0.5], [0.0, 1.0, 0.0]]
    """
    volts = np.maximum(np.asarray(out_v, dtype=float), 0.0)
    if load.kind == "none":
        return np.zeros_like(volts), np.zeros_like(volts)
    if load.kind == "resistor":
        ohm = (1e9 if load.resistance_ohm is None else load.resistance_ohm) + path
        return volts / ohm, np.zeros_like(volts) + 1 / ohm
    span = np.maximum(load.sag_v - load.min_v, 0.0) + load.draw_a * path
    slope = load.draw_a / np.maximum(span, 1e-9)
    ramp = slope * (volts - load.min_v)
    between = (ramp > 0) & (ramp < load.draw_a)
    return np.clip(ramp, 0.0, load.draw_a), np.where(between, slope, 0.0)


def kinks_v(load: Load, path: float) -> tuple[float, ...]:
    """Converter output volts [V] between which the load's current is a straight line.

    >>> [round(v, 3) for v in kinks_v(Load(draw_a=0.5, sag_v=4.6, min_v=4.1), 0.2)]
    [4.1, 4.7]
    """
    if load.kind in ("none", "resistor"):
        return ()
    return load.min_v, load.min_v + max(load.sag_v - load.min_v, 0.0) + load.draw_a * path


def volts_for(load: Load, path: float, out_a: float) -> float:
    """Converter output [V] at which the load takes out_a [A] (below its full draw).

    >>> round(volts_for(Load(draw_a=0.5, sag_v=4.6, min_v=4.1), 0.0, 0.25), 3)
    4.35
    """
    if load.kind == "resistor":
        return out_a * ((load.resistance_ohm or 1e9) + path)
    span = max(load.sag_v - load.min_v, 0.0) + load.draw_a * path
    return load.min_v + out_a / load.draw_a * span


def stored_share_per_j(load: Load) -> float | None:
    """Share of the battery that one joule at the socket fills [1/J]; None without a capacity.

    >>> phone = Load(capacity_j=15 * 3600, charge_efficiency=0.85)
    >>> round(15 * 3600 * stored_share_per_j(phone), 3)
    0.85
    """
    if not load.capacity_j:
        return None
    return load.charge_efficiency / load.capacity_j
