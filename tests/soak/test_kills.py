"""SIGKILL at random moments, of the program and of the whole virtual board: what is on the
flash is what was there before the operation in progress, or after it, and nothing else."""

from __future__ import annotations

import os
import random
import signal
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from images import stored
from life import Day, person
from reckoning import Totals
from series import Series
from steadyturn.model.band import find_band
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.flash import Operation, apply
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages
from test_day import hut

HEAD = struct.Struct("<qq")  # where, and how many bytes follow; -1: an erase
CHILD = """
import os, sys
sys.path[:0] = {path!r}
import test_kills
test_kills.play({image!r}, {log!r}, {seed})
"""


def play(image: str, log: str, seed: int) -> None:
    """In a process of its own, until it is killed: cranking, with rests that end in the dark.
    Each flash operation stands in the log before it is done."""
    rig = hut()
    plan = [(t, what) for n in range(500)
            for t, what in ((10.0 * n, "follow"), (10.0 * n + 7.0, "brake"))]
    twin = Twin(rig, image=Path(image), seed=seed, person=person(rig, seed, Day([], plan, [], [])))
    flash = twin._engine.flash
    out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    finish = flash.finish

    def noted() -> None:
        operation = flash._under_way
        if operation is not None:
            data = operation.data or b""
            size = -1 if operation.data is None else len(data)
            os.write(out, HEAD.pack(operation.at, size) + data)
        finish()

    flash.finish = noted
    print("plays", flush=True)
    while True:
        twin.run(1.0)


def operations(log: Path) -> Iterator[Operation]:
    data = log.read_bytes() if log.exists() else b""
    at = 0
    while at + HEAD.size <= len(data):
        where, size = HEAD.unpack_from(data, at)
        at += HEAD.size
        yield Operation(0.0, where, None if size < 0 else data[at : at + size])
        at += max(0, size)


def state(image: bytes | bytearray) -> tuple[object, ...]:
    """Numbers of all pages, the newest's boot and totals."""
    found = stored(image)
    if not found:
        return ()
    newest = found[max(found)]
    return tuple(sorted(found)), pages.get(newest, pages.AT_BOOT, 3), Totals.of(newest)


def _wait(log: Path, count: int, most_s: float = 20.0) -> None:
    """Until so many flash operations stand in the log."""
    end = time.monotonic() + most_s
    while sum(1 for _ in operations(log)) < count and time.monotonic() < end:
        time.sleep(0.01)


def kill_boards(folder: Path, kills: int, seed: int) -> None:
    chance = random.Random(f"kills {seed}")
    image = folder / "a.img"
    rig = hut()
    twin = Twin(rig, image=image)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))))
    twin.stop()
    before_all: dict[int, bytes] = {}
    landed = 0
    for n in range(kills):
        log = folder / f"{n}.log"
        start = bytearray(image.read_bytes())
        path = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "host" / "twin")]
        with subprocess.Popen(
            [sys.executable, "-c",
             CHILD.format(path=path, image=str(image), log=str(log), seed=1000 * seed + n)],
            stdout=subprocess.PIPE, start_new_session=True,
        ) as board:
            assert board.stdout is not None
            assert board.stdout.readline() == b"plays\n"
            _wait(log, chance.randrange(40))
            time.sleep(chance.uniform(0.0, 0.05))
            board.send_signal(signal.SIGKILL)
        after = image.read_bytes()
        before = bytearray(start)
        done = list(operations(log))
        for operation in done[:-1]:
            apply(before, operation)
        whole = bytearray(before)
        if done:
            apply(whole, done[-1])
            landed += 1
        assert after in (before, whole), f"kill {n}: a third state"
        now = stored(after)
        assert state(after) in (state(before), state(whole))
        lost = [seq for seq, page in before_all.items() if now.get(seq) != page]
        assert not lost, f"kill {n}: pages {lost} are gone"
        before_all = now
    print(f"\n{kills} boards killed, {landed} with flash operations begun, "
          f"{len(before_all)} pages kept")
    boots = [pages.get(page, pages.AT_BOOT, 3) for _, page in sorted(before_all.items())]
    assert boots == sorted(boots)
    assert sorted(before_all) == list(range(1, len(before_all) + 1))


def kill_programs(image: Path, kills: int, seed: int) -> None:
    """The program's process dies, the virtual board starts it again: totals stay exact."""
    chance = random.Random(f"programs {seed}")
    rig = hut()
    length_s = 40.0 * kills + 60.0
    day = Day([(0.0, length_s)], [(0.0, "follow")], [], [])
    settings = build(rig, find_band(rig, deep=False))
    twin = Twin(rig, image=image, seed=seed, person=person(rig, seed, day))
    twin.prepare(encode(settings))
    ending = threading.Event()
    killed: list[int] = []

    def killer() -> None:
        while len(killed) < kills and not ending.is_set():
            goal_s = twin.t_s + chance.uniform(0.5, 25.0)  # a start that ran 10 s did not fail
            while twin.t_s < goal_s and not ending.is_set():
                time.sleep(0.001)
            time.sleep(chance.uniform(0.0, 0.002))
            child = twin._engine.child
            if child is not None and child.process.pid not in killed:
                os.kill(child.process.pid, signal.SIGKILL)
                killed.append(child.process.pid)

    thread = threading.Thread(target=killer)
    with twin:
        twin.run(10)
        series = Series(twin, settings, day)
        twin.cut_power()  # from the next start on readings are taken down
        series.start_from(stored(image.read_bytes()))
        thread.start()
        try:
            while len(killed) < kills:
                series.run(twin.t_s + 5.0)
        finally:
            ending.set()
            thread.join()
        series.run(twin.t_s + 10.0)
        twin.cut_power()
        series.run(twin.t_s + 1.0)
    found = series.found
    print(f"\n{len(killed)} programs killed, {found.boots} starts, {found.pages} pages equal to "
          f"the microjoule, {found.torn} flash operations torn")
    assert found.wrong == []
    assert found.boots > kills
    assert found.ticks > 200 * kills


def test_some_boards_are_killed(tmp_path: Path) -> None:
    kill_boards(tmp_path, 4, 1)


def test_some_programs_are_killed(tmp_path: Path) -> None:
    kill_programs(tmp_path / "a.img", 6, 1)


@pytest.mark.soak
@pytest.mark.timeout(2 * 3600)
def test_two_hundred_boards_are_killed(tmp_path: Path) -> None:
    kill_boards(tmp_path, 200, 2)


@pytest.mark.soak
@pytest.mark.timeout(2 * 3600)
def test_two_hundred_programs_are_killed(tmp_path: Path) -> None:
    kill_programs(tmp_path / "a.img", 200, 2)
