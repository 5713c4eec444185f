"""What a review shows when, in six lines and in whole: from a library as pulls and other
meetings with a laptop leave it."""

from __future__ import annotations

import json
import re
import shlex
import sys
from pathlib import Path

import numpy as np
import pytest
from steadyturn.cli.main import code
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.review import review
from steadyturn.report import review as brief
from steadyturn.report import review_more
from steadyturn.rig.examples import example_path
from steadyturn.sessions.library import Library
from steadyturn.settings.file import encode
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from model_outings import Maker, wander

UID = "e6614c311b7a5a2f"
RIG = example_path("lakeside-hut").read_text(encoding="utf-8")
DAY = 86_400.0
T0 = 1.79e9
CONNECTED = [(2, layout.EV_CONNECTED, 9000)]


class Shelf:
    """One board's library, filled as its life goes on."""

    def __init__(self, folder, name="lakeside-hut", uid=UID):
        self.uid = uid
        self.folder, self.maker, self.kept, self.day = folder, Maker(name), 0, 0

    def cranked(self, seconds=62.0, pace=None, seed=None, **more):
        seed = self.maker.boot if seed is None else seed
        paces = wander(seconds, pace or self.maker.target, seed=seed)
        self.maker.boot_of(paces, seed=seed, **{"events": CONNECTED, **more})
        return self

    def lay(self):
        """A boot in which nobody turns: the board hangs on a laptop."""
        self.maker.boot_of(np.zeros(5), connected=False, last=layout.FLAG_FLUSHED)
        return self

    def met(self, kind="pull", *, rig_text=None, finished=True, settings=None, most=None):
        """A meeting with a laptop a day later, in a boot of its own; a pull brings what is new
        (at most `most`)."""
        self.lay()
        self.day += 1
        raw = self.maker.raw[self.kept :]
        pages = [raw[at : at + layout.PAGE_BYTES] for at in range(0, len(raw), layout.PAGE_BYTES)]
        with Library(self.folder) as shelf:
            board = shelf.board(self.uid, 7, now_s=T0)
            contact = shelf.begin(
                board, kind=kind, host_s=T0 + self.day * DAY, boot=self.maker.boot,
                t_ms=900, firmware="0.1.0", seqs=(1, max(1, self.maker.seq - 1)),
                settings=encode(self.maker.settings) if settings is None else settings,
                rig_text=rig_text)
            if kind == "pull":
                shelf.add_pages(board, contact, pages[:most])
                self.kept += len(pages[:most]) * layout.PAGE_BYTES
            if finished:
                shelf.finish(contact)
        return self

    def review(self, **more):
        return review(self.folder, **more)


@pytest.fixture
def shelf(tmp_path):
    return Shelf(tmp_path)


def lines(got):
    said = brief.text(got)
    assert said.endswith("\n")
    found = said.splitlines()
    assert len(found) <= 6, said
    assert max(map(len, found)) <= 80 or str(got.library) in said, said
    assert "nan" not in said
    return {line[:11].strip(): line[11:] for line in found}


def numbers(value):
    """All numbers of a JSON tree."""
    if isinstance(value, dict):
        return [n for v in value.values() for n in numbers(v)]
    if isinstance(value, list):
        return [n for v in value for n in numbers(v)]
    return [float(value)] if isinstance(value, int | float) and not isinstance(value, bool) else []


# ---- which pages


def test_a_second_pull_hides_nothing(shelf):
    shelf.met("flash", rig_text=RIG).cranked().met()
    first = shelf.review()
    shelf.met().met()
    again = shelf.review()
    assert again.figures.energy_in_j == first.figures.energy_in_j > 0
    assert again.figures.turns == first.figures.turns
    assert again.latest_rested
    assert not again.latest_brought_none
    assert again.pulled_s == first.pulled_s
    assert "brought no turning" in lines(again)["More"]


def test_only_what_came_since_the_pull_before(shelf):
    shelf.met("flash", rig_text=RIG).cranked().met().cranked(40).met()
    got = shelf.review()
    assert [o.id for o in got.outings] == [2]
    assert got.figures.turning_s == pytest.approx(40)
    assert got.since_s == T0 + 2 * DAY
    assert shelf.review(outing=1).figures.turning_s == pytest.approx(62)
    assert shelf.review(everything=True).figures.turning_s == pytest.approx(102)


def test_outings_between_other_meetings_are_shown_together(shelf):
    shelf.met("flash", rig_text=RIG).cranked().met("watch").cranked(40).met()
    got = shelf.review()
    assert [o.id for o in got.outings] == [1, 2]
    assert got.figures.turning_s == pytest.approx(102)
    assert "2 outings" in brief.text(got)


def test_a_pull_that_was_broken_off_is_one_with_the_next(shelf):
    shelf.met("flash", rig_text=RIG).cranked().met(finished=False, most=6)
    assert shelf.review().unfinished
    assert "pull again" in lines(shelf.review())["More"]
    shelf.met()
    got = shelf.review()
    assert not got.unfinished
    assert got.figures.turning_s == pytest.approx(62)


def test_no_such_outing(shelf):
    shelf.met("flash").cranked().met()
    with pytest.raises(Failed) as caught:
        shelf.review(outing=9)
    assert "steadyturn sessions" in caught.value.how


# ---- the rig


def test_the_rig_that_flash_left(shelf):
    shelf.met("flash", rig_text=RIG).cranked().met()
    got = shelf.review()
    assert got.rig_source == "library"
    assert got.expected
    assert got.estimate("arm_work").value > 0
    assert "the arm gave" in lines(got)["Cost"]
    assert "as the model expects" in lines(got)["Machine"]


def test_without_a_rig_and_with_one_that_is_named(shelf, tmp_path):
    shelf.met("flash").cranked().met()
    got = shelf.review()
    assert (got.rig_source, got.expected, got.estimate("arm_work")) == ("", (), None)
    assert "--rig" in lines(got)["Machine"]
    assert "--rig RIG" in " ".join(review_more.text(got).split())
    path = example_path("lakeside-hut")
    named = shelf.review(rig=path)
    assert named.rig_source == str(path)
    assert named.expected
    assert "(lakeside-hut)" in review_more.text(named)
    bad = tmp_path / "bad.toml"
    bad.write_text("[motor]\nterminal_ohm = -1\n", encoding="utf-8")
    with pytest.raises(WrongInput):
        shelf.review(rig=bad)


def test_a_rig_that_cannot_be_read_any_more(shelf):
    shelf.met("flash", rig_text="[motor\n").cranked().met()
    got = shelf.review()
    assert got.rig_source == "unreadable"
    assert "cannot be read any more" in " ".join(review_more.text(got).split())


# ---- what it says


def test_against_its_own_history(shelf):
    shelf.met("flash", rig_text=RIG)
    for _ in range(4):
        shelf.cranked().met()
    assert "as in its last 3 outings" in lines(shelf.review())["Machine"]
    shelf.cranked(draw_a=0.3).met()
    got = shelf.review()
    assert "worse than usual" in lines(got)["Machine"]
    assert {p.name: p.verdict for p in got.history}["power_out"] == "worse"
    assert "worse than usual" in " ".join(review_more.text(got).split())


def test_one_finding_in_six_lines_three_in_whole(shelf):
    shelf.met("flash", rig_text=RIG)
    shelf.cranked(400, pace=0.8 * shelf.maker.low, connected=False, events=())
    draws = np.full(1500, 0.5)
    draws[-500:] = 0.03
    shelf.cranked(300, draw_a=draws)
    shelf.cranked(60, events=[*CONNECTED, (200, layout.EV_RELEASED, layout.WHY_OVER_VOLTAGE)])
    shelf.met()
    got = shelf.review()
    assert [f.code for f in got.findings] == ["too_many_volts", "band_too_high", "phone_idle"]
    change = lines(got)["Change"]
    assert "too many volts" in change
    assert "band" not in change
    whole = review_more.text(got)
    assert all(f"\n  {n}. " in whole for n in (1, 2, 3))
    assert "The model predicts" in " ".join(whole.split())


def test_one_unit_of_energy_on_a_screen(shelf):
    shelf.met("flash", rig_text=RIG).cranked(30).cranked(20).met()
    for text in (brief.text(shelf.review()), review_more.text(shelf.review())):
        assert set(re.findall(r"\bm?Wh\b", text)) == {"mWh"}
    shelf.cranked(300).met()
    for text in (brief.text(shelf.review()), review_more.text(shelf.review())):
        assert set(re.findall(r"\bm?Wh\b", text)) == {"Wh"}


@pytest.mark.parametrize("case", ["bare", "idle", "rest", "all", "no settings"])
def test_any_review_fits(shelf, case, monkeypatch):
    """Six lines of 80 columns, whatever is in it; in whole 80 columns too, and 44 if need be."""
    shelf.met("flash", rig_text=None if case == "bare" else RIG)
    if case == "rest":
        pass
    elif case == "idle":
        shelf.cranked(draw_a=0.0)
    else:
        shelf.cranked().cranked(20, connected=False, events=())
    shelf.met(settings=b"" if case == "no settings" else None)
    got = shelf.review(everything=case == "all")
    lines(got)
    whole = review_more.text(got)
    assert max(map(len, whole.splitlines())) <= 80
    assert "nan" not in whole
    monkeypatch.setenv("COLUMNS", "44")
    for text in (brief.text(got), review_more.text(got)):
        wide = [line for line in text.splitlines()
                if len(line) > 44 and str(got.library) not in line]
        assert not wide


def test_each_number_on_the_screens_is_in_json(shelf, capsys):
    """Every number that stands on either screen is one of the JSON's, in its unit or in the
    one that is shown, rounded."""
    shelf.met("flash", rig_text=RIG)
    for _ in range(4):
        shelf.cranked().met()
    shelf.cranked(draw_a=0.3).cranked(60, pace=40.0, connected=False, events=()).met()
    assert code(["review", "--library", str(shelf.folder), "--json"]) == 0
    known = np.array(sorted({abs(n) for n in numbers(json.loads(capsys.readouterr().out))}))
    assert code(["review", "--library", str(shelf.folder), "--more"]) == 0
    whole = capsys.readouterr().out
    assert code(["review", "--library", str(shelf.folder)]) == 0
    shown = whole + capsys.readouterr().out
    shown = shown.replace(str(shelf.folder), "").replace(UID, "")
    shown = re.sub(r"\d\d \w{3}( \d{4})?, \d\d:\d\d|SBOS\d+\w|INA\d+|95 %|0\.2 s|^\d\. ", "",
                   shown, flags=re.MULTILINE)
    shown = re.sub(r"(\d+) h (\d+) min", lambda m: str(60 * int(m[1]) + int(m[2])) + " min", shown)
    shown = re.sub(r"(\d+) min (\d+) s", lambda m: str(60 * int(m[1]) + int(m[2])) + " s", shown)
    found = re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.])", shown)
    assert len(found) > 80
    for text in found:
        value, unit = float(text), 10.0 ** -len(text.partition(".")[2])
        # three digits of a number above a thousand are rounded to tens
        near = max(0.5 * unit, 0.005 * value if value >= 1000 else 0.0) * 1.001
        good = any(np.abs(known * scale - value).min() <= near for scale in (1, 1000, 1 / 60))
        assert good, text


# ---- the command


def test_options(shelf, capsys):
    shelf.met("flash", rig_text=RIG).cranked().met().cranked(40).met()
    base = ["review", "--library", str(shelf.folder)]
    assert code([*base, "--outing", "1"]) == 0
    assert "outing 1" in capsys.readouterr().out
    assert code([*base, "--outing", "1", "--rig", "lakeside-hut", "--more"]) == 0
    assert "(lakeside-hut)" in capsys.readouterr().out
    assert code([*base, "--outing", "one"]) == 2
    assert "--outing" in capsys.readouterr().err
    assert code([*base, "--outing", "7"]) == 1
    assert "steadyturn sessions" in capsys.readouterr().err
    assert code([*base, "--rig", "no-such-rig"]) == 2
    assert "no-such-rig" in capsys.readouterr().err


def test_a_meeting_that_is_no_pull_shows_no_other_board(tmp_path):
    first, second = Shelf(tmp_path), Shelf(tmp_path, uid="e6614c311b7affff")
    first.met("flash", rig_text=RIG).cranked().met()
    second.day = 5
    second.met("flash", rig_text=RIG).cranked(40).met()
    assert second.review().board == second.uid
    for kind in ("watch", "flash", "pull"):  # the pull finds pages, but nobody turned
        first.met(kind)
        got = first.review()
        assert (got.board, got.other_boards) == (second.uid, (first.uid,)), kind
        assert got.figures.turning_s == pytest.approx(40)
    first.cranked(20).met()
    assert first.review().board == first.uid


def test_the_last_line_repeats_every_choice(shelf, monkeypatch):
    shelf.met("flash", rig_text=RIG).cranked().met()
    shelf.met("pull")
    base = lines(shelf.review())["More"]
    assert base.startswith("the last pull brought no turning: steadyturn review --more --library ")
    with Library(shelf.folder) as library:
        board = library.boards()[0]
        library.finish(library.begin(
            board, kind="pull", host_s=T0 + 9 * DAY, boot=shelf.maker.boot, t_ms=2000,
            firmware="0.1.0", seqs=None, settings=encode(shelf.maker.settings)))
    assert "brought nothing new" in brief.text(shelf.review())
    for chosen in (shelf.review(outing=1), shelf.review(everything=True)):
        assert "brought" not in brief.text(chosen)
        assert "brought nothing" not in review_more.text(chosen)
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(shelf.folder))
    got = shelf.review(board=UID[-4:], rig=example_path("lakeside-hut"), everything=True)
    assert lines(got)["More"] == ("steadyturn review --more --board 5a2f --rig lakeside-hut "
                                  "--all")
    label = shelf.maker.settings["label"]
    assert review(board=label).board == UID
    assert f"--board {shlex.quote(label)}" in brief.text(review(board=label))
    assert lines(shelf.review(outing=1))["More"] == "steadyturn review --more --outing 1"


def test_energy_that_went_in_for_nothing_is_lost_as_surely_as_it_went_in(shelf):
    shelf.met("flash", rig_text=RIG).cranked(connected=False, events=()).met()
    got = shelf.review()
    into, out, lost = map(got.estimate, ("energy_in", "energy_out", "losses"))
    assert out.value == 0
    assert lost.high - lost.low >= 0.99 * (into.high - into.low) > 0


def test_pulls_in_a_row_hide_no_outing(shelf):
    """What was hardly moved in between is no outing, and is told with the next."""
    shelf.met("flash", rig_text=RIG).cranked().met()
    for _ in range(2):
        shelf.cranked(1.0, events=()).met()
        got = shelf.review()
        assert [o.id for o in got.outings] == [1]
        assert got.latest_rested
    shelf.cranked(40).met()
    got = shelf.review()
    assert [o.id for o in got.outings] == [2]
    assert got.figures.turning_s == pytest.approx(42)
    assert got.figures.energy_in_j == pytest.approx(got.outings[0].energy_in_j)


def test_another_rig_than_the_flashed_one_is_said(shelf, tmp_path):
    shelf.met("flash", rig_text=RIG).cranked().met()
    assert shelf.review(rig=example_path("lakeside-hut")).other_rig is None
    got = shelf.review(rig=example_path("night-ferry"))
    assert f"held against {got.other_rig}, not the rig flashed" in lines(got)["Machine"]
    changed = tmp_path / "changed.toml"
    changed.write_text(RIG.replace("[motor]", "# warmer\n[motor]"), encoding="utf-8")
    assert shelf.review(rig=changed).other_rig is None  # a comment is no other machine
    changed.write_text(re.sub(r"(?m)^draw_a = .*$", "draw_a = 0.4", RIG), encoding="utf-8")
    assert "not as it was flashed" in lines(shelf.review(rig=changed))["Machine"]
