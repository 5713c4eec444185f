"""Batteries and charging against published figures (sources in each test)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_rig import thevenin
from steadyturn.jobs.charge import CELL_C
from steadyturn.jobs.charge_values import CAPACITY_WH
from steadyturn.model.charging import END_PER_H, Feed, cell, charge, feed
from steadyturn.model.load import stored_share_per_j
from steadyturn.model.point import operate
from steadyturn.rig.types import Load, specs

PHONE_J = 5.0 * 3.85 * 3600  # 5000 mAh at 3.85 V


def steady(watts: float) -> Feed:
    """A machine that gives `watts` at any draw above nothing, at no cost beyond them."""
    full = operate(thevenin(10.0, 0.1, 5.0), 60.0)
    shares = np.linspace(0.01, 1, 9) * watts
    return Feed(60.0, shares, shares, full, 5.0)


def test_a_phone_battery():
    """5000 mAh at 3.85 V = 19.25 Wh: r2100.com."""
    assert round(PHONE_J / 3600, 9) == 19.25
    low, _, high = CAPACITY_WH["phone"]  # "5-20 Wh", "around 10": askvity.info
    assert 5 <= low <= 10 <= high <= 20


def test_one_percent():
    """1 % of 19.25 Wh = 693 J stored; at 85 % some 815 J from USB = 163 s at 5 W (by hand)."""
    phone = Load(capacity_j=PHONE_J, charge_efficiency=0.85, self_use_w=0.0)
    one = charge(phone, steady(5.0), 0.20, end=0.21)
    assert one.cell_j == pytest.approx(693)
    assert one.socket_j == pytest.approx(815, abs=0.5)
    assert one.seconds == pytest.approx(163, abs=0.1)


def test_energy_at_the_socket_gives_the_percentage():
    """Energy at 5 V times efficiency over capacity reproduces the percent; charge times 5 V
    would not."""
    rig = thevenin(10.0, 0.1, 2.5)
    rig = replace(rig, load=Load(draw_a=0.5, capacity_j=PHONE_J, self_use_w=0.0, cable_m=0.0),
                  converter=replace(rig.converter, out_v=5.0))
    given = feed(rig, 60.0)
    assert given.out_w[-1] == pytest.approx(2.5)
    done = charge(rig.load, given, 0.1, seconds=3600.0)
    assert done.socket_j == pytest.approx(2.5 * 3600)
    share = stored_share_per_j(rig.load)
    assert share is not None
    assert done.end - done.start == pytest.approx(done.socket_j * share)
    coulombs = 0.5 * 3600
    at_the_cell = coulombs * 3.85 / PHONE_J  # if the current went through as it is
    at_five_volts = coulombs * 5.0 / PHONE_J
    assert at_five_volts > done.end - done.start
    assert at_five_volts / at_the_cell == pytest.approx(5 / 3.85)


def test_the_charge_ends_where_chargers_end():
    """CC-CV ends at 0.02-0.07 of the capacity an hour: electrodragon.com/w/
    Lithium_Battery_Charge."""
    assert 0.02 <= END_PER_H <= 0.07
    phone = Load(capacity_j=PHONE_J, self_use_w=0.0, taper_from=0.8)
    battery = cell(phone, 10.0)
    assert battery.limit_w(1.0) * 3600 / PHONE_J == pytest.approx(END_PER_H)
    assert battery.limit_w(0.8) == battery.limit_w(0.3) == pytest.approx(8.5)
    assert battery.limit_w(0.9) == pytest.approx((8.5 + battery.limit_w(1.0)) / 2)


def test_the_tail_decays_like_a_cell_behind_its_resistance():
    """Constant voltage: the current falls by e in each tau."""
    phone = Load(capacity_j=PHONE_J, self_use_w=0.0, taper_from=0.5)
    battery = cell(phone, 10.0)
    for begin in (0.5, 0.6, 0.8):
        later = battery.state_after(begin, battery.tau_s * 0.3)
        assert battery.limit_w(later) / battery.limit_w(begin) == pytest.approx(np.exp(-0.3))


def test_efficiency_is_in_the_published_range():
    """"Often around 20 %" lost (poweringautos.com); ICs 85-95 %, a linear charger 3.7/5 = 74 %
    (from memory)."""
    low, usual, high = specs(Load)["charge_efficiency"].typical
    assert low <= 0.74 <= usual <= 0.9 <= high <= 0.95


def test_charging_temperatures():
    """0-45 degC: BU-410 (from memory)."""
    assert CELL_C == (0.0, 45.0)
