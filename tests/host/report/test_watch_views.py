"""The views of a watch at every size, whatever a board says."""

from __future__ import annotations

import dataclasses
import io
import itertools
import json
import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from small_screen import SmallScreen
from steadyturn.jobs.watch import Glance
from steadyturn.report import watch as report
from steadyturn.report.terminal import Terminal, plain
from steadyturn.report.watch_screen import Screen
from steadyturn_fw import pages

HOLD = Glance(
    time_s=12.0, port="/dev/ttyACM0", answering=True, board="0001020304050607", label="red box",
    rig="Lakeside hut", firmware="0.1.0", looks_hz=9.98, boot=7, board_s=61.0, cue="hold",
    pace_tpm=52.3, pace_validity="valid", low_tpm=40.0, target_tpm=50.0, high_tpm=60.0,
    bus_v=4.92, bus_a=0.83, bus_w=4.08, connected=True, why="none", fault="none",
    settings_ok=True, previous_settings=False, supply_v=4.9, energy_in_wh=2.0, energy_out_wh=1.0,
    since_in_wh=0.05, since_out_wh=0.04, since_percent=1.25, since_turns=30.0,
    since_band_share=0.9, late_ticks=0, sensor_errors=0)
GONE = Glance(time_s=20.0, port="/dev/ttyACM0", answering=False, problem="The board has gone.",
              gone_s=75.0, board="0001020304050607")


def lines(glance, columns=80, rows=24, unicode=False):
    return [plain(line) for line in Screen(unicode).lines(glance, columns, rows)]


def test_all_that_matters_is_on_the_usual_screen():
    text = "\n".join(lines(HOLD))
    for part in ("##  ##", "just right", "52 turns/min; band 40 to 60, best 50", "v 52",
                 "connected", "4.92 V, 0.83 A, 4.08 W", "+1.25 %", "10/s", "'red box'",
                 "Ctrl-C", "50.0 mWh into the converter, 40.0 mWh to the phone",
                 "2000 mWh into", "boot 7, running for 1 min 1 s"):
        assert part in text
    assert text.isascii()
    assert not "\n".join(lines(HOLD, unicode=True)).isascii()


def test_an_energy_keeps_its_unit_however_little_or_much():
    for wh in (0.0, 0.000405, 0.00155, 0.0999, 0.1, 2.5, 200.0):
        text = "\n".join(lines(dataclasses.replace(HOLD, since_out_wh=wh, energy_in_wh=wh)))
        assert text.count(" mWh") == 4
        assert " Wh" not in text


def test_a_narrow_window_keeps_cue_pace_phone_and_volts():
    text = lines(HOLD, 40, 12)
    assert len(text) == 12
    for part in ("#   #", "52 turns/min", "[", " 60 ", "connected", "4.92 V", "+1.25 %"):
        assert part in "\n".join(text)
    assert lines(HOLD, 30, 1) == [" HOLD  52 turns/min"]
    assert [line.split()[0] for line in lines(HOLD, 30, 3)] == ["HOLD", "pace", "phone"]


def test_no_size_is_too_small_and_no_line_too_wide():
    faulty = dataclasses.replace(HOLD, cue="fault", fault="sensor", settings_ok=False,
                                 connected=False, why="over_temperature", pace_tpm=None,
                                 pace_validity="no_sensor", event="another board " * 8)
    for glance, columns, rows in itertools.product(
            (HOLD, GONE, faulty), (1, 12, 39, 40, 60, 80, 200), (1, 2, 3, 5, 12, 24, 60)):
        text = lines(glance, columns, rows)
        assert len(text) <= rows
        if columns >= 40:
            assert max(map(len, text)) <= columns


def test_a_fault_is_named_even_where_little_fits():
    faulty = dataclasses.replace(HOLD, cue="fault", fault="sensor")
    assert "FAULT   the sensor does not" in " ".join(lines(faulty, 40, 2))
    assert any("FAULT" in line for line in lines(faulty, 40, 6))
    old = dataclasses.replace(HOLD, previous_settings=True)
    assert "the newest were refused" in " ".join(lines(old))


def test_a_bound_and_an_unknown_pace_are_told_without_colour():
    bound = dataclasses.replace(HOLD, pace_validity="bound", pace_tpm=31.0)
    assert "at most 31 turns/min" in "\n".join(lines(bound))
    assert "| at most 31" in "\n".join(lines(bound))
    unknown = dataclasses.replace(HOLD, pace_validity="no_sensor", pace_tpm=None)
    assert "? pace not known" in "\n".join(lines(unknown))


def test_gone_says_for_how_long_and_an_event_stays_a_while():
    assert "reconnecting, for 1 min 15 s now" in "\n".join(lines(GONE))
    assert "The board has gone." in "\n".join(lines(GONE, 40, 12))
    assert "connecting, for 2 s now" in "\n".join(
        lines(dataclasses.replace(GONE, problem="", gone_s=2.0)))
    screen = Screen(False)
    screen.lines(dataclasses.replace(HOLD, event="connected again after 3 s"), 80, 24)
    later = dataclasses.replace(HOLD, time_s=HOLD.time_s + 10)
    assert "again after 3 s" in "\n".join(map(plain, screen.lines(later, 80, 24)))
    later = dataclasses.replace(HOLD, time_s=HOLD.time_s + 20)
    assert "again after 3 s" not in "\n".join(map(plain, screen.lines(later, 80, 24)))


def test_how_long_the_phone_is_connected_is_told_from_its_connection_on():
    screen = Screen(False)
    off = dataclasses.replace(HOLD, connected=False, why="waiting")
    assert "not connected: waiting a little" in "\n".join(map(plain, screen.lines(off, 80, 24)))
    screen.lines(dataclasses.replace(HOLD, time_s=14.0), 80, 24)
    text = screen.lines(dataclasses.replace(HOLD, time_s=19.0), 80, 24)
    assert "connected, for 5 s" in "\n".join(map(plain, text))
    assert "connected, for" not in "\n".join(lines(HOLD))  # it was connected before


def hostile(chance: random.Random) -> Glance:
    """Everything that a board could put into a look, through jobs.watch or not."""
    text = ("\x1b]0;owned\x07", "\x1b[2J\x1b[31m", "a\nb\r\tc", "\x9b5n", "<script>", "x" * 5000,
            "\u202e\u0000", "code 77")
    numbers = (0.0, -1.0, 65535.0, 1e300, 1e-300, 6553.5, 2.0**48)
    changes = {}
    for field in dataclasses.fields(Glance):
        value = getattr(HOLD, field.name)
        if field.name in ("answering", "time_s"):
            continue
        if isinstance(value, str):
            changes[field.name] = chance.choice(text)
        elif isinstance(value, bool):
            changes[field.name] = chance.random() < 0.5
        elif isinstance(value, float):
            changes[field.name] = chance.choice(numbers)
        elif isinstance(value, int):
            changes[field.name] = chance.choice((0, 2**31, 2**48))
    changes["gone_s"] = chance.choice(numbers)
    return dataclasses.replace(HOLD, answering=chance.random() < 0.8, **changes)


def test_nothing_a_board_says_reaches_the_terminal_raw():
    chance = random.Random(5)
    looks = [hostile(chance) for _ in range(120)]

    class Out(io.StringIO):
        encoding = "utf-8"

    for columns, rows in ((80, 24), (40, 12)):
        out = Out()
        terminal = Terminal(out, io.StringIO(), {})
        terminal.size = lambda size=(columns, rows): size
        report.show_screen(iter(looks), terminal)
        shown = SmallScreen(columns, rows)
        shown.feed(out.getvalue())  # raises on what no screen here sends
        assert not shown.own_screen
        assert shown.cursor
    for look in looks:
        line = report.plain_line(look) if look.answering else report.silence_line(look)
        assert len(line) <= 80 or not look.answering
        assert line.isprintable()
        assert report.event_line(look).isprintable()
    out = io.StringIO()
    report.show_json(looks, out)
    assert out.getvalue().isascii()
    assert all(json.loads(line)["time_s"] == 12.0 for line in out.getvalue().splitlines())


def test_without_a_board_it_is_said_in_full_once_and_then_rarely(monkeypatch):
    problem = "The board on /dev/ttyACM0 has gone: " + "it was pulled out in the middle " * 4
    looks = [dataclasses.replace(GONE, time_s=n / 2, gone_s=n / 2, problem=problem.strip())
             for n in range(60)]
    looks[0] = dataclasses.replace(HOLD, time_s=0.0, remark="The library is damaged. " * 5)
    out = io.StringIO()
    report.show_lines(looks, out)
    told = out.getvalue().splitlines()
    assert len(told) == 5  # the remark, a look, gone, and every 10 s
    assert told[0].count("The library is damaged.") == 5
    assert told[2].endswith("reconnecting (0 s): " + problem.strip())
    assert [line[7:] for line in told[3:]] == ["  reconnecting (10 s)", "  reconnecting (20 s)"]

    class Tty(io.StringIO):
        def isatty(self):
            return True

    out = Tty()
    monkeypatch.setenv("COLUMNS", "50")
    report.show_lines(looks[1:], out)
    told = out.getvalue().splitlines()
    assert max(map(len, told)) <= 50
    assert problem.strip() in " ".join(out.getvalue().split())


def test_every_fault_is_whole_in_the_plain_line():
    hard = dataclasses.replace(HOLD, cue="stop", bus_v=21.5, bus_a=2.5, pace_tpm=120.0,
                               connected=False, time_s=99999.0)
    for fault, why in itertools.product(pages.FAULTS, pages.REASONS):
        line = report.plain_line(dataclasses.replace(hard, fault=fault, why=why))
        assert len(line) <= 80
        assert line.endswith((f"FAULT {fault}".replace("_", " "),
                              "off: " + why.replace("_", " ")))


def test_every_reason_fits_the_plain_line():
    hard = dataclasses.replace(HOLD, cue="stop", bus_v=21.5, bus_a=2.5, pace_tpm=120.0,
                               connected=False, time_s=99999.0)
    for why in pages.REASONS:
        line = report.plain_line(dataclasses.replace(hard, why=why))
        assert line.endswith("off: " + why.replace("_", " "))
        assert len(line) <= 80


def test_plain_lines_come_once_a_second_and_at_every_change():
    looks = [dataclasses.replace(HOLD, time_s=n / 10) for n in range(31)]
    looks += [dataclasses.replace(GONE, time_s=3.1), dataclasses.replace(GONE, time_s=3.6)]
    looks += [dataclasses.replace(HOLD, time_s=3.7, event="connected again after 1 s")]
    out = io.StringIO()
    report.show_lines(looks, out)
    told = out.getvalue().splitlines()
    assert sum("hold" in line for line in told) == 5
    assert sum("reconnecting (75 s): The board has gone." in line for line in told) == 1
    assert any("connected again" in line for line in told)


@pytest.mark.parametrize("key", ["q", "Q"])
def test_q_ends_the_screen(key):
    class Out(io.StringIO):
        encoding = "ascii"

    terminal = Terminal(Out(), io.StringIO(), {})
    pressed = iter(("", "x", key, ""))
    terminal.keys = lambda wait_s=0.0: next(pressed)
    looks = iter([HOLD] * 10)
    report.show_screen(looks, terminal)
    assert len(list(looks)) == 7
