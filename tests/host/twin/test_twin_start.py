"""Starts that fail, on the real firmware: the watchdog, safe mode, firmware and settings from
before. The parts of it, on fakes: tests/firmware/on_board/check_start.py."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from images import stored
from steadyturn.board.connect import connect
from steadyturn.board.link import NoAnswer
from steadyturn.firmware import PACKAGE
from steadyturn.jobs.flash import flash
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.interpreter import find
from steadyturn.twin.person import Steady
from steadyturn.twin.plant import NEVER
from steadyturn.twin.prepare import firmware
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages

pytestmark = pytest.mark.skipif(not find().serves_port, reason="no MicroPython here")
OLD_SETTINGS = "/settings.old.json"
CUE = f"{PACKAGE}/cue.py"
CHIPS = f"{PACKAGE}/chips.py"
STOPS = "0x40058000, 0x4005B000"  # an RP2040's watchdog


@pytest.fixture(scope="module")
def usb() -> Rig:
    """The hut, its board fed by something else, so that no rest cuts its power."""
    from steadyturn.rig.file import read_rig

    rig = read_rig(example_path("lakeside-hut"))
    return replace(rig, supply=replace(rig.supply, feed="usb"))


def settings(rig: Rig, **changed: int) -> bytes:
    return encode({**build(rig, find_band(rig, deep=False)), **changed})


def board(rig: Rig, image: Path, files: Mapping[str, bytes], **hand: float) -> Twin:
    twin = Twin(rig, image=image, person=Steady(hand["tpm"]) if hand else None)
    twin.prepare(files=files)
    return twin


def events(image: Path) -> list[tuple[int, str, int]]:
    """(boot, event, argument) of all that is stored."""
    found = []
    for _, page in sorted(stored(image.read_bytes()).items()):
        boot = pages.get(page, pages.AT_BOOT, 3)
        for i in range(page[pages.AT_N_EVENTS]):
            at = pages.AT_EVENTS + pages.EVENT_BYTES * i
            name = pages.EVENT_NAMES[page[at]]
            found.append((boot, name, pages.get(page, at + 3, 2)))
    return found


def broken(code: str, method: str = "update") -> bytes:
    """The cue's file with this at the start of a method."""
    text = firmware()[CUE].decode()
    found, count = re.subn(
        rf"(?m)^    def {method}\(.*\):\n", lambda m: m[0] + code, text, count=1)
    assert count == 1
    return found.encode()


def test_a_hang_ends_by_the_watchdog_and_is_told(usb: Rig, tmp_path: Path) -> None:
    """After 20 s the program hangs: the load goes with the pulses, the board starts anew."""
    hang = ("        import machine, time\n        if now.t_ms > 20000 and machine.reset_cause() "
            "== 1:\n            time.sleep(1000)\n")
    files = {**firmware(), "/settings.json": settings(usb), CUE: broken(hang)}
    looks = []
    with board(usb, tmp_path / "a.img", files, tpm=70) as twin:
        twin.run(60, looks.append)
        boots = list(twin._engine.boots)
    assert len(boots) == 2
    assert boots[1] - boots[0] == pytest.approx(20 + 8 + 0.4, abs=1)
    hung = [g for g in looks if 21 < g.t_s - boots[0] < 28]
    assert hung
    assert not any(g.connected for g in hung)
    assert any(g.connected for g in looks if g.t_s < boots[0] + 20)
    assert any(g.connected for g in looks if g.t_s > boots[1] + 5)
    found = events(tmp_path / "a.img")
    assert (1, "boot", 1) in found
    assert (2, "boot", 3) in found  # by the watchdog
    assert (2, "fault", pages.FAULT_PROGRAM) in found


def test_no_watchdog_stays_when_a_host_comes(usb: Rig, tmp_path: Path) -> None:
    files = {**firmware(), "/settings.json": settings(usb)}
    with board(usb, tmp_path / "a.img", files) as twin:
        twin.run(8)
        assert twin._plant.bites_us != NEVER
        with connect(twin.port or twin.direct) as reached:
            before = reached.link.wait(10)
            twin.run(1)
            assert twin._plant.bites_us == NEVER
            assert reached.link.who().boot == before.boot
            reached.files.hashes("/lib")  # its program has been stopped by Ctrl-C
            assert twin._plant.bites_us == NEVER


def test_ctrl_c_in_the_first_moment_of_a_host(usb: Rig, tmp_path: Path) -> None:
    """Before the program has looked for a host: Ctrl-C stops the watchdog too."""
    files = {**firmware(), "/settings.json": settings(usb)}
    with board(usb, tmp_path / "a.img", files) as twin:
        twin.run(8)
        with connect(twin.port or twin.direct) as reached:
            reached.files.hashes("/lib")
            assert twin._plant.bites_us == NEVER


@pytest.mark.parametrize("at_once", [False, True])
def test_where_it_cannot_be_stopped_a_host_costs_one_start(
    usb: Rig, tmp_path: Path, at_once: bool
) -> None:
    """As on an ESP32. at_once: Ctrl-C comes before the program has seen the host."""
    chips = firmware()[CHIPS].decode()
    assert STOPS in chips
    files = {**firmware(), "/settings.json": settings(usb),
             CHIPS: chips.replace(STOPS, "0, 0").encode()}
    with board(usb, tmp_path / "a.img", files) as twin:
        twin.run(8)
        assert twin._plant.bites_us != NEVER
        with connect(twin.port or twin.direct) as reached:
            if not at_once:
                assert reached.link.wait(15).boot == 1
                twin.run(2)
                assert reached.link.wait(15).boot == 2
            reached.files.hashes("/lib")
            assert twin._plant.bites_us == NEVER
    found = events(tmp_path / "a.img")
    assert (1, "host", 2) in found  # it ended by itself, cleanly
    assert [e for e in found if e[1] == "fault"] == []


def test_safe_mode_after_three_failed_starts_and_flash_out_of_it(
    usb: Rig, tmp_path: Path
) -> None:
    raises = broken("        raise ValueError('on purpose')\n", "__init__")
    files = {**firmware(), "/settings.json": settings(usb), CUE: raises}
    looks = []
    with board(usb, tmp_path / "a.img", files, tpm=70) as twin:
        twin.run(35, looks.append)
        boots = list(twin._engine.boots)
        assert len(boots) == 4
        assert not any(g.connected for g in looks)
        with connect(twin.port or twin.direct) as reached:
            reached.link.tries = 1
            with pytest.raises(NoAnswer, match="safe mode"):
                reached.link.who()
        rig = tmp_path / "rig.toml"
        rig.write_text(example_path("lakeside-hut").read_text())
        done = flash(rig, port=twin.port or twin.direct, confirm=lambda plan: True)
        assert (done.outcome, done.in_force) == ("written", True)
        assert [c.path for c in done.files_changed if c.kind == "changed"] or done.files_changed
        twin.run(15, looks.append)
        assert len(twin._engine.boots) >= 5
    found = events(tmp_path / "a.img")
    assert [(name, n) for _, name, n in found if name == "safe_mode"] == [("safe_mode", 3)]


def test_firmware_from_before_where_the_new_files_are_broken(usb: Rig, tmp_path: Path) -> None:
    whole = firmware()
    before = {p.replace("/lib/", "/prev/"): d for p, d in whole.items()}
    image = tmp_path / "half.img"
    looks = []
    files = {**before, **whole, "/settings.json": settings(usb), CUE: b"def half("}
    with board(usb, image, files, tpm=70) as twin:
        twin.run(15, looks.append)
    assert any(g.connected for g in looks)
    assert (1, "fault", pages.FAULT_PROGRAM) in events(image)
    looks.clear()
    files = {**before, "/main.py": whole["/main.py"], "/settings.json": settings(usb)}
    with board(usb, tmp_path / "none.img", files, tpm=70) as twin:  # between the two renames
        twin.run(15, looks.append)
    assert looks[-1].connected


def test_previous_settings_charge_and_the_host_is_told(usb: Rig, tmp_path: Path) -> None:
    good = settings(usb)
    files = {**firmware(), OLD_SETTINGS: good, "/settings.json": good[:-9]}
    looks = []
    with board(usb, tmp_path / "a.img", files, tpm=70) as twin:
        twin.run(20, looks.append)
        assert looks[-1].connected
        with connect(twin.port or twin.direct) as reached:
            reached.link.wait(10)
            state = reached.link.state()
            assert (state["settings_ok"], state["fault"]) == (2, pages.FAULT_SETTINGS)
            assert reached.link.settings() == good
    names = [name for _, name, _ in events(tmp_path / "a.img")]
    assert "previous_settings" in names


def test_settings_that_have_charged_are_kept_on_the_board(usb: Rig, tmp_path: Path) -> None:
    good = settings(usb)
    files = {**firmware(), "/settings.json": good}
    with board(usb, tmp_path / "a.img", files, tpm=70) as twin:
        twin.run(20)
        twin.person = Steady(0)
        twin.run(10)
        with connect(twin.port or twin.direct) as reached:
            assert reached.files.read(OLD_SETTINGS) == good
