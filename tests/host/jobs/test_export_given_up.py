"""Exports of what is not simply pages of a dated boot: boots that a summary stands for, pages
that come back from a raw export, dates round the change to and from summer time."""

from __future__ import annotations

import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest
from steadyturn.jobs.export import export
from steadyturn.jobs.review import review
from steadyturn.sessions import columns
from steadyturn.sessions.decode import decode
from steadyturn.sessions.library import Library
from steadyturn_fw import pages as layout
from test_export import HOST_S, outing, read, shelve

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import Recorder
from test_summaries import thinned


@pytest.fixture
def given_up(tmp_path):
    """Five boots, all the pages a board wrote; of the first three it has summaries only, and of
    the third even these pages were pulled before it gave them up."""
    pages = outing(Recorder(), 5)
    each = len(pages) // 5
    summaries = thinned(pages[: 3 * each])
    assert len(summaries) == 3
    library = tmp_path / "library"
    shelve(library, [], host_s=HOST_S - 3600, boot=2, t_ms=40_000)
    shelve(library, pages[2 * each : 2 * each + 4])
    shelve(library, summaries + pages[3 * each :], host_s=HOST_S + 86_400, boot=5)
    return library, pages, summaries, each


def test_boots_that_only_a_summary_stands_for(given_up, tmp_path):
    library, pages, summaries, each = given_up
    export(tmp_path / "out", library)
    rows = {row["page"]: row for row in read(tmp_path / "out" / "pages.csv")}
    of_summaries = [row for row in rows.values() if row["summary"] == "1"]
    assert [row["boot"] for row in of_summaries] == ["1", "2", "3"]
    for n, row in enumerate(of_summaries):
        assert row["first_page"] == str(n * each + 1)
        assert row["page"] == str((n + 1) * each)
        assert (row["stands_for_pages"], row["first_boot"]) == (str(each), row["boot"])
        assert row["samples"] == "0"
        whole = decode(b"".join(pages[n * each : (n + 1) * each]))
        assert int(row["length_ms"]) == whole.pages["length_ms"].sum()
        assert int(row["peak_mv"]) == whole.pages["peak_mv"].max()
        for name, field in (("energy_in_uj", "energy_in_uj"), ("milliturns", "turns_m")):
            assert int(row[name]) == whole.pages[field][-1]
    # a contact dates boot 2, so its summary too, though none of its pages is there
    assert [row["time_utc"] for row in of_summaries] == ["", "2026-03-01T09:19:50.250",
                                                         "2026-03-01T10:19:30.250"]
    samples = read(tmp_path / "out" / "samples.csv")
    assert {row["boot"] for row in samples} == {"3", "4", "5"}
    assert sum(row["boot"] == "3" for row in samples) == 4 * layout.SAMPLES
    # its events are in whole seconds
    told = [row for row in read(tmp_path / "out" / "events.csv") if row["boot"] == "2"]
    assert [row["event"] for row in told] == [
        layout.EVENT_NAMES[e["code"]] for e in decode(summaries[1]).events]
    assert all(int(row["t_ms"]) % 1000 == 0 for row in told)


def test_totals_over_what_was_given_up_are_the_reviews(given_up, tmp_path):
    library, pages, _, _ = given_up
    export(tmp_path / "out", library)
    figures = review(library, everything=True).figures
    rows = sorted(read(tmp_path / "out" / "pages.csv"), key=lambda row: int(row["page"]))
    whole = decode(b"".join(pages))
    for name, field, right in (
        ("energy_in_uj", "energy_in_uj", figures.energy_in_j * 1e6),
        ("charge_uc", "charge_uc", figures.charge_mah * 3.6e6),
        ("milliturns", "turns_m", figures.turns * 1e3),
        ("on_samples", "on_samples", figures.on_s * 5),
    ):
        rises = [int(b[name]) - int(a[name]) for a, b in pairwise(rows)]
        assert min(rises) >= 0
        total = int(rows[0][name]) + sum(rises)
        assert total == whole.pages[field][-1] == pytest.approx(right, rel=1e-9)


@pytest.mark.parametrize("kind", ["pages", "folder"])
def test_raw_pages_make_the_same_library_again(given_up, tmp_path, kind):
    library = given_up[0]
    out = tmp_path / ("all.pages" if kind == "pages" else "raw")
    done = export(out, library, raw=True)
    raw = done.files[0].path.read_bytes()
    found = decode(raw)
    assert (found.damage, found.duplicates, found.conflicts) == ((), 0, 0)
    with Library(library, readonly=True) as shelf:
        board = shelf.boards()[0]
        contacts = shelf.contacts(board)
        assert raw == shelf.pages(board)
    size = layout.PAGE_BYTES
    again = tmp_path / "again"
    with Library(again) as shelf:
        board = shelf.board(board.unique_id, board.format_id, now_s=HOST_S)
        for contact in contacts:
            id = shelf.begin(board, kind="pull", host_s=contact.host_s, boot=contact.boot,
                             t_ms=contact.t_ms, firmware="0.1.0", seqs=(1, 99), settings=b"")
        shelf.add_pages(board, id, [raw[i : i + size] for i in range(0, len(raw), size)])
    for name, folder in (("one", library), ("two", again)):
        export(tmp_path / name, folder)
    for table in columns.TABLES:
        one, two = (tmp_path / name / f"{table}.csv" for name in ("one", "two"))
        assert one.read_bytes() == two.read_bytes()


# ---- summer time


@pytest.fixture
def berlin(monkeypatch):
    """Central Europe's rule: forward on 29 March 2026 at 01:00 UTC, back on 25 October."""
    if not hasattr(time, "tzset"):
        pytest.skip("needs a zone that can be set")
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


MARCH, OCTOBER = 1_774_746_000, 1_792_890_000  # seconds since 1970 of both changes


@pytest.fixture(scope="module")
def pulled_round(tmp_path_factory):
    """Libraries with one boot and one pull each half hour from an hour before a change of the
    clocks to an hour after."""
    made = {}
    for change_s in (MARCH, OCTOBER):
        made[change_s] = library = tmp_path_factory.mktemp("round") / "library"
        recorder = Recorder()
        for n in range(5):
            host_s = change_s + 1800 * (n - 2)
            shelve(library, outing(recorder, 1), host_s=host_s, boot=n + 1, t_ms=0)
    return made


def boots_since(library, out, since):
    export(out, library, since=since)
    return {row["boot"] for row in read(out / "events.csv")}


@pytest.mark.parametrize(("since", "boots"), [
    # in spring 02:00 to 03:00 is no time of that day; it is taken as the winter's
    ("2026-03-29T01:30", "2345"), ("2026-03-29T01:59", "345"), ("2026-03-29T03:00", "345"),
    ("2026-03-29T02:30", "45"), ("2026-03-29T03:30", "45"), ("2026-03-29T04:00", "5"),
    ("2026-03-29T01:00Z", "345"),
])
def test_since_over_the_change_to_summer_time(berlin, pulled_round, tmp_path, since, boots):
    assert boots_since(pulled_round[MARCH], tmp_path / "out", since) == set(boots)


@pytest.mark.parametrize(("since", "boots"), [
    # in autumn 02:00 to 03:00 comes twice; the first is taken, so that nothing is left out
    ("2026-10-25T02:00", "12345"), ("2026-10-25T02:30", "2345"), ("2026-10-25T03:00", "5"),
    ("2026-10-25T02:30+02:00", "2345"), ("2026-10-25T02:30+01:00", "45"),
    ("2026-10-25T01:30Z", "45"),
])
def test_since_over_the_change_back(berlin, pulled_round, tmp_path, since, boots):
    assert boots_since(pulled_round[OCTOBER], tmp_path / "out", since) == set(boots)


def test_times_in_utc_run_on_over_the_change(berlin, tmp_path):
    recorder = Recorder()
    shelve(tmp_path / "library", [recorder.page() for _ in range(30)], host_s=OCTOBER, boot=1,
           t_ms=60_000)
    export(tmp_path / "out", tmp_path / "library")
    rows = read(tmp_path / "out" / "samples.csv")
    assert rows[0]["time_utc"] == "2026-10-25T00:59:00.000"
    assert rows[300]["time_utc"] == "2026-10-25T01:00:00.000"
    assert rows[-1]["time_utc"] == "2026-10-25T01:01:17.800"
