"""What a meter should show at each step of bringing up a rig, with its range.

The values are the model's. Their ranges are the root of the squares of what each value of the
rig, the windings' warmth, the counting of turns and the meter can do; low and high sides apart.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import hypot, isfinite

import numpy as np

from steadyturn.model import bank, motor
from steadyturn.model.change import field_of, with_value
from steadyturn.model.guesses import ONLY_LIMITS, STEADY_STATE_IGNORES
from steadyturn.model.motor import PEAK_OVER_MEAN
from steadyturn.model.point import operate
from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Rig

TURNS_SHARE = 0.03  # somebody counts turns by a watch for half a minute: common practice
METER_SHARE, METER_V = 0.01, 0.02  # a cheap multimeter, of volts: 0.5-1 % and two digits, memory
METER_OHM = 0.2  # of a few ohms: leads and contacts, after they were subtracted; memory
WINDING_C = (10.0, 45.0)  # a cool room; a motor that was turned for some minutes

Values = dict[str, float]


@dataclass(frozen=True)
class Reading:
    """value, in unit, between low and high where all is well. pace_tpm: of the handle, None:
    at rest or by another source. bound: "range", or "at_most" where only high counts."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    pace_tpm: float | None = None
    bound: str = "range"


@dataclass(frozen=True)
class Asked:
    """What is to be read: paces [turns/min] for the open circuit, for the loaded one, of the
    winding's trial with its resistor, and the resistor at the socket."""

    open_tpm: tuple[float, ...]
    loaded_tpm: tuple[float, ...]
    trial_tpm: float
    trial_ohm: float
    dummy_ohm: float
    device_tpm: float | None


def values(rig: Rig, asked: Asked, winding_c: float = 20.0, haste: float = 1.0) -> Values:
    """Name -> reading [V, A, ohm], the windings at winding_c [degC], every pace times haste."""
    return {**_open(rig, asked, winding_c, haste), **_loaded(rig, asked, winding_c, haste),
            **_device(rig, asked, winding_c, haste)}


def _open(rig: Rig, asked: Asked, winding_c: float = 20.0, haste: float = 1.0) -> Values:
    """Motors and bus without the converter."""
    found: Values = {}
    per_tpm = bank.emf_v_per_tpm(rig, winding_c) * haste
    row_ohm = rig.bank.series * float(motor.ohm_at(rig.motor, winding_c))
    found["row_ohm"] = row_ohm
    paces = np.array(asked.open_tpm)
    at = operate(rig, paces * haste, winding_c=winding_c, connected=False)
    for pace, bus_v in zip(asked.open_tpm, at.idle_v.tolist(), strict=True):
        found[f"row_v@{pace:g}"] = per_tpm * pace
        found[f"motor_v@{pace:g}"] = per_tpm * pace / rig.bank.series
        found[f"bus_v@{pace:g}"] = bus_v
    emf_v = per_tpm * asked.trial_tpm
    loaded_v = row_loaded_v(rig, emf_v, row_ohm, asked.trial_ohm)
    found["trial_open_v"], found["trial_loaded_v"] = emf_v, loaded_v
    found["trial_found_ohm"] = asked.trial_ohm * (emf_v / loaded_v - 1) if loaded_v else np.nan
    return found


def _loaded(rig: Rig, asked: Asked, winding_c: float = 20.0, haste: float = 1.0) -> Values:
    """With the resistor at the socket."""
    found: Values = {}
    at = operate(with_resistor(rig, asked.dummy_ohm), np.array(asked.loaded_tpm) * haste,
                 winding_c=winding_c)
    for n, pace in enumerate(asked.loaded_tpm):
        found[f"load_bus_v@{pace:g}"] = float(at.bus_v[n])
        found[f"load_bus_a@{pace:g}"] = float(at.bus_a[n])
        found[f"load_out_v@{pace:g}"] = float(at.out_v[n])
    return found


def _device(rig: Rig, asked: Asked, winding_c: float = 20.0, haste: float = 1.0) -> Values:
    """With the rig's own load at its target."""
    if asked.device_tpm is None:
        return {}
    at = operate(rig, asked.device_tpm * haste, winding_c=winding_c)
    return {"device_v": float(at.out_v), "device_a": float(at.out_a),
            "device_bus_v": float(at.bus_v), "device_bus_a": float(at.bus_a)}


def with_resistor(rig: Rig, ohm: float) -> Rig:
    """The rig with a resistor straight at its socket in place of the device and its cable."""
    return replace(rig, load=replace(rig.load, kind="resistor", resistance_ohm=ohm, cable_m=0.0))


def row_loaded_v(rig: Rig, emf_v: float, row_ohm: float, load_ohm: float) -> float:
    """Volts of one row of motors on a resistor [V]: what stays of the EMF after its winding and
    brushes.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(row_loaded_v(hut, 9.0, 2.68, 10.0), 3)  # (9.0 V - 2 x 0.18 V) x 10 / 12.68
    6.814
    """
    low, high = 0.0, emf_v / (row_ohm + load_ohm)
    for _ in range(60):  # what the brushes lose grows with the current: one crossing
        amps = (low + high) / 2
        lost = rig.bank.series * float(motor.brush_v(rig.motor, amps))
        if emf_v - lost - amps * (row_ohm + load_ohm) > 0:
            low = amps
        else:
            high = amps
    return low * load_ohm


# part of the rig -> the readings that it has a part in
CHANGES: dict[str, tuple[Callable[[Rig, Asked], Values], ...]] = {
    **dict.fromkeys(("motor", "rectifier", "bus", "supply"), (_open, _loaded, _device)),
    **dict.fromkeys(("converter", "switch", "sensor"), (_loaded, _device)),
    "load": (_device,),
}


def readings(rig: Rig, asked: Asked) -> dict[str, Reading]:
    """Every value with its range."""
    base = values(rig, asked)
    shifts: dict[str, list[tuple[float, float]]] = {name: [] for name in base}
    for low, high in _moved(rig, asked):
        for name in low:
            shifts[name].append((low[name] - base[name], high[name] - base[name]))
    return {name: _ranged(name, value, shifts[name]) for name, value in base.items()}


def _moved(rig: Rig, asked: Asked) -> Iterator[tuple[Values, Values]]:
    """The readings, where they may change, with each value at both ends of its range."""
    yield values(rig, asked, haste=1 - TURNS_SHARE), values(rig, asked, haste=1 + TURNS_SHARE)
    cool, warm = WINDING_C
    yield values(rig, asked, cool), values(rig, asked, warm)
    for key, origin in rig.origins.items():
        part = key.partition(".")[0]
        idle = key in ONLY_LIMITS or key in STEADY_STATE_IGNORES
        if part not in CHANGES or idle or field_of(key) is None:
            continue
        ends = (origin.low, origin.high)
        if origin.kind == "given":
            share = tolerance_of(key).share
            ends = (origin.value * (1 - share), origin.value * (1 + share))
        if ends[0] == ends[1]:
            continue
        low, high = ({name: value for read in CHANGES[part]
                      for name, value in read(with_value(rig, key, end), asked).items()}
                     for end in ends)
        yield low, high


def _ranged(name: str, value: float, shifts: list[tuple[float, float]]) -> Reading:
    what, _, pace = name.partition("@")
    unit = "ohm" if what.endswith("_ohm") else "A" if what.endswith("_a") else "V"
    floor = METER_OHM if unit == "ohm" else METER_V if unit == "V" else 0.01
    own = METER_SHARE * abs(value) + floor
    known = [tuple(s for s in pair if isfinite(s)) for pair in shifts]
    down = hypot(own, *(max(0.0, *(-s for s in pair)) for pair in known if pair))
    up = hypot(own, *(max(0.0, *pair) for pair in known if pair))
    if what == "bus_v":  # the capacitor holds the peaks of the EMF
        up = hypot(up, (PEAK_OVER_MEAN - 1) * value)
    return Reading(name, value, max(value - down, 0.0), value + up, unit,
                   float(pace) if pace else None)
