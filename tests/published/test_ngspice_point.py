"""Operating points against ngspice, on netlists written from the rig (spice.py)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import spice
from bare_rig import thevenin
from random_rigs import random_rig
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Bank, Load, Rectifier, Rig

pytestmark = pytest.mark.ngspice

SAME = 1e-3  # of the value
HAIR = 2e-5  # V, A: the tiny capacitor's share, where volts or ampere are next to nothing
CLEAR = 0.01  # of the pace: distance from a change of regime, where the lag of the sweep shows
QUANTITIES = ("motor_a", "node_v", "bus_v", "bus_a", "in_v", "out_v", "out_a")


def live(rig: Rig, pace: np.ndarray, winding_c: float) -> np.ndarray:
    """The regime where it runs, "" elsewhere."""
    regime = operate(rig, pace, winding_c=winding_c).regime
    return np.where(np.isin(regime, ("idle", "collapse")), "", regime)


def compare(rig: Rig, winding_c: float = 20.0) -> tuple[int, list[str]]:
    """Number of paces judged, and what differs."""
    found = spice.sweep(rig, 150.0, 20.0, winding_c)
    pace = found["pace_tpm"]
    if not pace.size:
        return 0, []
    rows = np.unique(np.searchsorted(-pace, -np.linspace(149.9, 20.1, 60)).clip(0, pace.size - 1))
    pace = pace[rows]
    found = {name: values[rows] for name, values in found.items()}
    regime = live(rig, pace, winding_c)
    near = [live(rig, pace * share, winding_c) == regime for share in (1 - CLEAR, 1 + CLEAR)]
    judged = near[0] & near[1]
    runs = (found["in_v"] >= rig.converter.stop_v) & np.isfinite(found["in_v"])
    # above the last pace that it runs at, ngspice has followed one branch throughout
    wrong = [f"{p:.2f} turns/min: {r or 'nothing runs'}, ngspice {v:.3f} V at the converter"
             for p, r, v in zip(pace[judged & (runs != (regime != ""))],
                                regime[judged & (runs != (regime != ""))],
                                found["in_v"][judged & (runs != (regime != ""))], strict=True)]
    both = judged & runs & (regime != "")
    at = operate(rig, pace[both], winding_c=winding_c)
    for name in QUANTITIES:
        ours, theirs = getattr(at, name), found[name][both]
        far = np.abs(ours - theirs) > SAME * np.abs(theirs) + HAIR
        wrong += [f"{p:.2f} turns/min, {r}: {name} {a:.6g}, ngspice {b:.6g}" for p, r, a, b in zip(
            pace[both][far], at.regime[far], ours[far], theirs[far], strict=True)]
    return int(both.sum()), wrong


def check(seeds: range, winding_c: float = 20.0) -> set[str]:
    """Kinds of converter that were compared at ten paces or more."""
    kinds, wrong = [], []
    for seed in seeds:
        rig = random_rig(seed)
        judged, differs = compare(rig, winding_c)
        if judged >= 10:
            kinds.append(rig.converter.kind)
        if differs:
            wrong.append(f"seed {seed}: " + "; ".join(differs[:3]) + f"\n{rig}")
    assert not wrong, "\n".join(wrong)
    assert len(kinds) > 0.45 * len(seeds)  # the others run nowhere near these paces
    return set(kinds)


def test_random_rigs() -> None:
    """Winding, brushes, diodes, board, bleed, clamp, shunt, switch, cable, device and each
    converter's losses and limits, every motor in the netlist by itself."""
    assert check(range(24)) == {"boost", "buck", "buck_boost", "linear"}


def test_hot_windings() -> None:
    check(range(105, 111), winding_c=95.0)


@pytest.mark.soak
def test_many_random_rigs() -> None:
    check(range(200, 500))


@pytest.mark.parametrize("name", ["lakeside-hut", "radio-tent", "night-ferry", "dangerous-barn"])
def test_example_rigs(name) -> None:
    path = example_path(name)
    assert path is not None
    judged, wrong = compare(read_rig(path))
    assert judged > 10
    assert not wrong, wrong[:3]


def last_pace(rig: Rig) -> float:
    """The lowest pace [turns/min] that the model runs at, on the branch from above."""
    low, high = 5.0, 150.0
    while high - low > 1e-4:
        pace = np.linspace(low, high, 200)
        runs = live(rig, pace, 20.0) != ""
        first = int(np.nonzero(~runs)[0].max(initial=-1)) + 1
        low, high = pace[max(first - 1, 0)], pace[first]
    return high


def test_the_volts_collapse_where_ngspice_loses_them() -> None:
    """The fold of a constant power behind windings, brushes and diodes: within 0.1 % of the
    pace. The source line's tangent there is vertical, so that it is sharp."""
    seen = 0
    for seed in range(40):
        rig = random_rig(seed)
        if rig.converter.kind not in ("boost", "buck_boost") or rig.load.kind == "none":
            continue
        rig = replace(rig, converter=replace(rig.converter, in_limit_a=50.0, out_limit_a=50.0))
        if live(rig, np.array([149.0]), 20.0)[0] not in ("regulating", "pass_through"):
            continue
        ends = last_pace(rig)
        if float(operate(rig, ends).in_v) < 1.02 * rig.converter.stop_v or ends < 25:
            continue  # it lets go at its threshold, before it collapses
        found = spice.sweep(rig, 150.0, 20.0)
        there = found["in_v"] >= 0.98 * float(operate(rig, ends).in_v)
        assert found["pace_tpm"][there].min() == pytest.approx(ends, rel=1e-3), rig
        seen += 1
    assert seen >= 5


def test_constant_power_on_a_thevenin_source() -> None:
    """10 V behind 2 ohm, 10 W: 7.236 V, and nothing beyond 12.5 W (check of the set-up: the
    same as in test_motor_examples.py, now by ngspice alone)."""
    rig = thevenin(10, 2, 10)
    found = spice.sweep(rig, 61.0, 40.0)
    at_60 = np.interp(-60.0, -found["pace_tpm"], found["in_v"])
    assert at_60 == pytest.approx(7.236, rel=1e-4)
    ends = 60.0 * np.sqrt(10 / 12.5)  # E**2 / (4 R) = 10 W
    there = found["in_v"] > 4.0
    assert found["pace_tpm"][there].min() == pytest.approx(ends, rel=1e-3)


# A Schottky diode of the 1 A class; constants as in the common model of a 1N5819, from memory
SCHOTTKY = ".model real D(Is=31.7u Rs=0.051 N=1.373)"
DIODE_V = 0.09  # V a diode, from 10 mA to 1 A


@pytest.mark.parametrize(("kind", "count"), [("schottky", 1), ("bridge", 2)])
def test_tanh_against_a_real_diode(kind, count) -> None:
    """How far the model's drop (0.35 V, at full height from some tens of mA) is off the
    exponential of a real diode. rectifier.md says: some tens of millivolts."""
    path = example_path("lakeside-hut")
    assert path is not None
    rig = replace(read_rig(path), rectifier=Rectifier(kind=kind, drop_v=0.35))
    off = []
    for draw_a in (0.1, 0.3, 0.6):
        some = replace(rig, load=Load(draw_a=draw_a, cable_m=0))
        found = spice.sweep(some, 120.0, 60.0, diode_model=SCHOTTKY)
        at = operate(some, found["pace_tpm"])
        assert (at.regime == "regulating").all()
        assert ((at.motor_a > 0.01) & (at.motor_a < 1)).all()
        off.append(np.abs(at.node_v - found["node_v"]).max())
        assert np.allclose(at.out_v, found["out_v"], rtol=1e-4)
    assert max(off) < count * DIODE_V
    assert max(off) > 0.01  # it is a different law indeed


def test_motors_in_the_netlist_are_the_bank() -> None:
    """2s3p, a diode for each string: what every motor carries, one by one."""
    rig = replace(thevenin(10, 2, 10), bank=Bank(series=2, parallel=3, diode_each=True),
                  rectifier=Rectifier(kind="schottky", drop_v=0.35, knee_a=0.02))
    found = spice.sweep(rig, 61.0, 40.0)
    at = operate(rig, found["pace_tpm"])
    assert np.allclose(at.motor_a, found["motor_a"], rtol=1e-4)
    assert np.allclose(3 * at.motor_a, found["bus_a"], rtol=1e-4)
