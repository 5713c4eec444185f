"""The front door: help by stage, exit codes, no traceback whatever is typed."""

import json
import os
import shutil
import signal
import subprocess
import sys

import pytest
from steadyturn.__main__ import start
from steadyturn.cli import main as front
from steadyturn.cli.table import COMMANDS
from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.rig.examples import example_path


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


@pytest.mark.parametrize(("args", "option"), [
    (["bench", "--new", "q.toml"], "--new"), (["bench", "--new=q.toml"], "--new")])
def test_a_place_where_nothing_may_be_written(args, option, tmp_path, monkeypatch, capsys):
    """Named by the option that was typed, with what to do."""
    def denied(**_):
        raise PermissionError(13, "Permission denied", "unseen")

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tempfile.mkstemp", denied)
    assert front.code(args) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert said.startswith(f"wrong: {option}: q.toml: it may not be written")
    assert "Name a place" in said


@pytest.mark.parametrize("command", ["wiring", "gears"])
def test_a_folder_where_nothing_may_be_written(command, tmp_path, monkeypatch):
    from steadyturn.jobs import out_folder

    monkeypatch.setattr("os.access", lambda *_, **__: False)
    with pytest.raises(WrongInput, match=f"--out: .*{command}: nothing may be written"):
        out_folder.ours(tmp_path / "new" / command, "list.json", command)
    assert list(tmp_path.iterdir()) == []


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


@pytest.mark.skipif(os.name != "posix", reason="names of files that are no text")
@pytest.mark.parametrize("encoding", ["utf-8:strict", "ascii", "latin-1"])
def test_a_name_the_terminal_cannot_show_is_no_traceback(encoding, tmp_path):
    odd = os.fsdecode(bytes(tmp_path) + b"/h\xfctte-\xce\xbc.toml")
    shutil.copy(example_path("lakeside-hut"), odd)
    done = subprocess.run(
        [sys.executable, "-m", "steadyturn", "check", odd, "--json"], capture_output=True,
        check=False, env={**os.environ, "PYTHONIOENCODING": encoding})
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["file"] == odd


@pytest.mark.skipif(os.name != "posix", reason="POSIX signals")
@pytest.mark.parametrize("sent", [signal.SIGTERM, signal.SIGINT])
def test_kill_is_ctrl_c(sent, tmp_path):
    """Also where it falls into an exec, after which CPython would end by the signal."""
    (tmp_path / "fallen.py").write_text(
        f"import os, time\nos.kill(os.getpid(), {int(sent)})\ntime.sleep(5)\n", "utf-8")
    script = (
        "import sys\nfrom steadyturn.cli import main as front\n"
        f"sys.path.insert(0, {str(tmp_path)!r})\n"
        "class Command:\n    @staticmethod\n    def main(**_):\n        exec('import fallen')\n"
        "front.main = Command\nfront.run()\n")
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True,
                          check=False)
    assert done.returncode == 1
    assert done.stderr == "\nstopped by you\n"


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


@pytest.mark.parametrize(("args", "said"), [
    (["sessions", "--per", "hour"], "wrong: --per: 'hour' is not one of"),
    (["export"], "wrong: --out: is needed. 'steadyturn export --help' says"),
    (["new"], "wrong: FILE: is needed."),
    (["pull", "--prot", "x"], "wrong: --prot: there is no such option. Did you mean --port?"),
    (["pull", "a"], "wrong: Got unexpected extra argument (a)."),
    (["pulll"], "wrong: There is no command 'pulll'. Did you mean 'pull'?"),
])
def test_a_wrong_command_line_is_said_as_other_wrong_input_is(args, said, capsys):
    assert front.code(args) == 2
    err = capsys.readouterr().err
    assert " ".join(err.split()).startswith(said)
    assert "Usage" not in err
    assert max(map(len, err.splitlines())) <= 80
