"""The fallback on CPython: the same firmware, the same link and files, without a port."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from steadyturn.board.connect import connect
from steadyturn.errors import Failed
from steadyturn.rig.types import Rig
from steadyturn.twin import interpreter
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin


@pytest.fixture
def plain(
    hut: Rig, hut_settings: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Twin]:
    monkeypatch.setenv(interpreter.VARIABLE, "cpython")
    twin = Twin(hut, image=tmp_path / "board.img", person=Person(hut, 1), ideal_sensor=True)
    twin.prepare(hut_settings)
    with twin:
        yield twin


def test_the_firmware_runs_and_its_energy_is_the_machines(plain: Twin) -> None:
    assert plain.port is None
    plain.run(20)
    truth = plain.truth
    assert truth.out_j > 5
    with connect(plain.direct) as board:
        board.link.wait(10)
        state = board.link.state()
        truth = plain.truth
    assert state["settings_ok"] == 1
    assert state["energy_in_uj"] / 1e6 == pytest.approx(truth.in_j, rel=0.01, abs=0.2)
    assert not (plain._engine.flash.path / "lib" / "steadyturn_fw" / "__pycache__").exists()


def test_files_as_over_a_port(plain: Twin) -> None:
    with connect(plain.direct) as board:
        files = board.files
        assert "/lib/steadyturn_fw/main.py" in files.hashes("/lib")
        files.mkdir("/a/b")
        files.write("/a/b/c.new", b"text")
        files.rename("/a/b/c.new", "/a/b/c")
        assert files.hashes("/a") == {"/a/b/c": hashlib.sha256(b"text").hexdigest()}
        assert files.read("/a/b/c") == b"text"
        files.remove("/a/b/c")
        assert files.hashes("/a") == {}
        with pytest.raises(FileNotFoundError):
            files.read("/a/b/c")
        with pytest.raises(Failed, match="off the board"):
            files.read("/../../etc/passwd")
        board.restart()
        assert board.link.wait(10).unique_id


def test_a_program_that_catches_everything_is_stopped_in_the_end(
    hut: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(interpreter.VARIABLE, "cpython")
    main = (
        b"import time\nn = 0\nwhile n < 2:\n try:\n  time.sleep_ms(20)\n"
        b" except KeyboardInterrupt:\n  n += 1\n"
    )
    twin = Twin(hut, image=tmp_path / "a.img")
    twin.prepare(files={"/main.py": main})
    with twin:
        files = twin.direct.files()
        assert files.read("/main.py") == main
        files.close()


def test_a_stopped_twin_is_gone_for_its_clients(plain: Twin) -> None:
    stream = plain.direct.stream()
    plain.stop()
    with pytest.raises(Failed, match="stopped"):
        stream.read(1, 0.1)


ELSEWHERE = """
import os, select, sys
for name in ("pty", "tty", "termios", "fcntl"):
    sys.modules[name] = None
del select.poll
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin
twin = Twin(read_rig(example_path("lakeside-hut")), person=Steady(60))
twin.prepare(files={"/main.py": b"import time\\nwhile True:\\n    time.sleep_ms(20)\\n"})
with twin:
    twin.run(3)
    print(twin.glimpse().board)
"""


def test_it_needs_no_terminals() -> None:
    """As on a system that has neither terminals nor poll()."""
    done = subprocess.run(
        [sys.executable, "-c", ELSEWHERE], capture_output=True, text=True, timeout=60,
        check=False, env={**os.environ, interpreter.VARIABLE: "cpython"},
    )
    assert done.stdout.strip() == "running", done.stderr
