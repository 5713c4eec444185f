"""The house stands as DEVELOPERS.md draws it: arrows, top level, packaging, one table."""

import importlib
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest
from steadyturn.cli.table import COMMANDS, STAGES

ROOT = Path(__file__).parents[3]


def tracked():
    done = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if done.returncode:  # an unpacked sdist
        return [str(p.relative_to(ROOT)) for p in ROOT.rglob("*") if p.is_file()]
    return done.stdout.split("\n")


def test_arrows_point_down():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_top_level_is_the_fixed_one():
    allowed = {"README.md", "DEVELOPERS.md", "firmware", "host", "tests", "hardware",
               "pyproject.toml"}
    top = {name.split("/")[0] for name in tracked() if name}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_versions_agree():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    host = importlib.import_module("steadyturn").__version__
    board = importlib.import_module("steadyturn_fw").VERSION
    assert project["version"] == host == board


@pytest.mark.parametrize(("stage", "name", "module", "line"), COMMANDS)
def test_each_row_of_the_table_is_a_command(stage, name, module, line):
    assert stage in STAGES
    command = importlib.import_module(f"steadyturn.cli.{module}").command
    assert isinstance(command, click.Command)
    assert len(line) <= 66
    assert line.endswith(".")


def test_firmware_names_only_the_shadowed_modules():
    # `utime` and `umachine` would pass by the virtual board's clock and pins
    for path in (ROOT / "firmware").rglob("*.py"):
        found = re.findall(r"^\s*(?:import|from)\s+(u\w+)", path.read_text(), re.M)
        assert not found, f"{path}: {found}"


# one function on local names: a virtual hour is two million of its steps
LONG_WITH_REASON = {"host/steadyturn/model/dynamics_step.py"}


def test_no_long_files():
    long = {
        name for name in tracked()
        if name.endswith(".py") and len((ROOT / name).read_text().splitlines()) > 400
    }
    assert long <= LONG_WITH_REASON
