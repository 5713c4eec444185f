"""What a review's screens and page say of small and odd things, each by its words alone."""

from __future__ import annotations

from types import SimpleNamespace as Some

from steadyturn.report import review_page_history, review_page_parts
from steadyturn.report.review import head
from steadyturn.report.review_more import gaps, phone
from steadyturn.report.review_tables import model, sensor
from steadyturn.sessions.accuracy import accuracy

WHOLE = Some(stalls=0, stalled_s=0.0, longest_ms=0, dropped_ticks=0, no_data_s=0.0,
             missing_pages=0)


def told_phone(**more):
    return Some(**{"connections": 0, "connected_s": 0.0, "releases": {}, "collapses": 0,
                   "erases_connected": 0, "erase_longest_ms": 0, "faults_by_name": {},
                   "faults": 0, **more})


def test_a_phone_that_was_connected_from_the_start():
    for count, seconds, said in (
            (0, 0.0, "never connected"), (0, 44.0, "already when this begins"),
            (1, 44.0, "connected once"), (2, 44.0, "connected 2 times")):
        f = told_phone(connections=count, connected_s=seconds)
        assert said in phone(f)
        assert said in review_page_parts.phone(Some(figures=f))


def test_a_wait_is_no_cause():
    f = told_phone(connections=2, connected_s=9.0, releases={"low_bus": 1, "waiting": 35})
    for said in (phone(f), review_page_parts.phone(Some(figures=f))):
        assert "next try" not in said
        assert "35 x" in said
        assert "busy for a moment" in " ".join(said.split())


def test_nothing_is_missing_only_where_all_events_are_there():
    assert "Nothing is missing" in gaps(WHOLE, 0)
    assert "Nothing is missing" not in gaps(WHOLE, 3)
    assert "No page is missing" in gaps(WHOLE, 3)


def test_expected_volts_have_the_same_digits_everywhere():
    c = Some(name="loaded_volts", measured=7.9, expected=7.97, low=7.52, high=8.4, unit="V",
             verdict="as expected", note="")
    review = Some(expected=[c], rig_source="library")
    assert "8.0 (7.5 to 8.4)" in model(review)
    page = review_page_parts.model(review)
    assert "8.0" in page
    assert "7.5 to 8.4" in page
    assert "7.97" not in page


def test_a_share_ends_at_a_hundred_percent():
    low, high = review_page_history._ends([97.0, 100.0], from_zero=False)
    assert high > review_page_history.MOST["in_band_percent"] > low
    outings = [Some(outing=n, out_wh=0.1, bus_v=8.0, out_per_turn_j=2.0, in_band_percent=p,
                    reviewed=n == 2) for n, p in ((1, 97.0), (2, 100.0))]
    drawn = review_page_history.drawing(Some(machine=outings))
    assert ">100<" in drawn
    assert ">105<" not in drawn
    assert ">110<" not in drawn


def test_one_minute_is_said_once():
    one = Some(id=1, begin_s=1e9, end_s=1e9 + 1, after_s=None, until_s=None)
    undated = Some(id=1, begin_s=None, end_s=None, after_s=1e9, until_s=1e9 + 1)
    for outing in (one, undated):
        said = head(Some(label="hut", rig="hut", board="ab", scope="last_pull",
                         outings=(outing,), pulled_s=1e9 + 1))
        assert ": at " in said
        assert "between" not in said


def test_a_correction_is_said_with_its_day():
    settings = {"chip": "ina226", "shunt_uohm": 50_000, "bus_gain_ppm": 1_002_000,
                "amps_gain_ppm": 1_000_000, "bus_corrected_day": 9828, "bus_within_ppm": 1500,
                "bus_within_uv": 4000}
    plain = settings | {"bus_gain_ppm": 1_000_000}
    read = accuracy(settings, of_boots={1: settings, 2: plain})
    said = " ".join(sensor(Some(accuracy=read, out_accuracy=None)).split())
    assert "corrected by a meter: volts x 1.0020 +0 mV (28 Nov 2026), amps x 1.0000" in said
    assert "1 of the boots shown had another correction" in said
