"""The bar of a pull: how much, how fast, how long still; plain where there is no terminal."""

from __future__ import annotations

import io

import pytest
from steadyturn.report import pull_progress
from steadyturn.report.pull_progress import Progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def clock(monkeypatch):
    now = [100.0]
    monkeypatch.setattr(pull_progress.time, "monotonic", lambda: now[0])
    return now


def run(out, clock, *, pages=2000, per_s=400.0, quiet=False):
    progress = Progress(quiet, out)
    for done in range(1, pages + 1):
        clock[0] += 1 / per_s
        progress(done, pages, done)
    progress.end()
    return out.getvalue()


def test_a_bar_with_rate_and_time_left(clock, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    drawn = run(Terminal(), clock).split("\r")
    assert max(map(len, drawn)) < 80
    assert len(drawn) < 60  # ten a second, not one a page
    half = next(line for line in drawn if " 1,0" in line)
    assert "88 kB/s" in half  # 400 pages of 220 bytes
    assert "2.4 s left" in half or "2.5 s left" in half
    assert "2,000 of 2,000 pages" in drawn[-3]
    assert drawn[-1] == ""
    assert drawn[-2].strip() == ""
    assert "\x1b" not in "".join(drawn)


def test_the_rate_is_that_of_the_last_seconds(clock, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    out = Terminal()
    progress = Progress(out=out)
    for done in range(1, 2001):
        clock[0] += 0.002 if done < 1000 else 0.02
        progress(done, 4000, done)
    last = out.getvalue().split("\r")[-1]
    assert "11 kB/s" in last
    assert "40 s left" in last


def test_a_narrow_window(clock, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    assert max(map(len, run(Terminal(), clock).split("\r"))) < 40


def test_no_terminal_gets_one_line_and_json_none(clock):
    assert run(io.StringIO(), clock) == "pulling 2,000 pages ...\n"
    assert run(Terminal(), clock, quiet=True) == ""
    assert run(io.StringIO(), clock, quiet=True) == ""


def test_waiting_is_said(clock):
    out = Terminal()
    progress = Progress(out=out)
    progress.waits()
    progress(1, 9, 1)
    progress.end()
    assert out.getvalue().split("\r")[1] == "waiting for the board's answer ..."
    assert "\n" not in out.getvalue()
    out = io.StringIO()
    Progress(out=out).waits()
    assert out.getvalue() == "waiting for the board's answer ...\n"
    Progress(quiet=True, out=out).waits()
    assert out.getvalue().count("waiting") == 1


def test_nothing_new_says_nothing(clock):
    out = io.StringIO()
    progress = Progress(out=out)
    progress(0, 0, 0)
    progress.end()
    assert out.getvalue() == ""
