"""`steadyturn` alone: right next step in each situation, and it never fails."""

from __future__ import annotations

import os
import re
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from fake_board import FakeBoard, PtyBoard
from fake_board import page as fake_page
from steadyturn.board.connect import connect
from steadyturn.cli.main import code
from steadyturn.jobs.home import home
from steadyturn.jobs.meeting import note
from steadyturn.jobs.pull import pull
from steadyturn.report.home import text
from steadyturn.rig.examples import FOLDER
from steadyturn.sizing.parts_file import FOLDER as PARTS
from steadyturn_fw import VERSION


@pytest.fixture(autouse=True)
def _alone(monkeypatch):
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [])
    monkeypatch.setattr("steadyturn.jobs.home.virtual_boards", lambda: ())


@pytest.fixture
def plugged(monkeypatch):
    def plug(*devices):
        rows = [SimpleNamespace(device=d, vid=0x2E8A, description="") for d in devices]
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: rows)

    return plug


@pytest.fixture
def place(tmp_path):
    (tmp_path / "here").mkdir()
    return tmp_path / "here", tmp_path / "library"


def put_rig(folder: Path) -> str:
    example = sorted(FOLDER.glob("*.toml"))[0]
    (folder / example.name).write_text(example.read_text())
    return example.name


def test_nothing_there(place):
    seen = home(*place)
    assert seen.next_step == "steadyturn demo"
    assert "steadyturn new my.toml" in seen.because
    page = text(seen)
    assert "none in this folder" in page
    assert "none plugged in" in page
    assert "none yet" in page


def test_a_parts_file_is_no_rig_file(place):
    (place[0] / "drawer.toml").write_text((PARTS / "new_parts.toml").read_text())
    seen = home(*place)
    assert (seen.rigs, seen.drawers) == ((), ("drawer.toml",))
    assert seen.next_step == "steadyturn size drawer.toml"
    assert "parts file  drawer.toml" in text(seen)
    name = put_rig(place[0])
    seen = home(*place)
    assert [r.file for r in seen.rigs] == [name]
    assert seen.next_step == f"steadyturn check {name}"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_called_like_a_rig_file_is_passed_by(place):
    os.mkfifo(place[0] / "pipe.toml")
    assert home(*place).rigs == ()


def test_a_file_in_the_librarys_place_is_told(place):
    place[1].write_text("mine")
    put_rig(place[0])
    seen = home(*place)
    assert seen.last_pull is None
    assert "library" in seen.library_problem
    assert "STEADYTURN_LIBRARY" in seen.next_step
    assert "steadyturn" not in text(seen).split("next: ")[1].split("\n")[0]


def test_a_rig_file_leads_to_its_pace_and_a_wrong_one_to_check(place):
    name = put_rig(place[0])
    (place[0] / "notes.toml").write_text("[other]\nx = 1\n")
    seen = home(*place)
    assert [r.file for r in seen.rigs] == [name]
    assert seen.next_step == f"steadyturn check {name}"
    (place[0] / name).write_text("[motor]\nterminal_ohm = -1\n")
    seen = home(*place)
    assert seen.next_step == f"steadyturn check {name}"
    assert seen.rigs[0].problems > 0


def test_a_board_without_our_firmware_is_flashed(place, plugged):
    name = put_rig(place[0])
    silent = FakeBoard()
    silent.answer = lambda line: b">>> \x1b[31m"
    with PtyBoard(silent) as board:
        plugged(board.port)
        start = time.monotonic()
        seen = home(*place)
        assert time.monotonic() - start < 8  # and no more on a busy computer
        assert seen.next_step == f"steadyturn flash {name}"
        assert "\x1b" not in text(seen)


def test_pages_to_pull_then_the_last_pull(place, plugged):
    fake = FakeBoard()
    fake.state["turns_m"] = 90_000
    fake.firmware = VERSION.encode()
    with PtyBoard(fake) as board:
        plugged(board.port)
        seen = home(*place)
        assert seen.next_step == "steadyturn pull"
        assert seen.boards[0].pages_waiting == 5  # numbers 3 to 7
        fake.pages[7] = fake_page(7, turns_m=90_000)
        pull(board.port, place[1])
        seen = home(*place)
        assert seen.boards[0].pages_waiting == 0
        assert seen.last_pull.pages == 3
        assert seen.last_pull.finished
        assert seen.next_step == "steadyturn new my.toml"
        name = put_rig(place[0])
        assert home(*place).next_step == f"steadyturn flash {name}"  # it has no settings
        fake.settings = b'head\n{"label":"hut","rig":"Lakeside hut"}\ntail'
        seen = home(*place)
        assert seen.next_step == "steadyturn review"  # just pulled
        assert "'hut' on " in text(seen)
        assert "rig Lakeside hut" in text(seen)
    plugged()
    assert "3 new pages of board 050607" in text(home(*place))
    for file in place[0].iterdir():
        file.unlink()
    assert home(*place).next_step == "steadyturn review"


def test_a_port_that_goes_and_a_damaged_library_do_not_stop_it(place, plugged):
    place[1].mkdir()
    (place[1] / "library.sqlite").write_bytes(b"\x1b[2J no database" * 500)
    plugged("/dev/ttyNONE7")
    seen = home(*place)
    assert seen.library_problem
    assert seen.boards[0].firmware is None
    assert all(c.isprintable() or c == "\n" for c in text(seen))
    # a folder's name is one word, however long
    lines = [line for line in text(seen).splitlines() if place[1].name not in line]
    assert max(map(len, lines)) <= 80


def test_the_command_alone_shows_it(place, monkeypatch, capsys):
    monkeypatch.chdir(place[0])
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(place[1]))
    assert code([]) == 0
    out = capsys.readouterr().out
    assert "next: steadyturn demo" in out
    assert max(map(len, out.splitlines())) <= 80


def test_several_boards_are_told_apart(place, plugged, monkeypatch):
    boards = [FakeBoard(), FakeBoard(), FakeBoard()]
    for n, fake in enumerate(boards):
        fake.firmware = VERSION.encode()
        fake.settings = b'head\n{"label":"board %d","rig":"Lakeside hut"}\ntail' % n
        fake.name = bytes([n]) * 8
        fake.state["energy_in_uj"] = 2_000_000
    boards[0].pages = boards[2].pages = {}
    with PtyBoard(boards[0]) as one, PtyBoard(boards[1]) as two, PtyBoard(boards[2]) as twin:
        plugged(one.port, two.port)
        monkeypatch.setattr("steadyturn.jobs.home.virtual_boards", lambda: ((twin.port, 1),))
        seen = home(*place)
        assert [(b.label, b.virtual) for b in seen.boards] == [
            ("board 0", False), ("board 1", False), ("board 2", True)]
        assert seen.next_step == f"steadyturn pull --port {two.port}"
        page = text(seen)
        assert "boards" in page
        assert "(virtual)" in page
        assert max(map(len, page.splitlines())) <= 80
        boards[1].pages[7] = fake_page(7, energy_uj=2_000_000)
        pull(two.port, place[1])
        put_rig(place[0])
        assert home(*place).next_step == f"steadyturn watch --port {one.port}"
        plugged()
        assert home(*place).next_step == f"steadyturn watch --port {twin.port}"


def test_a_journal_that_went_back_has_pages_to_pull(place, plugged):
    fake = FakeBoard()
    fake.settings = b'head\n{"rig":"Lakeside hut"}\ntail'
    with PtyBoard(fake) as board:
        plugged(board.port)
        pull(board.port, place[1])
        fake.state["turns_m"] = 4000
        for seq in (4, 7):
            fake.pages[seq] = fake_page(seq, boot=2)
        assert pull(board.port, place[1]).went_back == "pages"
        fake.pages[9] = fake_page(9, boot=3, turns_m=4000)
        seen = home(*place)
        assert seen.boards[0].pages_waiting == 2
        pull(board.port, place[1])
        assert home(*place).boards[0].pages_waiting == 0


def test_pages_at_rest_are_not_to_be_pulled(place, plugged):
    fake = FakeBoard()
    fake.firmware = VERSION.encode()
    fake.settings = b'head\n{"rig":"Lakeside hut"}\ntail'
    fake.pages[7] = fake_page(7, turns_m=4000)
    put_rig(place[0])
    with PtyBoard(fake) as board:
        plugged(board.port)
        # never turned, never pulled: the machine is still to be brought up
        step = home(*place).next_step
        assert re.fullmatch(r"steadyturn bringup \S+\.toml --html bringup\.html", step)
        fake.state.update(turns_m=4000)
        pull(board.port, place[1])
        fake.pages.update({n: fake_page(n, boot=n, turns_m=4000) for n in (8, 9)})
        fake.state["energy_in_uj"] = 900_000  # a sensor's zero
        assert home(*place).boards[0].pages_waiting == 0
        fake.state.update(turns_m=4001)
        assert home(*place).next_step == "steadyturn pull"


def test_a_board_for_which_no_pace_works_is_not_flashed(place, plugged):
    (place[0] / "toy.toml").write_text((FOLDER / "toy-motor.toml").read_text())
    fake = FakeBoard()
    fake.pages = {}
    with PtyBoard(fake) as board:
        plugged(board.port)
        assert home(*place).next_step == "steadyturn pace toy.toml"


def test_a_rig_file_that_was_retuned_without_the_board_is_to_be_flashed(place, plugged):
    rig = place[0] / "my.toml"
    rig.write_text((FOLDER / "lakeside-hut.toml").read_text())
    fake = FakeBoard()
    fake.pages, fake.firmware = {}, VERSION.encode()
    fake.settings = b'head\n{"label":"hut","rig":"Lakeside hut"}\ntail'
    with PtyBoard(fake) as board:
        plugged(board.port)
        with connect(board.port) as reached:
            assert not note(reached.link, kind="flash", library=place[1],
                            rig_text=rig.read_text())
        assert "flash" not in home(*place).next_step
        rig.write_text(rig.read_text().replace("max_rpm = 6_000", "max_rpm = 6_500"))
        seen = home(*place)
        assert seen.next_step == "steadyturn flash my.toml"
        assert "changed since" in seen.because
