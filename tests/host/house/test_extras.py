"""Words for what is missing fit how this program is installed."""

from __future__ import annotations

import tomllib
from pathlib import Path

from steadyturn import extras

ROOT = Path(__file__).parents[3]


def test_the_command_is_of_the_sources_and_its_extras_exist(monkeypatch, tmp_path):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert {"plots", "print", "parquet", "drawings"} <= set(project["optional-dependencies"])
    monkeypatch.chdir(ROOT)
    assert extras.install("plots") == "pip install -e '.[plots]'"
    monkeypatch.chdir(tmp_path)
    assert extras.install("plots") == f"pip install -e '{ROOT}[plots]'"
    monkeypatch.setattr(extras, "sources", lambda: None)
    assert extras.install("plots") .endswith("'.[plots]' in the folder of steadyturn's sources")
    assert "newer sources" in extras.update()


def test_no_message_names_a_package_index():
    found = [path for path in (ROOT / "host" / "steadyturn").rglob("*.py")
             if "pip install 'steadyturn" in path.read_text("utf-8")
             or "--upgrade steadyturn" in path.read_text("utf-8")]
    assert found == []
