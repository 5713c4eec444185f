"""The front door: help by stage, exit codes, no traceback whatever is typed."""

import json
import os
import subprocess
import sys

import pytest
from steadyturn.__main__ import start
from steadyturn.cli import main as front
from steadyturn.cli.table import COMMANDS
from steadyturn.errors import Failed, Problem, WrongInput


def test_help_lists_every_command_under_its_stage(capsys):
    assert front.code(["--help"]) == 0
    shown = capsys.readouterr().out
    for stage, name, _, line in COMMANDS:
        assert f"\n{stage}:" in shown
        assert name in shown
        assert line.split()[0] in shown
    assert max(len(row) for row in shown.splitlines()) <= 80


@pytest.mark.parametrize("name", [row[1] for row in COMMANDS])
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_each_command_has_help(name, flag, capsys):
    assert front.code([name, flag]) == 0
    assert "Usage: steadyturn " + name in capsys.readouterr().out


def test_alone_it_shows_what_it_sees_also_as_json(capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(tmp_path / "library"))
    assert front.code(["--json"]) == 0
    seen = json.loads(capsys.readouterr().out)
    assert seen["rigs"] == []
    assert seen["next_step"].startswith("steadyturn ")
    assert front.code(["--json", "pace"]) == 2
    assert "steadyturn pace --json" in capsys.readouterr().err


def test_a_mistyped_command_is_guessed(capsys):
    assert front.code(["pase"]) == 2
    assert "Did you mean 'pace'?" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["a" * 300, "a" * 5000, "../examples/lakeside-hut"])
def test_a_name_that_no_file_can_have_is_wrong_input(name, capsys):
    assert front.code(["check", name]) == 2
    assert "wrong: " in capsys.readouterr().err


def test_unknown_option_is_exit_two(capsys):
    assert front.code(["pace", "--nonsense"]) == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("raised", "expected", "said"),
    [
        (WrongInput(Problem("a.toml:3", "motor.max_rpm", "-4", "give 100 to 100000 rpm.")), 2,
         "a.toml:3: motor.max_rpm = -4: give 100 to 100000 rpm."),
        (Failed("the board does not answer.", "Press its reset button."), 1, "Press its reset"),
        (KeyboardInterrupt(), 1, "stopped by you"),
        (PermissionError(13, "Permission denied", "/x"), 1, "/x: Permission denied"),
    ],
)
def test_errors_become_exit_codes(raised, expected, said, monkeypatch, capsys):
    def fall(**_):
        raise raised

    monkeypatch.setattr(front.main, "main", fall)
    assert front.code([]) == expected
    assert said in capsys.readouterr().err


def test_ctrl_c_while_loading_is_no_traceback(monkeypatch):
    class Interrupted:
        def __getattr__(self, name):
            raise KeyboardInterrupt

    monkeypatch.setitem(sys.modules, "steadyturn.cli.main", Interrupted())
    with pytest.raises(SystemExit) as ended:
        start()
    assert ended.value.code == 1


@pytest.mark.skipif(os.name != "posix", reason="closes streams by a POSIX shell")
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams_are_no_traceback(closed):
    line = f'"{sys.executable}" -m steadyturn check lakeside-hut {closed}'
    done = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""


def test_module_form_runs():
    done = subprocess.run(
        [sys.executable, "-m", "steadyturn", "--version"], capture_output=True, text=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stdout.startswith("steadyturn, version ")


def test_help_needs_no_numpy():
    script = (
        "import sys\nfrom steadyturn.cli.main import code\ncode(['--help'])\n"
        "sys.exit(any(m in sys.modules for m in ('numpy', 'rich', 'matplotlib', 'serial')))"
    )
    assert subprocess.run([sys.executable, "-c", script], check=False,
                          capture_output=True).returncode == 0
