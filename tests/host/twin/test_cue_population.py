"""People hold the band by the lamp, as firmware/cue.json says: some of them in each run."""

import json
from dataclasses import replace
from math import inf, pi
from statistics import mean

import pytest
from cue_trial import INERTIAS, TICK_S, Trial, course
from measure_cue import CELLS, cell, one
from steadyturn.drawings import cue_page, cue_results
from steadyturn.drawings.cue_results import middle, worst_tenth
from steadyturn.model.dynamics_parts import Parts
from steadyturn.twin.people import population

FEW = 10
ANEW = "measure_cue.py writes firmware/cue.json anew; see what made the difference first"


def stored(way, share, who="test", kind="led"):
    """Shares of the people in the order of their numbers."""
    data = json.loads(cue_results.FILE.read_text(encoding="utf-8"))
    key = (who, way, round(100 * share), kind)
    return next(c for c in data["cells"]
                if (c["people"], c["way"], c["band_percent"], c["lamp"]) == key)


def test_some_of_the_people_do_as_the_page_says():
    found = [one("test", "lamp", 0.12, "led", number).in_band for number in range(FEW)]
    told = stored("lamp", 0.12)["in_band"][:FEW]
    assert mean(found) == pytest.approx(mean(told), abs=0.04), ANEW
    assert mean(found) > 0.86
    assert min(found) > 0.6
    covered = [one("test", "none", 0.12, "led", number).in_band for number in range(4)]
    assert mean(covered) < mean(found[:4]) - 0.1


def test_a_cue_that_comes_late_is_seen_to_be_worse():
    people = population(2, 6)
    late = [Trial(course(0.12, INERTIAS[n % 4]), traits, 2000 + n,
                  changed={"dwell_ms": 4000}).run().in_band for n, traits in enumerate(people)]
    assert mean(late) < mean(stored("lamp", 0.12)["in_band"][:6]) - 0.04


def test_the_goal_is_met_on_people_whom_nothing_was_tuned_on():
    results = cue_results.read()
    for band in (12, 20):
        shares = results.cell("lamp", band).in_band
        assert len(shares) == 100
        assert middle(shares) >= 0.90
        assert worst_tenth(False, shares) >= 0.75
    assert cue_page.met(results)
    for band in (6, 12, 20):
        assert middle(results.cell("lamp", band).in_band) > middle(
            results.cell("none", band).in_band)


def test_the_machines_differ_as_they_say():
    for inertia in INERTIAS:
        assert Parts(course(0.12, inertia).rig, 0.01).inertia == pytest.approx(inertia)


def test_a_half_turns_mean_is_the_pace():
    """A handle that swings twice a turn has the pace of its mean."""
    trial = Trial(course(0.12, INERTIAS[1]), population(2, 1)[0], 1)
    theta = 0.0
    for tick in range(500):
        theta += TICK_S * 7.0 * (1 + 0.3 * (1 if (theta % pi) < pi / 2 else -1))
        trial.thetas.append(theta)
        trial.t_s = (tick + 1) * TICK_S
    # half of each half turn at 1.3, half at 0.7 of 7 rad/s: the mean in time is below 7
    right = pi / (pi / 2 / 9.1 + pi / 2 / 4.9) / (2 * pi / 60)
    assert trial.pace_tpm() == pytest.approx(right, rel=0.03)


def test_who_never_reaches_the_band_counts_as_the_worst():
    results = cue_results.read()
    one_cell = results.cell("none", 6)
    assert worst_tenth(True, replace(one_cell, reached_s=(1.0,) * 8 + (inf,) * 2).reached_s) == inf


@pytest.mark.soak
@pytest.mark.timeout(3000)
@pytest.mark.parametrize("who_way_share_kind_count", CELLS, ids=str)
def test_all_people_do_as_the_page_says(who_way_share_kind_count):
    who, way, share, kind, count = who_way_share_kind_count
    found, told = cell(who, way, share, kind, count), stored(way, share, who, kind)
    assert mean(found["in_band"]) == pytest.approx(mean(told["in_band"]), abs=0.015), ANEW
    assert mean(found["changes_per_min"]) == pytest.approx(mean(told["changes_per_min"]), abs=2)
