"""Published examples of the brushed machine, through the shipped functions.

Transcriptions of textbook numbers were recalculated; the source stands beside each.
"""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from bare_rig import PACE, thevenin
from steadyturn.model import arm, gears, motor
from steadyturn.model.bank import emf_v_per_tpm, source_ohm
from steadyturn.model.point import operate
from steadyturn.rig.types import RPM, Motor, Stage

BOOK = 5e-3  # three figures are printed


def machine(k: float, ohm: float, **more) -> Motor:
    return Motor(emf_v_s=k, terminal_ohm=ohm,
                 **{"no_load_a": 0.0, "brush_drop_v": 0.0, **more})


def test_e1_fitzgerald_7_9() -> None:
    """Fitzgerald/Kingsley/Umans, Electric Machinery 6e, example 7.9 p.389."""
    tested = Motor(rated_v=50, no_load_rad_s=2100 * RPM, no_load_a=1.25, terminal_ohm=1.03,
                   brush_drop_v=0)
    k = motor.emf_constant(tested)
    assert k * 2100 * RPM == pytest.approx(48.71, rel=1e-4)
    assert k == pytest.approx(0.2215, rel=1e-3)
    loss = float(motor.friction_nm(tested, 2100 * RPM)) * 2100 * RPM
    assert loss == pytest.approx(60.89, rel=1e-3)
    # 48 V at 1700 rpm as a motor: the current flows the other way; the book rounds K to 0.22
    rounded = machine(0.22, 1.03)
    assert float(motor.terminal_v(rounded, 1700 * RPM, -8.58)) == pytest.approx(48, rel=BOOK)
    shaft = -float(motor.shaft_nm(rounded, 1700 * RPM, -8.58)) * 1700 * RPM - 61
    assert shaft == pytest.approx(275.05, rel=BOOK)


def test_e2_fitzgerald_11_5_constant_power() -> None:
    """Same book, example 11.5 p.573: K 0.22, R 1.03, 100 W; printed are the stable roots.

    A motor at V that delivers P and a generator of EMF V loaded with P obey the same
    algebra, with the volts behind the resistance in place of the motor's EMF.
    """
    for volts, speed, most in ((40.0, 169.2, 388), (50.0, 217.5, 607)):
        at = operate(thevenin(volts, 1.03, 100.0), PACE)
        assert float(at.bus_v) / 0.22 == pytest.approx(speed, rel=BOOK)
        assert operate(thevenin(volts, 1.03, most * 0.995), PACE).regime == "regulating"
        assert operate(thevenin(volts, 1.03, most * 1.005), PACE).regime == "collapse"


def test_e3_hambley_16_2_generator() -> None:
    """Hambley, Electrical Engineering, example 16.2c p.720: B l -> K, force -> torque."""
    linear = machine(0.3, 0.05)
    amps, speed = 2 / 0.3, 7.78
    assert amps == pytest.approx(6.667, rel=1e-3)
    assert float(motor.emf_constant_at(linear, 20.0)) * speed == pytest.approx(2.333, rel=1e-3)
    assert float(motor.terminal_v(linear, speed, amps)) == pytest.approx(2.0, rel=1e-3)
    torque = float(motor.shaft_nm(linear, speed, amps))
    assert torque == pytest.approx(2.0, rel=1e-9)
    assert torque * speed == pytest.approx(15.56, rel=1e-3)
    # the whole operating point: 13.33 W out, 2.22 W in the winding, 85.71 %
    at = operate(thevenin(2.3333333, 0.05, 13.3333333), PACE)
    assert float(at.losses_w["winding"]) == pytest.approx(2.22, rel=BOOK)
    assert float(at.out_w / at.arm_w) == pytest.approx(0.8571, rel=1e-4)


@pytest.mark.parametrize(("amps", "ohm", "volts", "emf"), [
    (52.0, 0.05 + 0.03, 500.0, 506.16),  # E6: Theraja II example 26.4 p.913, 1 V per brush
    (30 + 229 / 200, 0.05, 229.0, 232.56),  # E7: example 26.5 p.913, 2 V in all
])
def test_e6_e7_brush_drop(amps, ohm, volts, emf) -> None:
    brushed = machine(1.0, ohm, brush_drop_v=2.0, brush_knee_a=0.1)
    assert float(motor.terminal_v(brushed, emf, amps)) == pytest.approx(volts, rel=1e-4)
    assert float(motor.terminal_v(brushed, emf, 0.0)) == emf  # nothing at no current


def test_e10_e12_burman() -> None:
    """Burman, Special Electrical Machines, examples 4.1/4.4 p.216-7 and 4.2."""
    free = machine(0.12, 0.3)
    assert float(motor.terminal_v(free, 3819.7 * RPM, 0.0)) == pytest.approx(48, rel=1e-4)
    stalled = machine(0.2, 1.0)
    assert float(motor.shaft_nm(stalled, 0.0, 5.0)) == pytest.approx(1.0)
    assert float(motor.terminal_v(stalled, 1336.9 * RPM, 0.0)) == pytest.approx(28, rel=1e-4)


def test_e15_pittman_data_sheet() -> None:
    """Pittman 9233S013: KT 3.73e-2 N m/A, KE 3.90 V/krpm, Km 1.88e-2, friction 4.2e-3 N m."""
    ohm = (3.73e-2 / 1.88e-2) ** 2
    assert ohm == pytest.approx(3.94, rel=1e-3)
    sheet = machine(3.73e-2, ohm, no_load_a=0.113)
    assert float(motor.terminal_v(sheet, 1000 * RPM, 0.0)) == pytest.approx(3.906, rel=1e-3)
    assert float(motor.terminal_v(sheet, 1000 * RPM, 0.0)) == pytest.approx(3.90, rel=BOOK)
    assert float(motor.friction_nm(sheet, 100.0)) == pytest.approx(4.2e-3, rel=BOOK)
    # SI: the EMF constant is the torque constant
    torque = float(motor.shaft_nm(sheet, 0.0, 1.0) - motor.shaft_nm(sheet, 0.0, 0.0))
    assert torque == pytest.approx(3.73e-2)


def test_e16_hambley_2_21_matched_load() -> None:
    """Hambley example 2.21 p.84: 10 V behind 4 ohm gives at most 6.25 W, at 5 V."""
    assert operate(thevenin(10, 4, 6.25 * 1.0001), PACE).regime == "collapse"
    at = operate(thevenin(10, 4, 6.25 * (1 - 1e-8)), PACE)
    assert at.regime == "regulating"
    assert float(at.bus_v) == pytest.approx(5.0, rel=1e-3)


def test_constant_power_on_a_thevenin_source() -> None:
    """V = E/2 + sqrt(E**2/4 - R P): the stable root, 7.236 V for 10 V, 2 ohm, 10 W."""
    at = operate(thevenin(10, 2, 10), PACE)
    assert float(at.bus_v) == pytest.approx(7.236, rel=1e-4)
    assert float(at.bus_v) == pytest.approx(5 + sqrt(25 - 20), rel=1e-12)
    assert float(at.bus_v) > float(at.emf_v) / 2
    assert float(at.bus_v) ** 2 / 10 > 2  # static stability: R < V**2 / P
    assert operate(thevenin(10, 2, 12.49), PACE).regime == "regulating"
    assert operate(thevenin(10, 2, 12.51), PACE).regime == "collapse"


def test_starting_rule() -> None:
    """From rest a constant-power load of P starts where E >= 2 sqrt(R P)."""
    for ohm, power in ((2.0, 10.0), (0.7, 3.0), (5.0, 2.5)):
        needed = 2 * sqrt(ohm * power)
        for share, regime in ((0.999, "collapse"), (1.001, "regulating")):
            at = operate(thevenin(needed * share, ohm, power), PACE, running=False)
            assert at.regime == regime


def test_t1_wentzell_11_1() -> None:
    """Wentzell, Machine Design, example 11.1 p.217: 60/20 x 60/20, 3600 rpm, 200 lb in ->
    400 rpm, 1800 lb in. Seen from the slow side, that is the handle's."""
    train = (Stage(driver_teeth=60, driven_teeth=20, efficiency=1.0),) * 2
    assert 400 * gears.ratio(train) == 3600
    rig = thevenin(10, 4, 1, stages=train)
    assert float(arm.crank_nm(rig, 200.0)) == 1800


def test_t3_khurmi_13_1() -> None:
    """Khurmi, Theory of Machines, example 13.1 p.432: 20/50, 25/75, 26/65 bring 975 rpm to
    52; run backwards, 52 to 975."""
    train = tuple(Stage(driver_teeth=slow, driven_teeth=fast)
                  for fast, slow in ((20, 50), (25, 75), (26, 65)))
    assert gears.ratio(train) == pytest.approx(18.75)
    assert 52 * gears.ratio(train) == pytest.approx(975)


def test_e17_dubey_sign_of_efficiency() -> None:
    """Dubey, Fundamentals of Electrical Drives, example 2.1 p.16: what turns a load through
    gears of efficiency 0.9 gives the reflected torque divided by it. The hoist's share is
    written out here. For a handle that drives a generator the same side pays."""
    rig = thevenin(10, 4, 1, stages=(Stage(ratio=0.1, efficiency=0.9),))
    geared = float(arm.crank_nm(rig, 10.0))
    hoist = 1000 * 9.81 * 1.5 / (0.85 * 1420 * RPM)
    assert geared + hoist == pytest.approx(117.53, rel=1e-3)
    assert geared > 10 * 0.1


def test_losses_multiply_and_speed_is_unaffected() -> None:
    """0.85**3 = 0.614, 0.95**3 = 0.857; one plastic kit stage about 0.85 (MIT 2.007 page)."""
    for each, all_three in ((0.85, 0.614), (0.95, 0.857)):
        train = (Stage(ratio=3.0, efficiency=each),) * 3
        assert gears.efficiency(train) == pytest.approx(all_three, rel=1e-3)
        assert gears.ratio(train) == pytest.approx(27)


def test_copper() -> None:
    """R(T) = R20 (1 + 0.00393 (T - 20)), from memory."""
    assert float(motor.ohm_at(machine(1, 10.0), 120.0)) == pytest.approx(13.93)


def test_speed_times_torque_constants() -> None:
    """kn [rpm/V] * kM [mN m/A] = 30000/pi, from memory."""
    one = machine(3.73e-2, 1.0)
    rpm_per_v = 1 / float(motor.terminal_v(one, RPM, 0.0))
    nm_per_a = float(motor.shaft_nm(one, 0.0, 1.0))
    assert rpm_per_v * nm_per_a * 1000 == pytest.approx(30000 / pi)


# ---- rules of the trade: common practice, no source


def test_nameplate_rule() -> None:
    """Open circuit, a small motor gives about rated volts over rated no-load speed."""
    small = Motor(rated_v=12, no_load_rad_s=12_000 * RPM, no_load_a=0.0, terminal_ohm=10,
                  brush_drop_v=0.0)
    per_krpm = float(motor.terminal_v(small, 1000 * RPM, 0.0))
    assert per_krpm == pytest.approx(1.0)
    assert 5 / per_krpm * 1000 / 60 == pytest.approx(83.3, rel=1e-3)  # rev/s for 5 V
    assert float(motor.terminal_v(small, 40 * 2 * pi, 0.0)) == pytest.approx(2.4)


def test_stages_multiply() -> None:
    train = (Stage(ratio=6), Stage(ratio=4))
    assert gears.ratio(train) == 24
    at = operate(thevenin(10, 4, 1, stages=train), 60.0)
    assert float(at.motor_rpm) / 60 == pytest.approx(24)  # one handle turn a second


def test_sources_in_series_add() -> None:
    """Two equal motors on one gear: twice the volts at the same current, twice the torque."""
    one = thevenin(10, 4, 4)
    two = thevenin(10, 4, 8, bank=type(one.bank)(series=2))
    assert emf_v_per_tpm(two) == pytest.approx(2 * emf_v_per_tpm(one))
    assert source_ohm(two) == pytest.approx(2 * source_ohm(one))
    single, double = operate(one, PACE), operate(two, PACE)
    assert float(double.motor_a) == pytest.approx(float(single.motor_a))
    assert float(double.bus_v) == pytest.approx(2 * float(single.bus_v))
    assert float(double.crank_nm) == pytest.approx(2 * float(single.crank_nm))


def test_open_circuit_volts_times_short_circuit_amps_is_not_power() -> None:
    """The product overstates the best a Thevenin source gives by a factor of four."""
    best = max(power for power in np.linspace(0.1, 25, 250)
               if operate(thevenin(10, 4, power), PACE).regime == "regulating")
    assert 10 * (10 / 4) / best == pytest.approx(4, rel=0.02)
