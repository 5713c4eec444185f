"""What a change brings, against closed forms of textbook circuits.

A source of E behind R that feeds P by constant power works at V = (E + sqrt(E^2 - 4 P R)) / 2, and
the arm gives E I for V I: E / V for each watt (any textbook on Thevenin sources and constant power
loads). Motors in series: n E behind n R; in parallel: E behind R / n.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from bare_rig import PACE, thevenin
from steadyturn.model.batch import bands
from steadyturn.rig.types import Bank, Rig
from steadyturn.sizing.weigh import weigh

EMF, OHM, WATTS = 4.0, 0.8, 1.0
AIR = {"air.hot_c": [20.0]}


def bare() -> Rig:
    """A machine of nothing but source and converter, whose parts bear anything."""
    rig = thevenin(EMF, OHM, WATTS)
    return replace(
        rig, bus=replace(rig.bus, capacitor_max_v=200.0), switch=replace(rig.switch, max_v=200.0),
        motor=replace(rig.motor, max_a=100.0, max_winding_c=200.0), bank=Bank(mount_max_c=200.0),
        rectifier=replace(rig.rectifier, max_v=1000.0), sensor=replace(rig.sensor, divider=100.0),
        converter=replace(rig.converter, out_v=5.0),
        load=replace(rig.load, resistance_ohm=25.0 / WATTS))


def closed(emf_v: float, ohm: float) -> float:
    return 2 / (1 + math.sqrt(1 - 4 * WATTS * ohm / emf_v**2))


@pytest.mark.parametrize(("series", "parallel"), [(1, 1), (2, 1), (1, 2), (3, 2)])
def test_more_motors_ask_what_the_closed_form_says(series: int, parallel: int) -> None:
    rig = bare()
    many = bands(replace(rig, bank=replace(rig.bank, series=series, parallel=parallel)), AIR)
    emf_v = series * EMF * many.target_tpm[0] / PACE
    assert many.arm_w[0] / many.out_w[0] == pytest.approx(
        closed(emf_v, OHM * series / parallel), rel=1e-4)


def test_the_ranking_s_saving_is_the_closed_form_s() -> None:
    """Two in series: 4 P R / E^2 is halved. Both machines do best at the fastest pace that is
    comfortable, so that they are compared at one pace."""
    now = bare()
    one, two = weigh(now, [(replace(now, bank=replace(now.bank, series=2)), ())], builds=64)
    target = bands(now, AIR).target_tpm[0]
    emf_v = EMF * target / PACE
    assert two.ratio[1] == pytest.approx(closed(2 * emf_v, 2 * OHM) / closed(emf_v, OHM), rel=3e-3)
    assert two.helps_share > 0.95
    assert one.works_share == two.works_share == 1
