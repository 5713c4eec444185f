"""Text fits the screen, and numbers keep their units."""

from __future__ import annotations

import pytest
from steadyturn.cli.main import code
from steadyturn.report import style


def test_a_number_keeps_its_unit() -> None:
    for words in ("the bus stands at 11.3 V", "the handle asks for 1.05 N m", "it ripples by 10 %",
                  "keep to 50-90 turns/min"):
        for width in range(20, 30):
            for row in style.wrap(words, width=width).split("\n"):
                assert row.split(" ")[0] not in {"V", "N", "m", "%", "turns/min"}
            assert " ".join(style.wrap(words, width=width).split()) == words


@pytest.mark.parametrize(("columns", "expected"), [
    ("60", 60), ("40", 40), ("39", 80), ("132", 80), ("", 80), ("many", 80)])
def test_a_narrow_screen_is_respected(columns, expected, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    text = "word " * 60
    assert expected - 5 < max(map(len, style.wrap(text).split("\n"))) <= expected
    assert max(map(len, style.table([("a", text)]).split("\n"))) <= expected


def test_errors_fit_the_screen(monkeypatch, capsys) -> None:
    for columns, most in (("50", 50), ("", 80)):
        monkeypatch.setenv("COLUMNS", columns)
        for args in (["predict", "lakeside-hut", "--pace", "2000"],
                     ["predict", "lakeside-hut", "--pace", "ten thousand and a few more turns"],
                     ["review", "--library", "/nowhere/at/all"]):
            assert code(args) in (1, 2)
            said = capsys.readouterr().err
            assert max(map(len, said.splitlines())) <= most
            assert said.split(":")[0] in {"wrong", "failed"}


def test_the_command_that_comes_next_is_on_one_line(monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    told = style.item("measure motor.no_load_a, write it into my.toml, then steadyturn pace "
                      "my.toml --sure 95, or ask", "next: ", "")
    assert "\n      steadyturn pace my.toml --sure 95, or ask" in told
    told = style.wrap(f"next: have it ready; when all is ticked, steadyturn card {'my' * 30}.toml")
    assert told.split("\n")[-1].startswith("steadyturn card mymy")
