"""Watching a board: the figures, silence and unplugging on the way."""

from __future__ import annotations

import itertools
import json
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from fake_board import FakeBoard, MemoryStream
from steadyturn.board import finding
from steadyturn.errors import Failed
from steadyturn.jobs import watch as job
from steadyturn.jobs import watch_line
from steadyturn.report import watch as report
from steadyturn.report.terminal import plain
from steadyturn.report.watch_screen import Screen
from steadyturn_fw import pages


def settings_file(line: str) -> bytes:
    return b'{"crc": "00000000", "settings":\n%s\n}\n' % line.encode()


SETTINGS = settings_file(json.dumps({"low_dtpm": 400, "target_dtpm": 500, "high_dtpm": 600,
                                     "percent_mj": 720_000}))


def board_in_hold() -> FakeBoard:
    board = FakeBoard()
    board.settings = SETTINGS
    board.state.update(
        t_ms=61_000, boot=7, bus_mv=4920, bus_ma=830, pace_dtpm=523, cue=pages.HOLD, connected=1,
        settings_ok=1, supply_mv=4900, energy_in_uj=7_200_000_000, energy_out_uj=3_600_000_000,
        turns_m=12_000, on_samples=1000, band_samples=700, settings_crc=5)
    return board


class Direct:
    """A board without a port; `streams` holds what was opened."""

    def __init__(self, board: FakeBoard) -> None:
        self.board, self.streams = board, []

    def stream(self):
        self.streams.append(MemoryStream(self.board))
        return self.streams[-1]

    def files(self):
        raise AssertionError("a watch must not stop the board's program")


def screen(glance, columns=80, rows=24, unicode=False):
    return "\n".join(map(plain, Screen(unicode).lines(glance, columns, rows)))


@pytest.fixture
def quick(monkeypatch):
    """A board that has gone is tried again at once."""
    monkeypatch.setattr(job, "AGAIN_S", 0.02)
    monkeypatch.setattr(job, "GONE_HZ", 50.0)


def looks(board: FakeBoard, count: int, change=lambda n: None, **more):
    found, direct = [], Direct(board)
    for n, glance in enumerate(job.watch(direct, rate_hz=200, **more)):
        found.append(glance)
        if len(found) == count:
            return found
        change(n)
    return found


def test_figures_of_one_look():
    look = looks(board_in_hold(), 1)[0]
    assert (look.cue, look.pace_validity) == ("hold", "valid")
    assert (look.why, look.fault) == ("none", "none")
    assert (look.low_tpm, look.target_tpm, look.high_tpm) == pytest.approx((40, 50, 60))
    assert (look.pace_tpm, look.bus_v, look.bus_a) == pytest.approx((52.3, 4.92, 0.83))
    assert look.bus_w == pytest.approx(4.92 * 0.83)
    assert (look.energy_in_wh, look.energy_out_wh) == pytest.approx((2.0, 1.0))
    assert look.since_band_share is None


def test_totals_since_the_first_look():
    board = board_in_hold()

    def more(_):
        board.state["energy_out_uj"] += 1_440_000_000
        board.state["turns_m"] += 500
        board.state["on_samples"] += 100
        board.state["band_samples"] += 25

    last = looks(board, 3, more)[-1]
    # 2 * 1.44 kJ of 720 J a percent
    assert last.since_percent == pytest.approx(4.0)
    assert last.since_turns == pytest.approx(1.0)
    assert last.since_band_share == pytest.approx(0.25)
    assert last.since_out_wh == pytest.approx(0.8)


def test_new_settings_in_force_are_noticed():
    board = board_in_hold()

    def change(_):
        board.settings = settings_file(json.dumps({"low_dtpm": 450}))
        board.state["settings_crc"] = 6

    first, second = looks(board, 2, change)
    assert (first.low_tpm, second.low_tpm, second.high_tpm) == (40, 45, None)


@pytest.mark.parametrize("line", [
    "", "{", "[1]", '{"low_dtpm": "x", "percent_mj": true}', None, "[" * 9000,
    '{"low_dtpm": 1%s, "target_dtpm": -5, "high_dtpm": 4, "percent_mj": 0}' % ("0" * 400)])
def test_a_board_without_usable_settings_is_watched_all_the_same(line):
    board = board_in_hold()
    board.settings = b"" if line is None else settings_file(line)
    look = looks(board, 1)[0]
    assert look.low_tpm is None
    assert look.since_percent is None
    assert "no band in force" in screen(look)


def test_unplugged_it_says_so_tries_again_and_goes_on(quick):
    direct = Direct(board_in_hold())
    found = []
    for n, glance in enumerate(job.watch(direct, rate_hz=200)):
        found.append(glance)
        if n == 1:
            direct.streams[-1].unplugged = True
        if glance.answering and n > 1:
            break
    assert [g.answering for g in found[:3]] == [True, True, False]
    assert "unplugged" in found[2].problem
    assert 0 <= found[2].gone_s < 1
    assert "reconnecting, for 0 s now" in screen(found[2])
    assert "unplugged" in screen(found[2], 40, 12)
    assert screen(found[2], 40, 1).strip() == "reconnecting, for 0 s now"
    assert found[-1].event == "connected again after 0 s"
    assert "connected again" in screen(found[-1])


@pytest.mark.parametrize(("who", "says"), [
    (lambda w: w[:21] + b"otherone" + w[29:], "another board (6f6e65) answers in its place"),
    (lambda w: w[:2] + b"new!" + w[6:], "its journal was made anew")])
def test_another_board_counts_from_zero(quick, who, says):
    direct = Direct(board_in_hold())
    new = who(direct.board.who())
    found = []
    for n, glance in enumerate(job.watch(direct, rate_hz=200)):
        found.append(glance)
        if n == 0:
            direct.streams[-1].unplugged = True
            direct.board.who = lambda: new
            direct.board.state["energy_out_uj"] *= 2
        if glance.answering and n:
            break
    assert found[-1].since_out_wh == 0
    assert says in found[-1].event
    assert "counted from zero" in found[-1].event
    assert says[:13] in report.event_line(found[-1])


def test_a_silent_board_is_said_within_a_second_and_the_screen_goes_on(quick, monkeypatch):
    monkeypatch.setattr(job, "SILENT_S", 0.1)
    monkeypatch.setattr(job, "HASTE_S", 0.02)
    board = board_in_hold()
    answer = board.answer
    said = []
    watch = job.watch(Direct(board), rate_hz=200)
    assert next(watch).answering
    board.answer = lambda line: b""  # hangs: an answer is waited for, three times a second
    start = time.monotonic()
    for glance in itertools.islice(watch, 4):
        said.append(glance)
    assert time.monotonic() - start < 1.5
    assert not any(glance.answering for glance in said)
    assert said[-1].problem == "The board does not answer."
    assert said[-1].gone_s > said[0].gone_s > 0.05
    board.answer = answer
    assert next(glance for glance in watch if glance.answering).event in (
        "", "connected again after 1 s", "connected again after 0 s")
    watch.close()


def test_no_board_at_the_start_is_a_failure(monkeypatch):
    monkeypatch.setattr(watch_line, "FIRST_S", 0.1)
    board = FakeBoard()
    board.answer = lambda line: b""
    with pytest.raises(Failed, match="does not answer"):
        looks(board, 1)
    monkeypatch.setattr(watch_line, "FIRST_S", 8.0)
    monkeypatch.setattr(job, "SOON_S", 0.1)
    start = time.monotonic()
    with pytest.raises(Failed, match=r"waited for 0\.3 s"):
        looks(board, 1000, seconds=0.3)
    assert time.monotonic() - start < 2.0
    with pytest.raises(Failed, match="no such port"):
        next(job.watch("/dev/ttyNONE7"))


def test_it_ends_by_itself():
    start = time.monotonic()
    assert len(looks(board_in_hold(), 1000, seconds=0.1)) > 2
    assert time.monotonic() - start < 1


def test_the_rate_is_kept():
    start = time.monotonic()
    for _ in itertools.islice(job.watch(Direct(board_in_hold()), rate_hz=20), 6):
        pass
    assert 0.2 < time.monotonic() - start < 0.6


class Flood(MemoryStream):
    """Never stops sending; every second piece looks like the start of a frame."""

    def read(self, max_bytes: int, timeout_s: float) -> bytes:
        return (b"\xa5S\xe8" + b"\x1b[2J\x07x" * 600)[:max_bytes]


def test_a_board_that_never_stops_sending_holds_nothing_up(monkeypatch):
    monkeypatch.setattr(watch_line, "FIRST_S", 0.1)
    direct = Direct(board_in_hold())
    direct.stream = lambda: Flood(direct.board)
    start = time.monotonic()
    with pytest.raises(Failed) as failed:
        for _ in job.watch(direct):
            pass
    assert time.monotonic() - start < 5.0
    assert failed.value.what.isprintable()


def test_names_with_orders_to_the_terminal_are_letters():
    board = board_in_hold()
    board.firmware = b"\x1b]0;x\x07"
    board.settings = settings_file(json.dumps({"label": "\x1b[2Jbox\r\n", "rig": "y" * 60_000}))
    look = looks(board, 1)[0]
    assert (look.label, look.firmware) == (".[2Jbox..", ".]0;x.")
    assert len(look.rig) == 40
    assert ".[2Jbox" in screen(look)
    assert screen(look).replace("\n", "").isprintable()


def test_settings_that_never_end_are_gone_without(monkeypatch):
    monkeypatch.setattr("steadyturn.board.link.SETTINGS_S", 0.05)
    board = board_in_hold()
    board.settings, board.piece = settings_file('{"rig": "%s"}' % ("y" * 60_000)), 1
    start = time.monotonic()
    found = looks(board, 3)
    assert time.monotonic() - start < 2.0
    assert [look.low_tpm for look in found] == [None] * 3
    assert found[0].pace_tpm == 52.3


def test_where_only_a_virtual_board_runs_the_commands_for_it_are_named(monkeypatch):
    monkeypatch.setattr(finding, "candidates", list)
    monkeypatch.setattr(finding, "virtual_boards", lambda: (("/dev/pts/7", 1),))
    with pytest.raises(Failed) as failed:
        next(job.watch())
    assert "'steadyturn watch --port /dev/pts/7', then 'steadyturn pull --port" in failed.value.how
