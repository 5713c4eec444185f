"""The power path's calculations, against textbook figures and by other ways."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from steadyturn.circuit import checks, references, standard
from steadyturn.circuit import hold as holds
from steadyturn.circuit.clamp import clamp
from steadyturn.circuit.source import FLASH_W, reservoir, source
from steadyturn.circuit.surroundings import reach
from steadyturn.circuit.values import design
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

HUT, TENT, FERRY = (read_rig(FOLDER / f"{name}.toml")
                    for name in ("lakeside-hut", "radio-tent", "night-ferry"))


def test_hold_up_of_a_capacitor() -> None:
    """C = 2 P t / (V1^2 - V2^2): 400 to 300 V, 200 W, 20 ms: 114 uF
    (vbatpower.com/formulas/holdup-time)."""
    rig = replace(HUT, supply=replace(HUT.supply, power_w=200.0 - FLASH_W, fade_v=400.0,
                                      forbid_v=390.0, off_v=300.0, reservoir_f=114.3e-6))
    assert reservoir(rig).fade_s == pytest.approx(0.020, rel=2e-3)
    # 5 W, 0.5 s, 9 to 6 V: 111 mF (computed: the same formula)
    rig = replace(rig, supply=replace(rig.supply, power_w=5.0 - FLASH_W, fade_v=9.0, off_v=6.0,
                                      reservoir_f=0.1111))
    assert reservoir(rig).fade_s == pytest.approx(0.5, rel=1e-3)


def test_a_431_with_equal_arms_gives_twice_its_reference() -> None:
    """V = Vref (1 + R1/R2) + Iref R1: 4.99 V and 4 mV at 2 kohm (data sheet of the 431)."""
    made = references.trip(2000.0, 2000.0, 0.005, 0.001)
    assert made.nominal_v == pytest.approx(4.994)
    assert made.low_v < made.nominal_v < made.high_v
    assert made.high_v / made.low_v < 1.025


@pytest.mark.parametrize("most_v", [4.0, 5.45, 9.0, 14.0, 28.0, 34.0])
def test_a_divider_never_acts_above_what_was_asked(most_v) -> None:
    made = references.below(most_v, 0.005, 0.001, about_ohm=2300)
    assert 0.985 * most_v < made.high_v <= most_v
    # every corner by chance: none outside
    r = np.random.default_rng(5)
    for _ in range(500):
        vref = references.REF_V * (1 + r.uniform(-0.008, 0.008))
        upper, lower = (ohm * (1 + r.uniform(-0.002, 0.002))
                        for ohm in (made.upper_ohm, made.lower_ohm))
        volts = vref * (1 + upper / lower) + r.uniform(0, 4e-6) * upper
        assert made.low_v <= volts <= made.high_v


def stepped(ohm: float, hold_f: float, coupling_f: float, diode_v: float) -> tuple[float, float]:
    """Peak and least of C7 in the steady run of pulses, in small steps."""
    dt, h, q, peak = 8e-6, 0.0, 0.0, 0.0
    for edge in range(8):
        high = edge % 2 == 0
        top = 0.0
        for _ in range(int(holds.EDGE_S / dt)):
            pin_ohm = holds.SERIES_OHM + holds.PIN_OHM
            # what the node before D3 would be without it
            free = ((3.3 if high else 0.0) - q / coupling_f) * holds.EMPTY_OHM / (
                pin_ohm + holds.EMPTY_OHM)
            if free > h + diode_v:
                node = h + diode_v
            else:
                node = max(free, -diode_v)
            i = ((3.3 if high else 0.0) - q / coupling_f - node) / pin_ohm
            into = max(i - node / holds.EMPTY_OHM, 0.0) if free > h + diode_v else 0.0
            q += i * dt
            h += (into - h / ohm) / hold_f * dt
            top = max(top, h)
        if high:
            peak = top
        least = h
    return peak, least


@pytest.mark.parametrize(("hold_f", "coupling_f", "diode_v"), [
    (1e-6, 5e-6, 0.13), (1.05e-6, 3.5e-6, 0.2), (0.95e-6, 6.5e-6, 0.07)])
def test_the_pump_in_small_steps(hold_f, coupling_f, diode_v) -> None:
    """The closed form against the same circuit stepped through twelve edges."""
    _, full, low = holds.pulse(70e3, hold_f, coupling_f, diode_v)
    peak, least = stepped(70e3, hold_f, coupling_f, diode_v)
    assert full == pytest.approx(peak, rel=5e-3)
    assert low == pytest.approx(least, rel=1e-2)
    assert low == pytest.approx(full * exp(-0.039 / (70e3 * hold_f)), rel=1e-2)


@pytest.mark.parametrize("hold_s", [0.118, 0.12, 0.122])
def test_the_hold_time_with_every_tolerance(hold_s) -> None:
    made = holds.hold(replace(HUT, switch=replace(HUT.switch, hold_s=hold_s)))
    assert 0.098 < made.shortest_s < made.nominal_s < made.longest_s < 0.152
    plain = made.part_ohm / 2 * holds.HOLD_F * log(made.full_v / made.threshold_v)
    assert made.nominal_s + holds.EDGE_S / 2 == pytest.approx(plain, rel=0.04)


def test_another_hold_time_is_told_when_it_is_no_good() -> None:
    for hold_s, name in ((0.06, "hold_shortest"), (0.3, "hold_longest")):
        rig = replace(HUT, switch=replace(HUT.switch, hold_s=hold_s))
        bad = [one.name for one in checks.findings(rig, design(rig, 50.0, 90.0)) if not one.ok]
        assert name in bad


def test_clamp_heat_by_hand() -> None:
    far = reach(FERRY, 51.0, 90.0)
    made = clamp(FERRY, far)
    amps = (far.beyond_v - made.trip.low_v) / far.source_ohm
    assert made.amps == pytest.approx(amps)
    assert made.cranked_j == pytest.approx(10 * made.trip.low_v * amps)
    assert made.load_ohm in {10.0 * step for step in standard.E6}
    # all currents up to that: none heats the transistor more
    heats = [i * (made.trip.low_v - i * made.load_ohm) for i in np.linspace(0, amps, 500)]
    assert made.transistor_w == pytest.approx(max(heats), rel=1e-3)
    assert made.trip.low_v - made.amps * made.load_ohm > 1.9  # it still holds there


def test_a_clamp_that_the_rig_names_is_built() -> None:
    rig = replace(HUT, protection=replace(HUT.protection, bus_clamp_v=15.0, bus_clamp_w=100.0))
    made = clamp(rig, reach(rig, 50.0, 90.0))
    assert 14.7 < made.trip.high_v <= 15.0
    bad = [one.name for one in checks.findings(rig, design(rig, 50.0, 90.0)) if not one.ok]
    assert "clamp_steady" in bad  # the fastest hand drives it for good


def test_backwards_a_single_diode_sees_twice_a_bridge_once() -> None:
    far = reach(HUT, 50.0, 90.0)
    assert source(HUT, far, 30.0).diode_v == pytest.approx(2 * far.open_v)
    far = reach(FERRY, 51.0, 90.0)
    assert source(FERRY, far, 40.0).diode_v == pytest.approx(far.open_v + 0.35)


def test_what_the_examples_do_not_meet() -> None:
    def bad(rig: Rig) -> set[str]:
        return {one.name for one in checks.findings(rig, design(rig, 50.0, 90.0)) if not one.ok}

    assert bad(HUT) == bad(TENT) == bad(FERRY) == set()
    barred = replace(TENT, switch=replace(TENT.switch, place="enable"))
    assert bad(barred) == {"bus_cut"}
    weak = replace(HUT, supply=replace(HUT.supply, reservoir_f=4.7e-3))
    assert "write_at_fade" in bad(weak)
    late = replace(HUT, supply=replace(HUT.supply, forbid_v=HUT.supply.off_v + 0.2))
    assert "write_at_forbid" in bad(late)
    # the advice is what it takes
    for one, name in ((weak, "write_at_fade"), (late, "write_at_forbid")):
        enough = design(one, 50.0, 90.0).reservoir.needed_f
        for share, is_bad in ((0.99, True), (1.01, False)):
            rig = replace(one, supply=replace(one.supply, reservoir_f=share * enough))
            assert (name in bad(rig)) == is_bad
    small = replace(HUT, rectifier=replace(HUT.rectifier, max_v=40.0))
    assert "diode" in bad(small)
    high = replace(HUT, converter=replace(HUT.converter, out_v=5.3))
    assert "cut_earliest" in bad(high)
