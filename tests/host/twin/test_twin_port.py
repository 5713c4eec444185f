"""Stock mpremote on the virtual board's port, while main.py runs, without extra options."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import littlefs
import pytest
from steadyturn.board.repl import ReplFiles
from steadyturn.board.stream import SerialStream
from steadyturn.rig.types import Rig
from steadyturn.twin.flash import BLOCK, BLOCKS
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

KILL_S = 30  # mpremote's own time-outs do not work on a pseudo-terminal


@pytest.fixture
def twin(hut: Rig, hut_image: Path) -> Iterator[Twin]:
    with Twin(hut, image=hut_image, person=Steady(60)) as made:
        if made.port is None:
            pytest.fail("these tests need MicroPython's Unix port: install the project's wheel")
        yield made


def mpremote(twin: Twin, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "mpremote", "connect", str(twin.port), *arguments],
        capture_output=True, text=True, timeout=KILL_S, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_exec_copy_list_reset(twin: Twin, tmp_path: Path) -> None:
    assert mpremote(twin, "exec", "import steadyturn_fw; print(steadyturn_fw.VERSION)").strip()
    sent = tmp_path / "sent.bin"
    sent.write_bytes(bytes(range(256)) * 12 + b"\x03\x04\x01")
    mpremote(twin, "fs", "cp", str(sent), ":/sent.bin")
    listed = mpremote(twin, "fs", "ls")
    assert "sent.bin" in listed
    assert "main.py" in listed
    mpremote(twin, "fs", "cp", ":/sent.bin", str(tmp_path / "back.bin"))
    assert (tmp_path / "back.bin").read_bytes() == sent.read_bytes()
    mpremote(twin, "fs", "rm", ":/sent.bin")
    mpremote(twin, "reset")
    twin.run(1.0)
    assert twin.glimpse().board == "running"


def test_soft_reset_and_clock(twin: Twin) -> None:
    mpremote(twin, "soft-reset")
    said = mpremote(twin, "exec", (
        "import time, machine\n"
        "a = time.ticks_ms()\ntime.sleep_ms(300)\nb = time.ticks_ms()\n"
        "print(time.ticks_diff(b, a), machine.reset_cause(), len(machine.unique_id()))"
    ))
    slept, cause, size = map(int, said.split())
    assert 300 <= slept < 400
    assert (cause, size) == (1, 8)


def test_an_error_on_the_board_is_told(twin: Twin) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "mpremote", "connect", str(twin.port), "exec", "1/0"],
        capture_output=True, text=True, timeout=KILL_S, check=False,
    )
    assert done.returncode == 1
    assert "ZeroDivisionError" in done.stdout + done.stderr


def test_many_stops_of_a_running_program(
    twin: Twin, firmware_files: dict[str, bytes]
) -> None:
    """The raw REPL is reached while main.py runs, again and again, and main.py comes back."""
    for number in range(6):
        files = ReplFiles(str(twin.port))
        assert files.read("/main.py") == firmware_files["/main.py"]
        files.restart()
        if number % 2:
            time.sleep(0.15)  # now and then in the middle of its start
    stream = SerialStream(str(twin.port))
    stream.write(b":who\n")
    heard = b""
    end = time.monotonic() + 10
    while b"\xa5S" not in heard and time.monotonic() < end:
        heard += stream.read(240, 0.2)
    stream.close()
    assert b"\xa5S" in heard


def test_ctrl_c_ends_a_program_that_never_sleeps(hut: Rig, tmp_path: Path) -> None:
    twin = Twin(hut, image=tmp_path / "a.img")
    twin.prepare(files={"/main.py": b"while True:\n pass\n"})
    with twin:
        assert "ok" in mpremote(twin, "exec", "print('ok')")


def test_ctrl_c_during_flash_operations_leaves_the_file_system_whole(
    hut: Rig, tmp_path: Path
) -> None:
    main = b"""
n = 0
while True:
    with open('/log', 'ab') as f:
        f.write(b'%08d' % n)
    n += 1
"""
    image = tmp_path / "a.img"
    twin = Twin(hut, image=image)
    twin.prepare(files={"/main.py": main})
    with twin:
        for _ in range(2):
            files = ReplFiles(str(twin.port))
            data = files.read("/log")
            assert len(data) % 8 == 0
            numbers = [int(data[i : i + 8]) for i in range(0, len(data), 8)]
            assert numbers, "nothing was written"
            files.restart()
            time.sleep(0.3)


def test_the_clock_of_a_busy_program_is_real_and_never_goes_back(
    hut: Rig, tmp_path: Path
) -> None:
    main = b"""
import time
while True:
    before = first = time.ticks_us()
    back = reads = 0
    while time.ticks_diff(before, first) < 300000:
        now = time.ticks_us()
        back = min(back, time.ticks_diff(now, before))
        before = now
        reads += 1
    print('clock', back, reads)
"""
    twin = Twin(hut, image=tmp_path / "a.img")
    twin.prepare(files={"/main.py": main})
    with twin:
        stream = SerialStream(str(twin.port))
        heard, seen = b"", []
        end = time.monotonic() + 10
        while len(seen) < 4 and time.monotonic() < end:
            heard += stream.read(240, 0.2)
            while b"\n" in heard:
                line, _, heard = heard.partition(b"\n")
                seen.append((time.monotonic(), line.split()))
        stream.close()
    assert all(int(words[1]) == 0 for _, words in seen[1:])
    assert all(int(words[2]) > 1000 for _, words in seen[1:])
    assert abs(seen[3][0] - seen[1][0] - 0.6) < 0.2


def test_littlefs_python_reads_the_image(
    hut: Rig, hut_image: Path, firmware_files: dict[str, bytes]
) -> None:
    """An independent reading, at the settings of a Pico."""
    with Twin(hut, image=hut_image) as twin:
        files = ReplFiles(str(twin.port))
        files.write("/hello.txt", b"from the board")
        files.close()
    system = littlefs.LittleFS(
        block_size=BLOCK, block_count=BLOCKS, read_size=32, prog_size=256, lookahead_size=32,
        mount=False,
    )
    system.context.buffer = bytearray(hut_image.read_bytes())
    system.mount()
    with system.open("/hello.txt", "rb") as file:
        assert file.read() == b"from the board"
    for name, data in firmware_files.items():
        with system.open(name, "rb") as file:
            assert file.read() == data


def test_real_time_while_a_client_is_there_and_none_otherwise(twin: Twin) -> None:
    before = twin.t_s
    time.sleep(0.15)
    assert twin.t_s == before
    assert twin.port is not None
    client = os.open(twin.port, os.O_RDWR | os.O_NOCTTY)
    time.sleep(0.3)
    began_real, began = time.monotonic(), twin.glimpse().t_s
    time.sleep(1.0)
    passed_real, passed = time.monotonic() - began_real, twin.glimpse().t_s - began
    os.close(client)
    assert abs(passed - passed_real) < 0.05
    time.sleep(0.1)
    stopped = twin.t_s
    time.sleep(0.15)
    assert twin.t_s == stopped
