"""steadyturn sessions: the list, its filters and totals, notes, and decoding again."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from shelves import BEGAN_S, DAY_S, Shelf, settings_text
from steadyturn.cli.main import code
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.review import review
from steadyturn.jobs.sessions import sessions
from steadyturn.report.sessions import text
from steadyturn.sessions import refresh as refreshing
from steadyturn.sessions.library import Library
from steadyturn_fw import pages as layout

OVER = [(layout.EV_FAULT, 50, layout.FAULT_OVER_VOLTAGE)]


@pytest.fixture(autouse=True)
def _one_zone(monkeypatch):
    monkeypatch.setenv("TZ", "UTC0")
    if hasattr(time, "tzset"):
        time.tzset()
    yield
    monkeypatch.undo()
    if hasattr(time, "tzset"):
        time.tzset()


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    """Two machines: the hut's is met every few days, the tent's is watched while cranked."""
    folder = tmp_path_factory.mktemp("sessions")
    hut = Shelf(folder)
    for n in range(4):
        hut.crank(pages=6 + 3 * n, boots=2)
        if n == 1:
            hut.page(events=OVER)
        hut.later(10 * DAY_S)
        hut.rest()
        hut.pull()
    tent = Shelf(folder, uid="e6614c311b7affff", format_id=9, now_s=BEGAN_S + 60 * DAY_S,
                 settings=settings_text(rig="Radio tent", label="", percent_mj=0))
    tent.meet("watch")
    for _ in range(8):
        tent.page(in_band=False)
    tent.pull()
    return folder


def numbers(folder, **asked):
    return [o.number for o in sessions(folder, **asked).outings]


def test_all_of_them(two):
    found = sessions(two)
    assert [o.number for o in found.outings] == [1, 2, 3, 4, 5]
    assert (found.of, found.totals.outings) == (5, 5)
    with Library(two, readonly=True) as library:
        for o, row in zip(found.outings, library.outings(), strict=True):
            assert o.energy_out_wh * 3600 == pytest.approx(row.energy_out_j)
            assert o.band_share == pytest.approx(row.band_s / row.turning_s)
            assert (o.turning_s, o.percent, o.faults) == (row.turning_s, row.percent, row.faults)
    assert found.totals.energy_out_wh == sum(o.energy_out_wh for o in found.outings)
    assert found.totals.percent is None  # the tent's phone is not known
    assert found.rigs == ("Hut", "Radio tent")


def test_filters(two):
    assert numbers(two, board="7a5a2f") == numbers(two, board="Blue") == [1, 2, 3, 4]
    assert numbers(two, board="FFFF") == numbers(two, rig="tent") == [5]
    assert numbers(two, rig="no such rig") == []
    assert numbers(two, faults=True) == [2]
    assert numbers(two, best=2) == [4, 3]
    assert numbers(two, best=9, rig="hut") == [4, 3, 2, 1]
    # the third ended with the pull of the fortieth day or so, the tent's is dated itself
    assert numbers(two, since="2026-03-25") == [3, 4, 5]
    assert numbers(two, since="2026-04-30T10:20") == [5]
    assert numbers(two, since="2027-01-01") == []


@pytest.mark.parametrize(("asked", "where"), [
    ({"board": "77"}, "--board"), ({"board": "f"}, "--board"), ({"since": "soon"}, "--since"),
    ({"best": 0}, "--best"), ({"note": (9, "x")}, "--note"),
])
def test_wrong_input(two, asked, where):
    if asked == {"board": "f"}:  # both ids end so
        asked = {"board": ""}
    with pytest.raises(WrongInput) as caught:
        sessions(two, **asked)
    assert caught.value.problems[0].where == where


def test_no_library(tmp_path):
    for asked in ({}, {"rebuild": True}, {"note": (1, "x")}):
        with pytest.raises(Failed, match="no library"):
            sessions(tmp_path / "none", **asked)
    assert not (tmp_path / "none").exists()


def test_totals_by_rig_and_by_time(two):
    by_rig = sessions(two, per="rig").groups
    assert [(g.name, g.outings) for g in by_rig] == [("Hut", 4), ("Radio tent", 1)]
    every = sessions(two)
    assert sum(g.energy_out_wh for g in by_rig) == pytest.approx(every.totals.energy_out_wh)
    assert sum(g.turning_s for g in by_rig) == pytest.approx(every.totals.turning_s)
    # between two meetings ten days apart, some lie in one month for certain and some do not
    by_month = sessions(two, per="month").groups
    assert [(g.name, g.outings) for g in by_month] == [
        ("2026-03-01", 2), ("2026-04-01", 1), ("", 2)]
    assert [g.name for g in sessions(two, per="year").groups] == ["2026-01-01", ""]
    assert [g.name for g in sessions(two, per="week").groups] == ["2026-04-27", ""]
    assert [g.name for g in sessions(two, per="day").groups] == ["2026-04-30", ""]
    assert [g.outings for g in sessions(two, per="board").groups] == [4, 1]


def test_a_clock_that_is_behind_now_is_said(two, monkeypatch):
    monkeypatch.setattr(time, "time", lambda: BEGAN_S + 61 * DAY_S)
    assert sessions(two).clock_behind_s is None
    monkeypatch.setattr(time, "time", lambda: BEGAN_S)
    found = sessions(two)
    assert found.clock_behind_s == pytest.approx(60 * DAY_S, rel=0.01)
    assert "This computer's clock is 60 days behind" in text(found)


# ---- notes


@pytest.fixture
def one(tmp_path):
    shelf = Shelf(tmp_path)
    for _ in range(2):
        shelf.crank()
        shelf.pull()
    return tmp_path


def test_notes_stay_with_their_outing(one):
    assert [o.note for o in sessions(one, note=(2, "first evening")).outings] == ["first evening"]
    sessions(one, note=(1, " new \n gears ☕ "))
    assert [o.note for o in sessions(one).outings] == ["new gears ☕", "first evening"]
    sessions(one, rebuild=True)
    sessions(one, note=(2, "second evening"))
    assert [o.note for o in sessions(one).outings] == ["new gears ☕", "second evening"]
    sessions(one, note=(1, ""))
    assert [o.note for o in sessions(one).outings] == ["", "second evening"]


@pytest.mark.parametrize("bad", [
    "a\x1b[31mred", "a\x00b", "\x07", "\x9b31m", "turned \u202e round", "half \ud83d", "x" * 501,
])
def test_a_note_that_no_screen_can_show_is_refused(one, bad):
    with pytest.raises(WrongInput) as caught:
        sessions(one, note=(1, bad))
    assert caught.value.problems[0].where == "--note"
    assert str(caught.value).isascii()
    assert [o.note for o in sessions(one).outings] == ["", ""]


def test_a_note_that_another_program_wrote_is_shown_harmlessly(one):
    evil = "a\x1b]0;title\x07\u202eb\r\nc <script>"
    with Library(one) as library:
        library.note(library.outing(1), evil, now_s=1.0)
    shown = text(sessions(one))
    assert "a?]0;title??b c <script>" in shown
    assert all(c.isprintable() or c == "\n" for c in shown)


# ---- decoding again


def test_rebuild_makes_the_same_again(one):
    before = sessions(one)
    told = []
    again = sessions(one, rebuild=True, progress=lambda done, total: told.append((done, total)))
    assert again.outings == before.outings
    assert (again.rebuilt_pages, told[-1]) == (10, (10, 10))


def test_rebuild_puts_right_what_was_decoded_wrongly(one):
    before = sessions(one)
    with Library(one) as library:
        library._db.execute("UPDATE outing SET energy_out_j = 1, percent = 1, first_seq = 2 "
                            "WHERE id = 1")
        library._db.execute("DELETE FROM outing WHERE id = 2")
    assert sessions(one).outings != before.outings
    after = sessions(one, rebuild=True).outings
    assert [o.number for o in after] == [1, 3]  # a number that was lost is not given again
    assert after[0] == before.outings[0]


def test_a_rebuild_that_is_broken_off_loses_nothing(one, monkeypatch):
    """After each run, and each time gone on with by whoever reads next."""
    shelf = Shelf(one)
    shelf.recorder.seq, shelf.recorder.boot = 11, 50
    for _ in range(8):
        shelf.crank(pages=4)
        shelf.pull()
    monkeypatch.setattr(refreshing, "RUN", 6)
    before = sessions(one)
    assert len(before.outings) == 10
    for stop in range(1, 8):
        runs = []

        def broken(done, total, stop=stop, runs=runs):
            runs.append(done)
            if len(runs) == stop:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            sessions(one, rebuild=True, progress=broken)
        with Library(one) as library:  # as it stands now: some decoded again, some still old
            assert len(library._store.rows("n", "SELECT id FROM outing")) == 10
        assert sessions(one).outings == before.outings
        assert runs == sorted(runs)


# ---- the screen


def test_the_screen(two, capsys):
    assert code(["sessions", "--library", str(two)]) == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 80
    lines = shown.splitlines()
    assert "undated, by 11 Mar 2026" in lines[2]
    assert "undated, after 11 Mar 2026" in lines[3]
    assert "30 Apr 2026" in lines[6]
    assert "Radio tent" in lines[6]
    assert "5 outings: " in shown
    for asked in (["--per", "rig"], ["--per", "week"], ["--faults"], ["--best", "1"]):
        assert code(["sessions", "--library", str(two), *asked]) == 0
        shown = capsys.readouterr().out
        assert max(map(len, shown.splitlines())) <= 80
    assert code(["sessions", "--library", str(two), "--rig", "nobody"]) == 0
    assert "None of the 5 outings fits. Rigs: Hut, Radio tent." in capsys.readouterr().out


def test_a_narrow_terminal(two, monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "44")
    assert code(["sessions", "--library", str(two)]) == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 44
    assert "Wh" in shown


def test_json_and_codes(two, one, capsys):
    assert code(["sessions", "--library", str(two), "--json", "--per", "rig"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["outings"]) == 5
    assert found["outings"][4]["begin_s"] == pytest.approx(BEGAN_S + 60 * DAY_S)
    assert [g["name"] for g in found["groups"]] == ["Hut", "Radio tent"]
    assert code(["sessions", "--library", str(one), "--note", "1", "squeaks"]) == 0
    assert "Outing 1 has your note." in capsys.readouterr().out
    assert code(["sessions", "--library", str(one), "--rebuild"]) == 0
    assert "10 pages decoded again." in capsys.readouterr().out
    for asked in (["--note", "one", "x"], ["--best", "few"], ["--per", "moon"], ["--note", "1"]):
        assert code(["sessions", "--library", str(two), *asked]) == 2
        assert capsys.readouterr().err


def test_an_empty_library(tmp_path, capsys):
    with Library(tmp_path):
        pass
    assert code(["sessions", "--library", str(tmp_path)]) == 0
    assert "No outing is in the library" in capsys.readouterr().out


def test_boards_of_one_rig_are_told_apart(tmp_path):
    for n, (uid, label) in enumerate((("aaaa0001", "blue"), ("aaaa0002", "blue"),
                                      ("aaaa0003", ""), ("aaaa0004", "red"))):
        shelf = Shelf(tmp_path, uid=uid, format_id=n, now_s=BEGAN_S + n * DAY_S,
                      settings=settings_text(label=label))
        shelf.crank(pages=2)
        shelf.pull()
    said = text(sessions(tmp_path))
    lines = said.splitlines()
    assert lines[0].split()[-1] == "board"  # its rig is one: no column of that name
    assert [line.split("-")[-1].strip() for line in lines[2:6]] == [
        "0001 blue", "0002 blue", "0003", "red"]
    assert numbers(tmp_path, board="red") == [4]
    assert numbers(tmp_path, board="0002") == [2]
    with pytest.raises(WrongInput, match="fits several boards"):
        sessions(tmp_path, board="blue")
    assert "mWh" in lines[0]  # as the review of so little says it
    assert review(tmp_path, outing=1).figures.energy_out_wh < 0.1


def test_totals_of_the_best_say_so(two):
    assert "Only the 2 outings with the most energy out count." in text(
        sessions(two, per="rig", best=2))
    assert "Only" not in text(sessions(two, per="rig"))
