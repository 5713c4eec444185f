"""Loads and strength: each figure against its definition written out again."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin, tan

import numpy as np
import pytest
from gear_tasks import task
from hypothesis import given, settings
from hypothesis import strategies as st
from steadyturn.gears import lewis, strength
from steadyturn.gears.crank import arm_half_mm, hexagon_mm
from steadyturn.gears.loads import BLOCKED_N, loads_of, short_circuit
from steadyturn.gears.materials import heat_share, materials
from steadyturn.gears.outline import half_tooth
from steadyturn.gears.pairs import NoPair, pair
from steadyturn.gears.teeth import Gear, base_half_angle, pressure_at
from steadyturn.gears.trains import of_teeth
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM


def hut():
    return read_rig(example_path("lakeside-hut"))


def test_a_short_circuit_by_hand() -> None:
    """Two motors of 3.06 V per 1000 rpm and 1.34 ohm, 25 times the handle's 90 turns/min."""
    rig = hut()
    speed = 90 * 25 * RPM
    k = 3.06 / (1000 * RPM)
    amps = (k * speed - 0.18) / 1.34
    torque = 2 * (k * amps + k * 0.062) * 25 / 0.88**2 + 0.06
    assert short_circuit(rig, 90.0, 20.0) == pytest.approx((amps, torque), rel=1e-6)


def test_the_larger_overload_counts() -> None:
    rig = hut()
    band = find_band(rig, deep=False)
    usual = loads_of(rig, band)
    assert usual.overload == "blocked"
    assert usual.overload_nm == BLOCKED_N * rig.crank.radius_m
    assert usual.short_nm > 3 * usual.running_nm  # a short brakes several times harder
    many = replace(rig, motor=replace(rig.motor, terminal_ohm=0.3))
    strong = loads_of(many, replace(band))
    assert strong.overload == "short"
    assert strong.overload_nm == strong.short_nm > usual.overload_nm


def test_without_a_band_the_arm_is_the_load() -> None:
    rig = read_rig(example_path("toy-motor"))
    found = loads_of(rig, find_band(rig, deep=False))
    assert found.running_nm == rig.arm.force_n * rig.crank.radius_m
    assert found.running_nm * found.pace_tpm * RPM <= rig.arm.power_w * 1.001
    assert found.case_c is None


@pytest.mark.parametrize("name", sorted(materials()))
def test_materials_are_plausible_and_sourced(name: str) -> None:
    found = materials()[name]
    for span in (found.tensile_mpa, found.modulus_gpa, found.softens_c, found.friction):
        assert 0 < span.low <= span.value <= span.high
    assert found.source
    assert heat_share(found, 20) == 1.0
    assert heat_share(found, found.softens_c.value) == 0.0
    assert heat_share(found, 40) > heat_share(found, 45)


@given(st.integers(10, 60), st.floats(1, 3), st.floats(4, 30), st.floats(1, 400))
@settings(max_examples=40, deadline=None)
def test_bending_scales_as_it_should(z: int, m: float, width: float, force: float) -> None:
    gear = Gear(teeth=z, module_mm=m, shift=0.5 if z < 17 else 0.0)
    one = lewis.bending_mpa(force, gear, width)
    assert lewis.bending_mpa(2 * force, gear, width) == pytest.approx(2 * one)
    assert lewis.bending_mpa(force, gear, 2 * width) == pytest.approx(one / 2)
    # the form factor has no size
    twice = replace(gear, module_mm=2 * m)
    assert lewis.bending_mpa(force, twice, width) == pytest.approx(one / 2)


def test_shift_strengthens_and_thinning_weakens() -> None:
    plain = Gear(teeth=20, module_mm=2)
    assert lewis.form_factor(replace(plain, shift=0.4)) > lewis.form_factor(plain)
    assert lewis.form_factor(replace(plain, thinning_mm=0.3)) < lewis.form_factor(plain)


def test_drawn_factor_is_the_weakest_section_of_the_outline() -> None:
    """The whole half tooth searched again, root to tip."""
    gear = Gear(teeth=24, module_mm=2.0)
    radius, angle = half_tooth(gear, flank=300, fillet=300)
    along, thick = radius * np.cos(angle), 2 * radius * np.sin(angle)
    slope = tan(pressure_at(gear, gear.tip_mm)) - base_half_angle(gear)
    arm = gear.base_mm / cos(slope) - along
    weakest = min(t**2 / (6 * h * 2.0) for t, h, a in zip(thick, arm, angle, strict=True)
                  if h > 0 and a < pi / 24 - 1e-6)
    assert lewis.drawn_factor(gear) == pytest.approx(weakest, rel=5e-3)


def test_judged_figures_by_their_definitions() -> None:
    one = pair(60, 12, 2.0, backlash_mm=0.2)
    petg = materials()["petg"]
    found = strength.judge(one, 17.5, petg, running_nm=0.8, blocked_nm=16.5,
                           driver_rad_s=7.0, warm_c=30.0)
    assert found.force_n == pytest.approx(0.8 / 0.060)
    assert found.overload_n == pytest.approx(16.5 / 0.060)
    assert found.speed_m_s == pytest.approx(7.0 * 0.060)
    weak = min(lewis.form_factor(one.driver), lewis.form_factor(one.driven))
    assert found.overload_mpa == pytest.approx(275 / (17.5 * 2 * weak))
    assert found.bending_mpa == pytest.approx(
        0.8 / 0.06 / (17.5 * 2 * weak) * (1 + 0.42 / 6.1))
    skin = 2 * pi * one.driven.tip_mm * (one.driven.tip_mm + 17.5) / 1e6
    watts = 0.8 * 7.0 * strength.friction_loss(one.driver, one.driven, one.centre_mm, 0.18) / 2
    assert found.warms_k == pytest.approx(watts / skin / (10 + 10 * 0.42**0.5))
    left = 50 * (75 - 30 - found.warms_k) / (75 - 20)
    assert found.overload_safety == pytest.approx(left / found.overload_mpa)
    assert found.running_safety == pytest.approx(left / 6 / found.bending_mpa)
    assert (found.weaker, found.overload) == ("driven", "blocked")
    stiff = 14 * 2.0 / 206
    assert found.deflection_share == pytest.approx(0.8 / 0.06 / 17.5 / stiff / 1000 / 0.2)


def test_a_short_hammers_while_it_turns() -> None:
    """The short's torque counts with Barth's factor at its speed, the stuck handle's without: so
    that the smaller of two torques may ask for more."""
    one = pair(60, 12, 2.0, backlash_mm=0.2)

    def judged(short_nm: float, short_rad_s: float):
        return strength.judge(one, 17.5, materials()["petg"], running_nm=0.8, blocked_nm=16.5,
                              driver_rad_s=7.0, warm_c=30.0, short_nm=short_nm,
                              short_rad_s=short_rad_s)

    plain, slow, fast = judged(0.0, 0.0), judged(15.0, 5.0), judged(15.0, 50.0)
    assert slow.overload == "blocked"
    assert slow.overload_mpa == plain.overload_mpa
    assert fast.overload == "short"
    assert fast.overload_n == pytest.approx(15.0 / 0.060)
    assert fast.overload_mpa == pytest.approx(
        plain.overload_mpa * 15.0 / 16.5 * (1 + 50 * 0.060 / 6.1))


def test_hertz_of_a_known_pair() -> None:
    """Two steel discs of equal size in the pitch point: p = sqrt(F' E / (2 pi (1 - nu^2) R)),
    R of both together; Johnson, Contact Mechanics, line contact (from memory)."""
    one = pair(30, 30, 4.0)
    petg = materials()["petg"]
    force, width = 100.0, 10.0
    radius = 60 * sin(radians(20)) / 2  # two flanks of 60 sin 20 each
    normal = force / cos(radians(20)) / width
    e = 2000 / (1 - 0.38**2) / 2
    expected = (normal * e / (pi * radius)) ** 0.5
    assert strength.hertz_mpa(force, one, width, petg) == pytest.approx(expected, rel=1e-6)


def test_hexagon_grows_with_the_load() -> None:
    asked = task()
    heavy = replace(asked, loads=replace(asked.loads, blocked_nm=60.0))
    assert hexagon_mm(heavy) > hexagon_mm(asked)
    most = strength.layers_mpa(asked.given.material, asked.warm_c[0]) / 1.5
    assert strength.hexagon_mpa(asked.loads.overload_nm, hexagon_mm(asked),
                                asked.given.axle_mm + 1) <= most


def test_the_arm_bears_the_hand() -> None:
    """Its weakest section under the push on the grip, written out again: at the knob it is
    twisted, at the hub bent as well."""
    for material, radius in (("petg", 0.11), ("pla", 0.11), ("nylon", 0.2)):
        asked = task(material=material)
        asked = replace(asked, given=replace(asked.given, arm_mm=radius * 1000))
        plastic, arm = asked.given.material, radius * 1000
        across = hexagon_mm(asked)
        end = arm_half_mm(asked, across)
        force = asked.loads.overload_nm / radius
        left = heat_share(plastic, 30.0)
        twist = force * (72 / 2 + 13 / 2)
        b, t = 2 * end, 13.0
        b, t = max(b, t), min(b, t)
        shear = twist * (3 + 1.8 * t / b) / (b * t * t)
        assert 0.9 * shear <= plastic.tensile_mpa.value * plastic.layers_share.value * left \
            * 0.577 / 1.5 * 1.001, material
        assert 3**0.5 * shear <= plastic.tensile_mpa.value * left / 1.5 * 1.001
        hub = across / 3**0.5 + 1
        width = 2 * (hub + (end - hub) * 0.2)
        bent = force * 0.8 * arm / (13 * width**2 / 6)
        assert bent <= plastic.tensile_mpa.value * left / 1.5, material
    weak = task(material="pla")
    hard = replace(weak, loads=replace(weak.loads, short_nm=30.0))
    assert arm_half_mm(hard, 22.0) > arm_half_mm(weak, 22.0)


def test_a_thin_neck_is_the_weakest_link() -> None:
    """A pinion barely thicker than its axle is twisted off before its teeth break."""
    thin = of_teeth(((60, 10), (30, 12)), task(ratio=15.0, motors=1, can_m=0.02, module_m=0.0015,
                                               width_m=0.04))
    first = thin.stages[0]
    assert first.joint_safety < first.safety
    assert thin.safety == min(first.joint_safety, thin.stages[1].safety)


def test_a_pinion_thinner_than_its_bore_is_refused() -> None:
    with pytest.raises(NoPair, match="about a bore of 8 mm"):
        of_teeth(((36, 9), (40, 12)), task(ratio=12.0, module_m=0.001))
