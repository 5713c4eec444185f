"""A command loads what it uses: help loads nothing, and only what reckons loads numpy."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from steadyturn.cli.table import COMMANDS
from steadyturn.sessions.library import Library

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import Recorder

RECKON = {"numpy", "scipy"}
DRAW = {"matplotlib"}
OTHERS = {"rich", "serial", "mpremote", "sqlite3", "tomlkit", "platformdirs", "duckdb", "pandas",
          "shapely", "trimesh", "manifold3d"}

# Runs command lines in one process; after each, the watched modules that are there.
SCRIPT = """
import contextlib, io, json, sys
from steadyturn.cli.main import code
lines, watched = json.loads(sys.argv[1])
for line in lines:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        status = code(line)
    print(json.dumps([line, status, [m for m in watched if m in sys.modules]]))
"""


def loaded(lines: list[list[str]], folder: Path) -> list[tuple[list[str], int, set[str]]]:
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps([lines, sorted(RECKON | DRAW | OTHERS)])],
        capture_output=True, text=True, check=True, stdin=subprocess.DEVNULL, cwd=folder,
        env={**os.environ, "STEADYTURN_LIBRARY": str(folder / "library")})
    rows = [json.loads(row) for row in done.stdout.splitlines()]
    assert [row[0] for row in rows] == lines
    return [(line, status, set(modules)) for line, status, modules in rows]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """With a library whose outings are decoded, as a review left it."""
    here = tmp_path_factory.mktemp("imports")
    recorder = Recorder()
    with Library(here / "library") as shelf:
        board = shelf.board("e6614c311b7a5a2f", 7, now_s=1.7e9)
        contact = shelf.begin(board, kind="pull", host_s=1.7e9, boot=1, t_ms=50_000,
                              firmware="0.1.0", seqs=(1, 5), settings=b"")
        shelf.add_pages(board, contact, [recorder.page() for _ in range(5)])
        shelf.finish(contact)
        assert len(shelf.outings(board)) == 1
    return here


def test_help_loads_nothing(folder):
    lines = [["--version"], ["--help"], *([name, "--help"] for _, name, _, _ in COMMANDS)]
    for line, status, modules in loaded(lines, folder):
        assert (line, status, modules) == (line, 0, set())


def test_what_reckons_nothing_loads_no_numpy(folder):
    lines = [
        ["completion", "bash"], ["ports"], [], ["new", "no/such/folder.toml"],
        ["watch", "--port", "/dev/none"], ["pull", "--port", "/dev/none"], ["sessions"],
        ["sessions", "--json"], ["sessions", "--per", "month"],
    ]
    known = {row[1] for row in COMMANDS}
    lines = [line for line in lines if not line or line[0] in known]
    for line, status, modules in loaded(lines, folder):
        assert status in (0, 1, 2)
        assert not modules & (RECKON | DRAW), line


def test_what_draws_nothing_loads_no_matplotlib(folder):
    lines = [["check", "lakeside-hut"], ["review"], ["export", "--out", "out"]]
    for line, status, modules in loaded(lines, folder):
        assert (line, status) == (line, 0)
        assert not modules & DRAW, line
