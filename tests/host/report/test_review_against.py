"""`review --against`: what stands side by side, on 80 columns and on fewer, and as JSON."""

import json
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace as Some

import pytest
from steadyturn.cli.main import code
from steadyturn.jobs.review import review
from steadyturn.report.review_against import _row, headline, rows, text
from steadyturn.report.review_words import energy_of
from steadyturn.sessions.against import compare

sys.path.insert(0, str(Path(__file__).parent))
import outing_maker
from test_review import settings_text, shelve


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    folder = tmp_path_factory.mktemp("library")
    outing_maker.history(shelve, folder, 4)
    return folder


def test_each_side_is_its_own_review(library):
    got = review(library, against="2")
    other = review(library, outing=2)
    assert (got.against.outing.id, got.against.these) == (2, (4,))
    assert got.against.same_board
    assert got.against.same_constants
    by_name = {c.name: c for c in got.against.figures}
    for name in ("energy_in", "energy_out", "charge", "percent", "turns", "turning"):
        mine, its = got.estimate(name), other.estimate(name)
        c = by_name[name]
        assert (c.value, c.low, c.high) == (mine.value, mine.low, mine.high)
        assert (c.other, c.other_low, c.other_high) == (its.value, its.low, its.high)
        assert c.difference == c.value - c.other
        assert c.verdict == ("more" if c.value > c.other else "less")
    f, g = got.figures, other.figures
    assert by_name["power_out"].value == pytest.approx(f.energy_out_j / f.connected_s)
    assert by_name["out_per_turn"].other == pytest.approx(g.energy_out_j / g.turns)
    assert by_name["loaded_volts"].value == pytest.approx(
        f.energy_in_wh * 1000 / f.charge_mah)
    assert by_name["connections"].other == g.connections


def test_the_screen(library, monkeypatch, capsys):
    assert code(["review", "--library", str(library), "--against", "previous"]) == 0
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= 80
    assert said.startswith("Outing 4 against outing 3 (")
    assert "difference" in said
    assert "+-" in said
    line = next(line for line in said.splitlines() if "to the phone, Wh" in line)
    cells = line.split()
    assert cells[-1] in {"more", "less"}
    this, other, difference = map(float, cells[-5:-2])
    assert this - other == pytest.approx(difference, abs=0.0011)
    monkeypatch.setenv("COLUMNS", "46")
    narrow = text(review(library, against="3"))
    assert max(map(len, narrow.splitlines())) <= 46
    assert "difference" in narrow


def test_json(library, capsys):
    assert code(["review", "--library", str(library), "--against", "1", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)["against"]
    assert got["outing"]["id"] == 1
    first = got["figures"][0]
    assert {"name", "unit", "value", "other", "difference", "difference_low",
            "verdict"} <= first.keys()


@pytest.mark.parametrize(("wanted", "status", "says"), [
    ("next", 2, "previous"), ("", 2, "the number of an outing"), ("-1", 2, "--against"),
    ("99", 1, "no outing 99"), ("9" * 40, 2, "--against"), ("\u0663", 2, "--against"),
])
def test_what_cannot_be_meant(library, wanted, status, says, capsys):
    assert code(["review", "--library", str(library), f"--against={wanted}"]) == status
    assert says in capsys.readouterr().err


def test_the_first_outing_has_none_before(library, capsys):
    assert code(["review", "--library", str(library), "--outing", "1", "--against",
                 "previous"]) == 1
    assert "no earlier outing" in capsys.readouterr().err


def test_another_board_and_other_constants(tmp_path):
    outing_maker.history(shelve, tmp_path, 1, settings=settings_text(label="attic\x1b[2J"))
    outing_maker.history(shelve, tmp_path, 1, uid="feedfeedfeedfeed")
    outing_maker.history(shelve, tmp_path, 2, uid="feedfeed00000000",
                         settings=settings_text(emf_uv_per_tpm=120_000))
    got = review(tmp_path, board="feedfeedfeedfeed", against="1")
    assert not got.against.same_board
    assert "two boards" in text(got)
    assert "attic" in text(got)
    assert "\x1b" not in text(got)
    shelve(tmp_path, [], uid="feedfeed00000000", host_s=2e9)
    with_other = review(tmp_path, board="feedfeed00000000", against="previous")
    assert with_other.against.same_board


def test_in_words(library):
    got = review(library, against="previous")
    assert headline(got).endswith("than in outing 3.")
    told = {row.name: row for row in rows(got)}
    assert told["faults"].verdict == "same"
    assert told["faults"].this == "0"
    assert told["board on, min:s"].difference.startswith(("+", "-", "0"))
    alike = replace(got.against, figures=compare(got.estimates, got.estimates, same_sensor=True))
    itself = replace(got, against=alike)
    assert {row.verdict for row in rows(itself)} == {"same"}
    assert "within the uncertainty" in headline(itself)


@pytest.mark.parametrize(("asked", "says"), [
    (["--against", "4"], "4 is in this review"), (["--outing", "2", "--against", "2"], "previous"),
    (["--all", "--outing", "2"], "either all of it or one"),
    (["--more", "--against", "1"], "--against sets all figures side by side"),
    (["--board", "feed", "--outing", "1"], "is no board of this library"),
])
def test_choices_that_do_not_go_together(library, asked, says, capsys):
    assert code(["review", "--library", str(library), *asked]) == 2
    assert says in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(("value", "other", "unit", "verdict", "want"), [
    (41.4, 43.6, "s", "less", ("0:41", "0:44", "-0:03", "less")),
    (41.4, 41.3, "s", "more", ("0:41", "0:41", "0:00", "same")),
    (2.704, 2.7, "", "unsure", ("2.70", "2.70", "0", "same")),
    (2.74, 2.66, "", "less", ("2.74", "2.66", "+0.08", "less")),
    (2.70001, 2.7, "", "more", ("2.7000", "2.7000", "0", "same")),
])
def test_a_difference_is_that_of_what_is_shown(value, other, unit, verdict, want):
    c = Some(name="turning" if unit else "charge", unit=unit, value=value, low=value - 0.3,
             high=value + 0.3, other=other, difference=value - other,
             difference_low=value - other - 0.3, difference_high=value - other + 0.3,
             verdict=verdict, kind="measured")
    row = _row(c, energy_of(1.0))
    assert (row.this, row.other, row.difference, row.verdict) == want
    assert row.sure == (want[3] in ("more", "less"))
