"""firmware/board_trials.py runs through on the virtual board: it has no slips. Its figures
there say nothing of a board."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from steadyturn.rig.types import Rig
from steadyturn.twin.twin import Twin

FIRMWARE = Path(__file__).parents[3] / "firmware"
KILL_S = 90


def trials(port: str, folder: Path) -> dict[str, str]:
    """Verdict by name, of fewer repetitions."""
    text = (FIRMWARE / "board_trials.py").read_text()
    text, count = re.subn(r"(?m)^(TICKS|PAGES|READS) = \d+$", r"\1 = 20", text)
    assert count == 3
    (folder / "board_trials.py").write_text(text)
    done = subprocess.run(
        [sys.executable, "-m", "mpremote", "connect", port, "run", "board_trials.py"],
        cwd=folder, capture_output=True, text=True, timeout=KILL_S, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Traceback" not in done.stdout, done.stdout
    rows = re.findall(r"^(PASS|FAIL|VALUE|SKIP) +(.+?): ", done.stdout, re.MULTILINE)
    return {name: verdict for verdict, name in rows}


def test_it_runs_through_and_its_list_names_its_rows(
    hut: Rig, hut_image: Path, tmp_path: Path
) -> None:
    with Twin(hut, image=hut_image) as twin:
        if twin.port is None:
            pytest.fail("this test needs MicroPython's Unix port: install the project's wheel")
        found = trials(twin.port, tmp_path)
    for name in ("USB frame number changes with a host", "a running watchdog is stopped",
                 "it does not bite any more", "it can be written", "the sensor answered"):
        assert found.get(name) == "PASS", (name, found)
    assert found["longest flash write"] in ("PASS", "FAIL")
    assert found["board"] == "VALUE"
    listed = re.findall(r"`([a-zA-Z][^`]*)`", (FIRMWARE / "needs_a_board.md").read_text())
    rows = [name for name in listed if any(row.startswith(name) for row in found)]
    assert len(rows) >= 14, sorted(found)
