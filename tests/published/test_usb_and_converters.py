"""USB limits, human power and the manners of converters, through the shipped functions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_rig import thevenin
from steadyturn.model import arm
from steadyturn.model.band import find_band
from steadyturn.model.load import cable_ohm, draw
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Converter, Load, specs


def test_usb_limits() -> None:
    """USB 2.0: five unit loads of 100 mA, port 4.75-5.25 V, device down to 4.4 V; Type-C
    vSafe5V 4.75-5.5 V, vSinkDisconnect 3.67 V."""
    phone = Load()
    assert phone.draw_a == 5 * 0.1
    assert phone.max_v == 5.5
    assert 4.4 <= phone.sag_v <= 4.75
    assert phone.min_v >= 3.67
    typical = {f: s.typical for f, s in specs(Load).items() if s.typical}
    assert max(typical["max_v"]) == 5.5
    assert (min(typical["sag_v"]), max(typical["sag_v"])) == (4.4, 4.75)
    assert min(typical["min_v"]) == 3.67


def test_a_device_draws_less_when_its_socket_sags() -> None:
    phone = Load(cable_m=0)
    amps, slope = draw(phone, 0.0, np.array([5.0, phone.sag_v, 4.3, phone.min_v, 3.0]))
    assert amps[0] == amps[1] == 0.5
    assert 0 < amps[2] < 0.5
    assert (amps[3:] == 0).all()
    assert slope[2] > 0
    assert (slope[[0, 3, 4]] == 0).all()


def test_cable() -> None:
    """1 m of 28 AWG out and back: 0.426 ohm, 0.213 V at 0.5 A (0.2129 ohm/m from memory).
    Lengths per gauge for one drop: Hardware Book, credits USB-IF."""
    assert cable_ohm(Load(cable_m=1, cable_awg=28)) == pytest.approx(0.426, rel=5e-3)
    assert 0.5 * cable_ohm(Load(cable_m=1, cable_awg=28)) == pytest.approx(0.213, rel=5e-3)
    lengths = {28: 0.81, 26: 1.31, 24: 2.08, 22: 3.33, 20: 5.00}
    ohms = [cable_ohm(Load(cable_m=m, cable_awg=awg)) for awg, m in lengths.items()]
    assert max(ohms) / min(ohms) < 1.07  # the table rounds 20 AWG to 5 m


def test_a_phone_charges_slowly_from_half_an_ampere() -> None:
    """2.5 W at the port (common practice, no source; USB 2.0: 5 V, 500 mA)."""
    for name in ("lakeside-hut", "radio-tent", "night-ferry"):
        band = find_band(read_rig(example_path(name)), deep=False)
        assert float(band.at_target.out_w) == pytest.approx(2.5, rel=0.05)


@pytest.mark.parametrize(("watts", "pace", "torque", "force", "radius"), [
    (30, 70, 4.09, 40.9, 0.10), (20, 60, 3.18, 31.8, 0.10), (56.5, 60, 9.0, 45.0, 0.20)])
def test_crank_arithmetic(watts, pace, torque, force, radius) -> None:
    rig = thevenin(10, 4, 1)
    rig = replace(rig, crank=replace(rig.crank, radius_m=radius))
    assert float(arm.power_w(torque, pace)) == pytest.approx(watts, rel=2e-3)
    assert float(arm.force_n(rig, torque)) == pytest.approx(force, rel=2e-3)


def boost(**more) -> Converter:
    return Converter(kind="boost", out_v=5.0, start_v=2.5, stop_v=2.0, max_in_v=30,
                     loss_w=0.02, loss_v=0.1, loss_ohm=0.1, in_limit_a=3, out_limit_a=2,
                     pass_drop_v=0.4, **more)


def test_boost_above_its_set_point_follows_its_input() -> None:
    """TI TPS61299 (SLVSGS9E): above the set point "output voltage follows input voltage" and
    the limits are off; TI SLVAFO4 table 2-1: not switching, input less coil and diode."""
    rig = thevenin(8.0, 0.5, 1, converter=boost(), load=Load(draw_a=0.5, cable_m=0))
    pace = np.linspace(30, 240, 60)
    at = operate(rig, pace)
    over = at.regime == "pass_through"
    assert over.any()
    assert (np.diff(over.astype(int)) >= 0).all()  # above one pace, and then always
    follows = over & (at.in_v > 5.4 + 1e-9)
    assert np.allclose(at.out_v[follows], at.in_v[follows] - 0.4)
    assert (at.out_v[at.regime == "regulating"] <= 5.0 + 1e-12).all()
    assert at.out_v[-1] > 5.5  # any modelled socket above 5.5 V is a failure
    limited = replace(rig, converter=replace(rig.converter, in_limit_a=0.3))
    assert operate(limited, 240.0).bus_a > 0.3  # its input limit no longer acts


def test_buck_boost_regulates_above_and_below_its_output() -> None:
    """TI TPS63031 (SLVS696D): steps down when the input is higher, up when it is lower."""
    part = replace(boost(), kind="buck_boost")
    rig = thevenin(8.0, 0.5, 1, converter=part, load=Load(draw_a=0.5, cable_m=0))
    at = operate(rig, np.linspace(30, 240, 60))
    on = at.regime == "regulating"
    assert (at.in_v[on] < 5).any()
    assert (at.in_v[on] > 5).any()
    assert np.allclose(at.out_v[on], 5.0)
    assert "pass_through" not in at.regime


def test_a_step_down_wants_seven_to_eight_volts_and_a_step_up_less() -> None:
    """Rule of the trade, no source: on one machine, the loaded input at the band's low end."""
    rig = read_rig(example_path("lakeside-hut"))
    common = {"out_v": 5.1, "loss_w": 0.04, "in_limit_a": 2.5}
    buck = replace(rig, converter=Converter(kind="buck", start_v=7.0, stop_v=6.0, max_in_v=30,
                                            headroom_v=1.5, **common))
    boosting = replace(rig, converter=Converter(kind="boost", start_v=3.0, stop_v=2.4,
                                                max_in_v=30, **common))
    down, up = find_band(buck, deep=False), find_band(boosting, deep=False)
    assert down.window_v[0] == pytest.approx(6.6)
    assert down.feasible
    volts = operate(buck, down.low_tpm).bus_v
    assert 6.5 < volts < 8.5
    assert up.window_v[1] < down.window_v[0]
    assert up.feasible is False or operate(boosting, up.low_tpm).bus_v < 5.1
