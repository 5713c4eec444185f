"""Shell completion, by the protocol that the shells' scripts speak."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from types import SimpleNamespace

import pytest
from steadyturn.cli.main import code
from steadyturn.cli.table import COMMANDS
from steadyturn.rig.examples import example_names
from steadyturn.sizing.parts_file import example_names as example_drawers


@pytest.fixture
def offered(monkeypatch, capsys, tmp_path):
    """What bash is offered for a line whose last word is being typed."""
    monkeypatch.chdir(tmp_path)

    def ask(*words):
        monkeypatch.setenv("_STEADYTURN_COMPLETE", "bash_complete")
        monkeypatch.setenv("COMP_WORDS", shlex.join(("steadyturn", *words)))
        monkeypatch.setenv("COMP_CWORD", str(len(words)))
        with pytest.raises(SystemExit):
            code([])
        out = capsys.readouterr().out
        return [tuple(line.split(",", 1)) for line in out.splitlines() if line]

    return ask


def plain(offers):
    return {value for kind, value in offers if kind == "plain"}


def test_commands(offered):
    assert plain(offered("")) == {row[1] for row in COMMANDS}
    assert plain(offered("p")) == {row[1] for row in COMMANDS if row[1].startswith("p")}


def test_options(offered):
    assert {"--json", "--port"} <= plain(offered("flash", "--"))
    assert plain(offered("pace", "--pl")) == {"--plot"}
    assert plain(offered("completion", "z")) == {"zsh"}


def test_rig_files_are_those_here_and_the_examples(offered, tmp_path):
    (tmp_path / "mine.toml").touch()
    (tmp_path / "pyproject.toml").touch()
    (tmp_path / "notes.txt").touch()
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "boat.toml").touch()
    assert plain(offered("pace", "")) == {"mine.toml", *example_names()}
    assert plain(offered("check", "mi")) == {"mine.toml"}
    assert plain(offered("twin", "sub/")) == {"sub/boat.toml"}
    assert ("dir", "su") in offered("gears", "su")
    assert plain(offered("size", "at")) == {n for n in example_drawers() if n.startswith("at")}
    assert plain(offered("pace", "no/such/")) == set()


def test_ports_are_those_the_system_lists(offered, monkeypatch):
    rows = [SimpleNamespace(device=d, vid=0x2E8A, description="") for d in ("/x/one", "/y/two")]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: rows)
    assert "/x/one" in plain(offered("watch", "--port", ""))
    assert plain(offered("watch", "--port", "/y")) == {"/y/two"}


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_asks_the_program(shell, capsys):
    assert code(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert f"_STEADYTURN_COMPLETE={shell}_complete" in script
    assert code(["completion", "csh"]) == 2


@pytest.mark.skipif(not shutil.which("bash"), reason="there is no bash")
def test_bash_offers_rigs_beside_folders(tmp_path):
    program = tmp_path / "steadyturn"
    program.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m steadyturn "$@"\n')
    program.chmod(0o755)
    typed = ('eval "$(steadyturn completion bash)"; COMP_WORDS=(steadyturn pace lak);'
             ' COMP_CWORD=2; compopt() { echo "$2"; }; _steadyturn_completion steadyturn;'
             ' echo "${COMPREPLY[@]}"')
    env = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}",
           "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(["bash", "--norc", "-c", typed], env=env, capture_output=True,
                          text=True, timeout=30, check=False)
    assert done.stdout == "dirnames\nlakeside-hut\n", done.stderr
