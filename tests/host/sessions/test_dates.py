"""Dates of outings: what a meeting with a computer dates, summer time, and clocks that were
wrong."""

from __future__ import annotations

import itertools
import random
import time
from datetime import UTC, datetime

import numpy as np
import pytest
from shelves import BEGAN_S, DAY_S, Shelf
from steadyturn.report.moments import day, moment, when
from steadyturn.sessions.anchors import BACK_MS, EARLIEST_S, Anchors, _out_of_order
from steadyturn.sessions.library import Contact, Library


def contact(id, host_s, boot, t_ms=60_000):
    return Contact(id, 1, "pull", host_s, boot, t_ms, "0", 1, 9, b"", 1, 0)


def utc(*fields):
    return datetime(*fields, tzinfo=UTC).timestamp()


@pytest.fixture
def berlin(monkeypatch):
    """Central European Time, summer time from the last Sunday of March to that of October, as
    a POSIX rule so that no file of zones is needed."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone of a running program cannot be set here")
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


# ---- clocks


def test_each_boot_that_met_a_host_is_dated_and_no_other():
    anchors = Anchors([contact(1, BEGAN_S, 3), contact(2, BEGAN_S + DAY_S, 5, 1000)])
    assert anchors.boots == {3, 5}
    assert anchors.host_s(3, 0) == BEGAN_S - 60
    assert anchors.host_s(5, 31_000) == BEGAN_S + DAY_S + 30
    assert anchors.host_s(4, 0) is None
    assert anchors.doubts == {}


def test_contacts_of_one_boot_that_contradict_each_other_date_nothing():
    set_right = [contact(1, BEGAN_S, 3), contact(2, BEGAN_S + 3600, 3, 61_000),
                 contact(3, BEGAN_S + DAY_S, 4)]
    anchors = Anchors(set_right)
    assert anchors.doubts == {1: "boot", 2: "boot"}
    assert anchors.boots == {4}
    # an hour of sleep of the board's clock would be the same; half a second is an answer's way
    near = Anchors([contact(1, BEGAN_S, 3), contact(2, BEGAN_S + 1.5, 3, 61_000)])
    assert near.doubts == {}


def test_a_clock_without_a_battery_is_not_believed():
    anchors = Anchors([contact(1, 0.0, 1), contact(2, 1_609_459_200.0, 2),
                       contact(3, EARLIEST_S - 1, 3), contact(4, BEGAN_S, 4)])
    assert anchors.doubts == dict.fromkeys((1, 2, 3), "early")
    assert anchors.boots == {4}


def test_a_clock_that_went_back_or_ahead_once_stands_out():
    for off_s in (-300 * DAY_S, 4000 * DAY_S):
        met = [contact(n, BEGAN_S + n * DAY_S + (off_s if n == 4 else 0), 2 * n)
               for n in range(1, 8)]
        assert Anchors(met).doubts == {4: "order"}, off_s
    # an hour before the one before it, and days after all the others: which of the two?
    met[3] = contact(4, met[2].host_s - 3600, 8)
    assert Anchors(met).doubts == {3: "order", 4: "order"}
    assert Anchors([contact(1, BEGAN_S, 1), contact(2, BEGAN_S - 30, 2, 1000)]).doubts == {}


def test_of_two_that_contradict_each_other_neither_is_believed():
    back = [contact(1, BEGAN_S, 1), contact(2, BEGAN_S - DAY_S, 2)]
    assert Anchors(back).doubts == {1: "order", 2: "order"}
    # the next ones tell
    assert Anchors([*back, contact(3, BEGAN_S + DAY_S, 3)]).doubts == {1: "order", 2: "order"}
    assert Anchors([*back, contact(3, BEGAN_S - DAY_S / 2, 3)]).doubts == {1: "order"}


def test_a_boot_begins_after_every_meeting_before_it():
    """On for two hours at a meeting an hour after the one before: one of the clocks lies."""
    met = [contact(1, BEGAN_S, 1), contact(2, BEGAN_S + 3600, 2, 7_200_000)]
    assert Anchors(met).doubts == {1: "order", 2: "order"}


def by_trying(begins):
    """The same by every set of boots, for few of them."""
    boots = list(begins)
    largest, sure = 0, set()
    for size in range(len(boots), 0, -1):
        for chosen in itertools.combinations(boots, size):
            if all((begins[a][:, 0] + begins[a][:, 1]).max()
                   <= begins[b][:, 1].max() + BACK_MS
                   for a, b in itertools.pairwise(chosen)):
                sure = set(chosen) if size > largest else sure & set(chosen)
                largest = size
        if largest:
            return [boot for boot in boots if boot not in sure]
    return boots


@pytest.mark.parametrize("seed", range(30))
def test_which_contacts_are_believed_by_trying_all(seed):
    drawn = random.Random(seed)
    begins = {}
    for boot in range(drawn.randrange(1, 8)):
        begin_ms = (BEGAN_S + boot * DAY_S + drawn.choice((0, 0, 0, -5, 5)) * DAY_S
                    * drawn.random()) * 1000
        begins[boot] = np.array([(t_ms, begin_ms) for t_ms in
                                 sorted(drawn.sample(range(1, 90_000), drawn.randrange(1, 3)))],
                                float)
    assert _out_of_order(begins) == by_trying(begins)


# ---- outings


def season(folder, off):
    """Six outings, of which the last minutes are cranked at the laptop; off: what its clock
    is wrong by at some of the pulls, in s."""
    shelf = Shelf(folder)
    for n in range(6):
        shelf.crank(pages=2)
        shelf.later(DAY_S)
        shelf.page()
        shelf.pull(host_s=shelf.now_s + off.get(n, 0.0))
    return shelf


@pytest.fixture(scope="module")
def right(tmp_path_factory):
    folder = tmp_path_factory.mktemp("right")
    season(folder, {})
    with Library(folder, readonly=True) as library:
        assert library.doubts() == []
        return library.outings()


@pytest.mark.parametrize("off_s", [-100 * DAY_S, 100 * DAY_S, -50 * 365 * DAY_S])
def test_a_wrong_clock_is_said_and_dates_nothing(tmp_path, right, off_s):
    season(tmp_path / "wrong", {3: off_s})
    with Library(tmp_path / "wrong", readonly=True) as library:
        wrong = library.outings()
        (said_s, why), = library.doubts()
    assert said_s == pytest.approx(right[3].until_s + off_s)
    assert why == ("early" if off_s < -1000 * DAY_S else "order")
    for n, (a, b) in enumerate(zip(right, wrong, strict=True)):
        assert b.begin_s is None  # cranked without a computer
        assert b.end_s == (None if n == 3 else a.end_s)
        # where a meeting is not believed, the next one that is bounds it
        assert b.after_s == (right[2].until_s if n == 4 else a.after_s)
        assert b.until_s == (right[4].until_s if n == 3 else a.until_s)


def test_what_a_later_meeting_shows_is_taken_back(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.crank()
    shelf.pull(host_s=shelf.now_s + 1000 * DAY_S)  # wrong, but nothing contradicts it yet
    assert shelf.outings()[0].end_s is not None
    for _ in range(2):
        shelf.later(DAY_S)
        shelf.meet("watch")
    row, = shelf.outings()
    assert (row.begin_s, row.end_s) == (None, None)
    assert row.until_s == pytest.approx(shelf.now_s - DAY_S)
    with Library(tmp_path) as library:
        library.rebuild()
        assert library.outings() == [row]


# ---- summer time


@pytest.mark.parametrize("change", [(2026, 3, 29, 1), (2026, 10, 25, 1)])
def test_two_meetings_about_a_change_of_summer_time_agree(tmp_path, berlin, change):
    """Before and after it, with the board on all the while: its clock and the host's go on."""
    shelf = Shelf(tmp_path, now_s=utc(*change) - 40)
    shelf.later(0)
    shelf.meet("watch")
    for _ in range(18):
        shelf.page()
    shelf.pull()
    row, = shelf.outings()
    assert row.begin_s == pytest.approx(utc(*change) - 40)
    assert row.end_s - row.begin_s == pytest.approx(18 * 4.6)
    with Library(tmp_path, readonly=True) as library:
        assert library.doubts() == []


def test_the_hour_that_comes_twice_is_shown_with_its_offset(berlin):
    first, again = utc(2026, 10, 25, 0, 30), utc(2026, 10, 25, 1, 30)
    assert moment(first) == "25 Oct 2026, 02:30 +02:00"
    assert moment(again) == "25 Oct 2026, 02:30 +01:00"
    assert moment(again + 1800) == "25 Oct 2026, 03:00"
    assert moment(first - 3600) == "25 Oct 2026, 01:30"
    assert moment(utc(2026, 3, 29, 0, 59)) == "29 Mar 2026, 01:59"
    assert moment(utc(2026, 3, 29, 1, 0)) == "29 Mar 2026, 03:00"  # no hour in between


# ---- in words


class Outing:
    def __init__(self, begin_s=None, end_s=None, after_s=None, until_s=None):
        self.begin_s, self.end_s, self.after_s, self.until_s = begin_s, end_s, after_s, until_s


def test_when_it_was_in_words(berlin):
    noon = utc(2026, 7, 1, 10)
    assert when(Outing(begin_s=noon, end_s=noon + 60)) == "01 Jul 2026, 12:00"
    assert when(Outing(end_s=noon, after_s=noon - DAY_S)) == "to 01 Jul 2026, 12:00"
    assert when(Outing(after_s=noon, until_s=noon + 3600)) == "01 Jul 2026" == day(noon)
    assert when(Outing(after_s=noon, until_s=noon + DAY_S)) == "undated, after 01 Jul 2026"
    # the same day in UTC, but not here
    late = utc(2026, 7, 1, 21, 30)
    assert when(Outing(after_s=late, until_s=late + 3600)) == "undated, after 01 Jul 2026"
    assert when(Outing(until_s=noon)) == "undated, by 01 Jul 2026"
    assert when(Outing()) == "undated"
