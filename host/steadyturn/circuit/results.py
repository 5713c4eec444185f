"""What a simulated mishap did to the phone and to each part, against what they bear.

Reads vectors of the netlist; runs nothing itself. tests/host/circuit/power_bench.py has ngspice
make them and keeps the figures in protection.json.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from steadyturn.circuit import clamp as clamps
from steadyturn.circuit.netlist import T0_S
from steadyturn.circuit.surroundings import UNTIL_LET_GO_S
from steadyturn.circuit.table import Part
from steadyturn.circuit.values import Design
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]
STORED = Path(__file__).with_name("protection.json")

LOOKED_AT_S = T0_S - 0.005  # before that the circuit finds its state
STEADY_S = 0.1  # the last part of a run, taken as what goes on
CUT_S, CLAMP_S = 1e-3, 100e-6  # the cut, the clamp have acted by then: the limits
OFF_A = 0.02
# a Schottky on short leads, by its ampere; larger ones are screwed to metal: from memory
DIODE_K_W, DIODE_MAX_C = {1.0: 60.0, 3.0: 40.0, 5.0: 25.0}, 125.0
LARGE_DIODE_K_W = 12.0
# half of the 100 mA that a 431 bears; a small PNP in TO-92; a TO-252 on 5 cm2 of copper, 45 K/W,
# 150 degC: from memory. Q7, a TO-220: 2 K/W, its sink 15, for as long as one likes
REFERENCE_MA, SMALL_W, SWITCH_W = 50.0, 0.3, 2.5
CUT_K_W, SILICON_MAX_C = 2.0 + 15.0, 150.0
# what an electrolytic capacitor bears the wrong way round: data sheets, from memory
BELOW_GROUND_V = 1.0
PLAIN_W = 0.25  # a resistor whose watts the table does not name
HELD_MS = 150.0  # pulses stop: the load is released by then
RESERVOIR_MAX_V, BACKFEED_MA = 5.5, 1.0  # VSYS of a Pico: data sheet; leakage
ADC_MAX_MA = 1.0  # into a pin's protection: common practice, no source
ADC_MAX_V = 3.6  # RP2040, RP2350, ESP32: 3.3 V and 0.3 V more: data sheets


def vectors(parts: Sequence[Part]) -> list[str]:
    """What has to be written down of a run."""
    refs = {part.ref: part for part in parts}
    nets = {"bus", "out", "vbus", "phone", "hold", "cut_gate", "safe", "clamp_load", "raw",
            _cut_in(refs), refs["Q5"].pin("source"), refs["Q5"].pin("drain"),
            refs["U5"].pin("input")}
    if "R7" in refs:
        nets.add("divided")
    if "C12" in refs:
        nets.add("reservoir")
    for part in parts:
        if part.kind == "resistor" or part.ref in ("Q3", "Q6"):
            nets |= set(part.nets)
    nets.discard("gnd")
    meters = [f"i(v{part.ref.lower()})" for part in parts
              if part.kind in ("reference", "pnp")]
    amps = [*meters, "i(vq1)", "i(vq5)", "i(vq7)", "i(vadc)"]
    if "D11" in refs:
        amps += ["i(vhost)", "i(vd9)"]
    first = "string0" if any(p.ref == "D1" and p.count > 1 for p in parts) else "motor"
    return [*(f"v({net})" for net in sorted(nets)), f"v({first})", "i(vstring0)", *amps]


def _cut_in(refs: Mapping[str, Part]) -> str:
    return refs["Q7"].pin("source")


def limits(rig: Rig, parts: Sequence[Part], made: Design) -> dict[str, float]:
    """What each figure may be; without an entry it is only told."""
    refs = {part.ref: part for part in parts}
    found = {
        "phone_v": rig.load.max_v, "released_ms": HELD_MS, "cut_us": 1e6 * CUT_S,
        "clamp_us": 1e6 * CLAMP_S,
        "bus_v": min(rig.bus.capacitor_max_v, clamps.lowest_rating_v(rig)),
        "diode_v": _volts(refs["D1"]), "converter_v": rig.converter.max_in_v,
        "switch_v": _volts(refs["Q5"]), "cut_v": _volts(refs["Q7"]),
        "transistor_c": clamps.TRANSISTOR_MAX_C,
        "resistor_c": rig.air.hot_c + clamps.RESISTOR_RISE_K, "diode_c": DIODE_MAX_C,
    }
    found |= {"resistor_share": 1.0, "reference_ma": REFERENCE_MA, "small_w": SMALL_W,
              "q5_w": SWITCH_W, "q7_c": SILICON_MAX_C, "below_v": BELOW_GROUND_V}
    if "R7" in refs:
        found["adc_v"], found["adc_ma"] = ADC_MAX_V, ADC_MAX_MA
    if "C12" in refs:
        found["reservoir_v"], found["backfeed_ma"] = RESERVOIR_MAX_V, BACKFEED_MA
    return {name: round(value, 3) for name, value in found.items()}


def _volts(part: Part) -> float:
    return float(part.rating.split(" V")[0])


def figures(rig: Rig, parts: Sequence[Part], made: Design,
            run: Mapping[str, Floats]) -> dict[str, float | None]:
    """phone_v: the most at the socket; cut_us: from the cut's volts until it has parted, None
    where it did not need to; clamp_us alike; bus_v, converter_v, adc_v, the most; diode_v,
    switch_v, cut_v: the most across D1 backwards, Q5, Q7; *_c: hottest when what the run ends
    with goes on until the hand lets go; released_ms: from the mishap until the switch has
    parted; below_v: of the bus below ground; clamp_w, backfeed_ma, reservoir_v."""
    refs = {part.ref: part for part in parts}
    kept = run["at"] >= LOOKED_AT_S
    at, v = run["at"][kept], {name: values[kept] for name, values in run.items()}
    late = at >= at[-1] - STEADY_S
    cut_in, switch = f"v({_cut_in(refs)})", refs["Q5"]
    across = v[f"v({switch.pin('source')})"] - v[f"v({switch.pin('drain')})"]
    found: dict[str, float | None] = {
        "phone_v": float(max(v["v(vbus)"].max(), v["v(phone)"].max())),
        "cut_us": _acted_us(at, v[cut_in] > made.cut.high_v + 0.002, v["i(vq7)"] < OFF_A),
        "clamp_us": _acted_us(at, v["v(bus)"] > made.clamp.trip.high_v + 0.05,
                              v["i(vq1)"] > OFF_A),
        "bus_v": float(v["v(bus)"].max()), "low_v": float(v["v(bus)"].min()),
        "below_v": max(0.0, -float(v["v(bus)"].min())),
        "converter_v": float(v[f"v({refs['U5'].pin('input')})"].max()),
        "diode_v": _diode_v(rig, v), "switch_v": float(np.abs(across).max()),
        "cut_v": float((v[cut_in] - v["v(safe)"]).max()),
        "released_ms": _released_ms(at, v, rig),
    }
    found |= _heat(rig, made, refs, at, v, late)
    found |= _stress(parts, at, v, late)
    found["q7_c"] = rig.air.hot_c + (found["q7_w"] or 0.0) * CUT_K_W
    if "v(divided)" in v:
        found["adc_v"] = float(v["v(divided)"].max())
        found["adc_ma"] = 1e3 * float(v["i(vadc)"].max())
    if "v(reservoir)" in v:
        found["reservoir_v"] = float(v["v(reservoir)"].max())
        found["backfeed_ma"] = 1e3 * float(max(-v["i(vhost)"].min(), -v["i(vd9)"].min(), 0.0))
    return {name: None if value is None else float(f"{value:.4g}")
            for name, value in found.items()}


def _acted_us(at: Floats, wanted: NDArray[np.bool_], acted: NDArray[np.bool_]) -> float | None:
    """The longest for which it was wanted and had not acted."""
    waiting = wanted & ~acted
    if not wanted.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate(([0], waiting.astype(int), [0]))))
    spans = [at[min(end, len(at) - 1)] - at[begin]
             for begin, end in zip(edges[::2], edges[1::2], strict=True)]
    return 1e6 * float(max(spans, default=0.0))


def _diode_v(rig: Rig, v: Mapping[str, Floats]) -> float:
    if rig.rectifier.kind == "bridge":
        return float(v["v(raw)"].max()) + rig.rectifier.drop_v
    start = v["v(string0)"] if "v(string0)" in v else v["v(motor)"]
    return float((v["v(raw)"] - start).max())


def _released_ms(at: Floats, v: Mapping[str, Floats], rig: Rig) -> float | None:
    """When the switch last stopped carrying, after the mishap; None where it still does or
    never did. At `enable` it is the pin that falls."""
    on = v["v(enable_up)"] > 1.0 if rig.switch.place == "enable" else v["i(vq5)"] > OFF_A
    before, after = on & (at < T0_S), on & (at >= T0_S)
    if not before.any() or on[-1]:
        return None
    return 1e3 * float(at[np.flatnonzero(after)[-1]] - T0_S) if after.any() else 0.0


def _heat(rig: Rig, made: Design, refs: Mapping[str, Part], at: Floats,
          v: Mapping[str, Floats], late: NDArray[np.bool_]) -> dict[str, float | None]:
    amps, resistor_v = v["i(vq1)"], v["v(clamp_load)"]
    transistor_w = _mean(at, amps * (v["v(bus)"] - resistor_v), late)
    resistor_w = _mean(at, resistor_v**2 / made.clamp.load_ohm, late)
    current = np.abs(v["i(vstring0)"])
    diode_w = _mean(at, current * (0.3 + 0.05 * current), late)
    amps_of = float(refs["D1"].rating.split(", ")[1].split(" A")[0])
    seconds, hot = UNTIL_LET_GO_S, rig.air.hot_c
    return {
        "clamp_w": transistor_w + resistor_w,
        "transistor_c": hot + transistor_w * (clamps.JUNCTION_K_W + seconds / clamps.SINK_J_K),
        "resistor_c": hot + resistor_w * seconds / (clamps.RESISTOR_J_K_W * made.clamp.load_w),
        "diode_c": hot + diode_w * DIODE_K_W.get(amps_of, LARGE_DIODE_K_W),
    }


def _stress(parts: Sequence[Part], at: Floats, v: Mapping[str, Floats],
            late: NDArray[np.bool_]) -> dict[str, float | None]:
    """What goes on at the end of the run: the resistor nearest to its watts (R5 is in _heat),
    a reference's cathode, a small PNP, the two switches."""

    def net(name: str) -> Floats:
        return np.zeros_like(at) if name == "gnd" else v[f"v({name})"]

    found: dict[str, float] = {"resistor_share": 0.0, "reference_ma": 0.0, "small_w": 0.0}
    for part in parts:
        meter = v.get(f"i(v{part.ref.lower()})")
        if part.kind == "resistor" and part.ref != "R5":
            assert part.amount is not None
            heat = _mean(at, (net(part.nets[0]) - net(part.nets[1])) ** 2 / part.amount, late)
            named = re.search(r"([\d.]+) W", part.rating)
            share = heat / (float(named[1]) if named else PLAIN_W)
            found["resistor_share"] = max(found["resistor_share"], share)
        elif part.kind == "reference" and meter is not None:
            found["reference_ma"] = max(found["reference_ma"], 1e3 * _mean(at, meter, late))
        elif part.ref in ("Q3", "Q6") and meter is not None:
            over = net(part.pin("emitter")) - net(part.pin("collector"))
            found["small_w"] = max(found["small_w"], _mean(at, meter * over, late))
        elif part.ref in ("Q5", "Q7") and meter is not None:
            over = net(part.pin("source")) - net(part.pin("drain"))
            found[f"{part.ref.lower()}_w"] = _mean(at, meter * over, late)
    return dict(found)


def _mean(at: Floats, values: Floats, late: NDArray[np.bool_]) -> float:
    t, y = at[late], values[late]
    return float(np.sum(0.5 * (y[1:] + y[:-1]) * np.diff(t)) / np.ptp(t))


def trace(run: Mapping[str, Floats]) -> dict[str, list[int]]:
    """Bus, converter's output, socket [10 mV] over time from the mishap on [0.1 ms], thinned."""
    at = run["at"]
    grid = T0_S + np.concatenate([np.linspace(-0.01, 0.06, 43),
                                  np.linspace(0.07, at[-1] - T0_S, 24)])
    made = {"at": np.round((grid - T0_S) * 1e4)}
    for name, net in (("bus", "bus"), ("out", "out"), ("socket", "vbus")):
        made[name] = np.round(1e2 * np.interp(grid, at, run[f"v({net})"]))
    return {name: [int(value) for value in values] for name, values in made.items()}
