"""Watching a board: the figures, silence and unplugging on the way, and the three views."""

from __future__ import annotations

import io
import itertools
import json
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from fake_board import FakeBoard, MemoryStream, PtyBoard
from steadyturn.cli.main import code
from steadyturn.errors import Failed
from steadyturn.jobs import watch as job
from steadyturn.report import watch as report
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


@pytest.mark.parametrize("line", ["", "{", "[1]", '{"low_dtpm": "x", "percent_mj": true}', None])
def test_a_board_without_usable_settings_is_watched_all_the_same(line):
    board = board_in_hold()
    board.settings = b"" if line is None else settings_file(line)
    look = looks(board, 1)[0]
    assert look.low_tpm is None
    assert look.since_percent is None
    assert "no band in force" in report.screen_text(look)


def test_unplugged_it_says_so_tries_again_and_goes_on(monkeypatch):
    monkeypatch.setattr(job, "AGAIN_S", 0.02)
    direct = Direct(board_in_hold())
    found = []
    for n, glance in enumerate(job.watch(direct, rate_hz=200)):
        found.append(glance)
        if n == 1:
            direct.streams[-1].unplugged = True
        if n == 4:
            break
    assert [g.answering for g in found] == [True, True, False, True, True]
    assert "unplugged" in found[2].problem
    assert "Reconnecting" in report.screen_text(found[2])


def test_another_board_counts_from_zero(monkeypatch):
    monkeypatch.setattr(job, "AGAIN_S", 0.02)
    direct = Direct(board_in_hold())
    found = []
    for n, glance in enumerate(job.watch(direct, rate_hz=200)):
        found.append(glance)
        if n == 0:
            direct.streams[-1].unplugged = True
            direct.board.who = lambda: FakeBoard.who(direct.board)[:21] + b"otherone" + b"0.1.0"
            direct.board.state["energy_out_uj"] *= 2
        if n == 2:
            break
    assert found[2].since_out_wh == 0


def test_no_board_at_the_start_is_a_failure(monkeypatch):
    monkeypatch.setattr(job, "FIRST_S", 0.1)
    board = FakeBoard()
    board.answer = lambda line: b""
    with pytest.raises(Failed, match="does not answer"):
        looks(board, 1)
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


def test_every_cue_and_reason_fits_the_screen():
    board = board_in_hold()
    board.state.update(bus_mv=65535, bus_ma=65535, pace_dtpm=65535, energy_in_uj=2**48 - 1,
                       energy_out_uj=2**48 - 1, turns_m=2**40 - 1)
    for n in range(12):
        board.state.update(cue=n, why=n, fault=n, validity=n % 5, connected=n % 2)
        look = looks(board, 1)[0]
        assert len(report.plain_line(look)) <= 80
        assert max(map(len, report.screen_text(look).splitlines())) <= 80
    board.state.update(bus_mv=21_500, bus_ma=2500, energy_out_uj=0, pace_dtpm=1200, connected=0)
    for why, name in enumerate(pages.REASONS):
        board.state.update(cue=pages.STOP, why=why, fault=0)
        assert report.plain_line(looks(board, 1)[0]).endswith("off: " + name.replace("_", " "))


def test_over_a_port_by_the_command_in_its_three_forms(capsys, monkeypatch):
    with PtyBoard(board_in_hold()) as pty:
        assert code(["watch", "--port", pty.port, "--seconds", "0.3"]) == 0
        line = capsys.readouterr().out
        assert line.count("\n") == 1
        assert "hold" in line
        assert "4.92 V  0.83 A  4.08 W" in line
        assert "charging" in line
        assert code(["watch", "--port", pty.port, "--seconds", "0.5", "--json"]) == 0
        objects = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
        assert len(objects) >= 2
        assert objects[0]["pace_tpm"] == 52.3
        assert {"bus_v", "since_percent", "cue", "why", "energy_in_wh"} <= set(objects[0])


def test_the_screen_draws_the_cue_big():
    from rich.console import Console

    out = io.StringIO()
    console = Console(file=out, force_terminal=True, width=80, height=40)
    report.show_screen(iter(looks(board_in_hold(), 1)), console)
    assert "#   #  ###  #     ####" in out.getvalue()
    text = report.screen_text(looks(board_in_hold(), 1)[0])
    assert "just right" in text
    assert "connected" in text


def test_ctrl_c_ends_the_watch_with_0_and_lets_the_port_go(monkeypatch):
    with PtyBoard(board_in_hold()) as pty:
        def interrupted(glances, out):
            next(glances)
            raise KeyboardInterrupt

        monkeypatch.setattr(report, "show_lines", interrupted)
        assert code(["watch", "--port", pty.port]) == 0
        from steadyturn.board.stream import SerialStream

        SerialStream(pty.port).close()
        assert all(line.startswith(b":") for line in pty.board.asked)
