"""The screen of the tapped machine: a lamp that keeps its rhythm and never flashes too fast."""

from __future__ import annotations

import dataclasses
import io
import itertools
import random
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from steadyturn.errors import Failed
from steadyturn.jobs.twin_hand import Cranked, Moment
from steadyturn.report.calm_lamp import CalmLamp
from steadyturn.report.hand import FRAME_S, HandScreen, show_hand, starting, text
from steadyturn.report.terminal import Terminal, plain
from steadyturn_fw.patterns import BEAT, PATTERNS

CRANKING = SimpleNamespace(
    rig="Lakeside hut", port="/dev/pts/7", low_tpm=50.0, target_tpm=69.0, high_tpm=90.0,
    turns_a_tap=1.0, lamp_kind="led", because="", not_exercised=())
NOW = Moment(
    t_s=8.0, tapped_tpm=69.0, pace_tpm=66.0, effort_nm=0.9, most_nm=3.9, arm_w=6.2, lit=0.6,
    lights=(), rgb=None, says="hold", bus_v=8.9, bus_a=0.32, out_w=2.5, connected=True,
    plugged=True, board="running", percent=0.04)


def lines(moment=NOW, columns=80, rows=24, unicode=False, **changes):
    made = SimpleNamespace(**{**vars(CRANKING), **changes})
    return [plain(line) for line in HandScreen(made, unicode).lines(moment, columns, rows, 1.0)]


def played(pattern, seconds, beat_ms=860):
    """(s, light) of each change of a row of the firmware's patterns."""
    t_ms, changes = 0, []
    while t_ms < 1000 * seconds:
        for level, ms in pattern:
            changes.append((t_ms / 1000, level * 0.6))
            t_ms += beat_ms - (t_ms % beat_ms) if ms == BEAT else ms
    return changes


def shown(changes, seconds, frame_s=FRAME_S):
    """When the lamp on the screen comes on and goes off, frame by frame."""
    lamp, waiting, light, begun, spells = CalmLamp(), list(changes), 0.0, 0.0, []
    for n in range(int(seconds / frame_s)):
        now, new = n * frame_s, []
        while waiting and waiting[0][0] <= now:
            new.append(waiting.pop(0))
            light = new[-1][1]
        before = lamp.lit
        if lamp.show(now, new, light) != before:
            spells.append((begun, now, before))
            begun = now
    return [*spells, (begun, seconds, lamp.lit)]


def most_within_a_second(spells):
    starts = [begin for begin, _, lit in spells if lit]
    return max((sum(t <= s < t + 1.0 - 1e-9 for s in starts) for t in starts), default=0)


@pytest.mark.parametrize("name", ["rest", "faster", "hold", "slower", "stop"])
def test_each_pattern_keeps_its_shape_and_rhythm(name):
    pattern = next(row[1] for row in PATTERNS if row[0] == name)
    spells = shown(played(pattern, 12.0), 12.0)
    want = [(begin, level) for begin, level in played(pattern, 12.0)]
    lit_s = sum(end - begin for begin, end, lit in spells if lit)
    ends = [*[begin for begin, _ in want[1:]], 12.0]
    true_s = sum(max(min(end, 12.0) - begin, 0.0)
                 for (begin, level), end in zip(want, ends, strict=True) if level)
    flashes = sum(lit for *_, lit in spells)
    assert flashes == (1 if name == "hold" else sum(level > 0 for begin, level in want
                                                    if begin < 11.9))
    assert lit_s == pytest.approx(true_s, abs=FRAME_S * (flashes + 1))
    assert most_within_a_second(spells) <= 3


def test_never_more_than_three_flashes_a_second_whatever_comes():
    chance = random.Random(7)
    for _ in range(60):
        t, changes = 0.0, []
        while t < 20.0:
            t += chance.choice((0.005, 0.03, 0.08, 0.2, 0.5)) * chance.random()
            changes.append((t, chance.choice((0.0, 0.6))))
        assert most_within_a_second(shown(changes, 20.0, chance.choice((0.02, 0.04, 0.1)))) <= 3


def test_a_glint_between_two_frames_is_seen():
    glint = [(0.5, 0.6), (0.51, 0.0)]
    assert [lit for *_, lit in shown(glint, 1.0)] == [False, True, False]
    wink = [(0.0, 0.6), (0.5, 0.0), (0.51, 0.6)]
    assert [lit for *_, lit in shown(wink, 1.0)][-3:] == [True, False, True]


def test_the_lamp_is_full_or_an_empty_frame():
    lit, dark = lines(), lines(dataclasses.replace(NOW, lit=0.0))
    assert sum("#" * 31 in row for row in lit) == 8
    assert not any("##" * 6 in row for row in dark)
    assert sum("lamp" in row for row in dark) == 2
    assert "\N{FULL BLOCK}" * 31 in "\n".join(lines(unicode=True))
    assert "\n".join(lit).isascii()


def test_what_the_hand_would_feel_and_what_goes_to_the_phone():
    said = "\n".join(lines(dataclasses.replace(NOW, t_s=20.0)))
    for part in ("each tap of the space bar is one turn", "taps    69", "66 turns/min", "[",
                 "0.9 of 3.9 N m", "connected, 2.5 W, +0.04 %", "8.90 V, 0.32 A", "just right",
                 "steadyturn watch --port /dev/pts/7", "q ends"):
        assert part in said
    unplugged = dataclasses.replace(NOW, plugged=False, board="off", percent=None)
    assert "its plug is pulled" in "\n".join(lines(unplugged))
    assert "no light: the board has no power yet" in "\n".join(lines(unplugged))
    assert "half a turn" in lines(turns_a_tap=0.5)[0]
    assert "no pace works" in "\n".join(lines(low_tpm=None))
    assert "nothing is on the board: why" in "\n".join(lines(because="why"))
    assert "without the serial port" in "\n".join(lines(port="", not_exercised=(
        "the serial port",)))


def test_every_size_has_a_lamp_and_fits():
    for columns, rows, lit, helped in itertools.product(
            (1, 20, 40, 59, 60, 80, 200), (1, 3, 6, 12, 24, 50), (0.0, 0.6), (False, True)):
        screen = HandScreen(CRANKING, False)
        screen.help = helped
        moment = dataclasses.replace(NOW, lit=lit)
        got = [plain(line) for line in screen.lines(moment, columns, rows, 1.0)]
        assert len(got) <= rows
        if columns >= 40:
            assert max(map(len, got)) <= columns
            assert any("####" in row for row in got[:3]) or not lit
    small = "\n".join(lines(columns=40, rows=12))
    for part in ("#####", "66", "69", "[", "connected", "8.90 V"):
        assert part in small or part == "66"  # the pace is smoothed


def test_while_it_starts_it_says_so_and_what_the_keys_are():
    for columns, rows in ((80, 24), (40, 12), (40, 1), (1, 1)):
        got = [plain(line) for line in starting("Lakeside hut", columns, rows)]
        assert len(got) <= rows
        assert "starting" in " ".join(got)
        if columns >= 40:
            assert max(map(len, got)) <= columns
    assert "space cranks" in "\n".join(map(plain, starting("x", 80, 24)))


def test_keys():
    done = []
    made = SimpleNamespace(**vars(CRANKING), tap=lambda: done.append("tap"),
                           plug=lambda: done.append("plug"), moment=lambda: NOW)

    class Out(io.StringIO):
        encoding = "ascii"

    out = Out()
    terminal = Terminal(out, io.StringIO(), {})
    pressed = iter([" ", "", "  ", "p", "\x1bOP", "\x1b[A", "x?", "?", "qp"])
    terminal.keys = lambda wait_s=0.0: next(pressed)
    show_hand(made, terminal)
    assert done == ["tap", "tap", "tap", "plug"]
    assert "Holding the space bar down cranks nothing" in out.getvalue()


def test_a_board_that_fails_leaves_the_terminal_in_order():
    def fails():
        raise Failed("It has ended.")

    class Out(io.StringIO):
        encoding = "ascii"

    out = Out()
    made = SimpleNamespace(**vars(CRANKING), moment=fails)
    with pytest.raises(Failed):
        show_hand(made, Terminal(out, io.StringIO(), {}))
    assert out.getvalue().endswith("\x1b[?25h\x1b[?1049l")


def test_the_account_at_the_end(monkeypatch):
    done = Cranked(
        rig="Lakeside hut", rig_file="my.toml", image="board.img", turns_a_tap=1.0, taps=70,
        time_s=80.0, turning_s=60.0, band_s=45.0, turns=69.4, arm_wh=0.1, energy_in_wh=0.05,
        energy_out_wh=0.04, percent=0.3, connected_s=50.0, connections=1, boots=1,
        not_exercised=())
    said = text(done)
    for part in ("69 turns by 70 taps of one turn in 60 s, 75 % of the time in the band",
                 "40 mWh to the phone, +0.30 %", "1 connection.", "--image board.img",
                 "review --rig my.toml"):
        assert part in " ".join(said.split())
    assert max(map(len, said.splitlines())) <= 80
    monkeypatch.setenv("COLUMNS", "40")
    assert max(map(len, text(done).splitlines())) <= 40
    assert "steadyturn twin my.toml --image \\\n      board.img --person none" in text(done)
    monkeypatch.setenv("COLUMNS", "80")
    assert "is kept" in text(dataclasses.replace(done, image=None))
    assert "not a turn" in text(dataclasses.replace(done, turns=0.0, taps=0))
    assert "for want of MicroPython" in text(dataclasses.replace(done, not_exercised=("it",)))
