"""Samples as means over steps of time, and the outings of one machine."""

import sys
from math import isnan, nan
from pathlib import Path

import numpy as np
import pytest
from steadyturn.sessions.decode import decode
from steadyturn.sessions.machine import MOST, of_machine
from steadyturn.sessions.rows import OutingRow
from steadyturn.sessions.steps import MOST_BOOTS, MOST_STEPS, steps
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
import outing_maker


def test_each_step_is_the_mean_of_its_samples():
    pages = decode(b"".join(outing_maker.many_boots(6)))
    got = steps(pages)
    assert got.each_s is not None
    assert len(got.rows) <= MOST_STEPS
    for row in got.rows:
        mine = pages.samples[(pages.samples["boot"] == row.boot) & ~pages.samples["no_data"]]
        t_s = mine["t_ms"] / 1000
        mine = mine[(t_s >= row.begin_s - 1e-9) & (t_s < row.end_s - 1e-9)]
        if not len(mine):
            assert isnan(row.bus_v)
            continue
        sure = mine[mine["valid"] == layout.VALID]["pace_tpm"]
        assert row.bus_v == pytest.approx(mine["bus_mv"].mean() / 1000)
        assert row.power_w == pytest.approx((mine["bus_mv"] * 1e-6 * mine["bus_ma"]).mean())
        assert row.pace_tpm == pytest.approx(sure.mean() if len(sure) else nan, nan_ok=True)
        assert row.connected_percent == pytest.approx(100 * (mine["connected"] == 1).mean())
        assert (mine["cue"] == layout.CUES.index(row.cue)).sum() == np.bincount(mine["cue"]).max()


def test_steps_join_within_a_boot_at_round_times():
    got = steps(decode(b"".join(outing_maker.three_boots())))
    for boot in (1, 2, 3):
        mine = [row for row in got.rows if row.boot == boot]
        assert mine[0].begin_s == 0
        assert [a.end_s for a in mine[:-1]] == [b.begin_s for b in mine[1:]]
        assert all(row.end_s % got.each_s == 0 for row in mine[:-1])


def test_many_boots_have_a_step_each():
    hand = outing_maker.Hand(9)
    for _ in range(MOST_BOOTS + 7):
        hand.crank(3)
        hand.rest()
    got = steps(decode(b"".join(hand.pages)))
    assert got.each_s is None
    assert (got.boots, got.all_boots) == (MOST_BOOTS, MOST_BOOTS + 7)
    assert [row.boot for row in got.rows] == list(range(8, MOST_BOOTS + 8))


def test_nothing():
    assert steps(decode(b"")).rows == ()
    assert steps(decode(b"".join(outing_maker.nothing()))).rows == ()


def row(number, **values):
    fields = dict.fromkeys(OutingRow.__dataclass_fields__, 0) | {
        "id": number, "begin_s": None, "end_s": None, "after_s": None, "until_s": None,
        "rig": "mine", "note": "", "faults_by_name": {}}
    return OutingRow(**(fields | values))


def test_the_outings_of_one_machine():
    earlier = [row(1, rig="other"),
               row(2, energy_out_j=7200.0, energy_in_j=9000.0, charge_c=1500.0, turns=3600.0,
                   band_s=80.0, turning_s=100.0, faults=2), row(3)]
    got = of_machine(earlier, [row(4, band_s=3.0, turning_s=2.0)], "mine")
    assert [o.outing for o in got] == [2, 3, 4]
    assert [o.reviewed for o in got] == [False, False, True]
    first = got[0]
    assert (first.out_wh, first.bus_v, first.out_per_turn_j) == (2.0, 6.0, 2.0)
    assert (first.in_band_percent, first.faults) == (80.0, 2)
    assert isnan(got[1].bus_v)
    assert isnan(got[1].out_per_turn_j)
    assert got[2].in_band_percent == 100.0
    many = of_machine([row(n) for n in range(MOST + 5)], [row(999)], "mine")
    assert len(many) == MOST
    assert many[-1].outing == 999
