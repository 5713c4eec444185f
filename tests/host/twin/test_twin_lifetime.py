"""Which interpreter, and that nothing stays behind: clear errors, no orphans."""

from __future__ import annotations

import dataclasses
import gc
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from steadyturn.board.holders import virtual_boards
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.twin import Misread, plan_misreads, serve
from steadyturn.report.twin import text
from steadyturn.rig.examples import example_path
from steadyturn.rig.types import Rig
from steadyturn.twin import interpreter
from steadyturn.twin.twin import Twin

COMMAND = [sys.executable, "-m", "steadyturn", "twin", "lakeside-hut", "--json"]


def alive(pid: int) -> bool:
    try:
        with open(f"/proc/{pid}/stat") as file:
            return file.read().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def gone(pid: int, within_s: float = 5.0) -> bool:
    end = time.monotonic() + within_s
    while alive(pid):
        if time.monotonic() > end:
            return False
        time.sleep(0.02)
    return True


def children(pid: int) -> list[int]:
    with open(f"/proc/{pid}/task/{pid}/children") as file:
        found = [int(n) for n in file.read().split()]
    for task in Path(f"/proc/{pid}/task").iterdir():
        found += [int(n) for n in (task / "children").read_text().split()]
    return sorted(set(found))


def test_the_wheel_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(interpreter.VARIABLE, raising=False)
    found = interpreter.find()
    assert found.kind == "unix"
    assert found.serves_port


def test_without_wheel_and_path_it_is_cpython_and_says_why(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv(interpreter.VARIABLE, raising=False)
    monkeypatch.setattr(interpreter, "_wheel", lambda: "")
    monkeypatch.setenv("PATH", str(tmp_path))
    found = interpreter.find()
    assert found.kind == "cpython"
    assert "no micropython is on PATH" in found.why
    poor = tmp_path / "micropython"
    poor.write_text("#!/bin/sh\necho \"ImportError: no module named 'vfs'\" >&2\nexit 1\n")
    poor.chmod(0o755)
    found = interpreter.find()
    assert found.kind == "cpython"
    assert "no module named 'vfs'" in found.why


def test_a_program_on_path_that_is_fit_is_taken(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, hut: Rig
) -> None:
    wheel = interpreter._wheel()
    program = tmp_path / "micropython"
    program.write_text(
        f"#!{sys.executable} -IS\nimport sys\nsys.path.append({wheel!r})\n"
        "from micropython_run import run_main\nsys.exit(run_main(sys.argv))\n"
    )
    program.chmod(0o755)
    monkeypatch.delenv(interpreter.VARIABLE, raising=False)
    monkeypatch.setattr(interpreter, "_wheel", lambda: "")
    monkeypatch.setenv("PATH", str(tmp_path) + os.pathsep + os.environ["PATH"])
    found = interpreter.find()
    assert (found.kind, found.where, found.origin) == ("unix", str(program), "PATH")
    twin = Twin(hut, image=tmp_path / "a.img", interpreter=found)
    twin.prepare(files={"/main.py": b""})
    twin.stop()


def test_a_wrong_variable_is_wrong_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(interpreter.VARIABLE, "/no/such/program")
    with pytest.raises(WrongInput, match="no such program"):
        interpreter.find()
    monkeypatch.setenv(interpreter.VARIABLE, sys.executable)
    with pytest.raises(WrongInput, match="not a fit MicroPython"):
        interpreter.find()
    monkeypatch.setenv(interpreter.VARIABLE, "cpython")
    assert interpreter.find().kind == "cpython"


@pytest.mark.filterwarnings("error::pytest.PytestUnraisableExceptionWarning")
def test_a_twin_that_was_never_made_goes_quietly(
    hut: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(interpreter.VARIABLE, "/no/such/program")
    with pytest.raises(WrongInput):
        Twin(hut)
    gc.collect()


def test_an_interpreter_that_does_not_start_is_told(hut: Rig, tmp_path: Path) -> None:
    broken = interpreter.Interpreter("unix", str(tmp_path / "gone"), "test")
    twin = Twin(hut, image=tmp_path / "a.img", interpreter=broken)
    with pytest.raises(Failed, match="could not be put on the flash image"):
        twin.prepare(files={})
    twin.stop()


def test_a_wrong_image_leaves_nothing_open(hut: Rig, tmp_path: Path) -> None:
    short = tmp_path / "short.img"
    short.write_bytes(b"")
    before = len(os.listdir("/proc/self/fd"))
    with pytest.raises(WrongInput, match="a flash image has"):
        Twin(hut, image=short)
    gc.collect()
    assert len(os.listdir("/proc/self/fd")) == before


def test_stop_gives_everything_back(hut: Rig, hut_image: Path) -> None:
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(2):
        with Twin(hut, image=hut_image) as twin:
            twin.run(0.1)
            client = os.open(str(twin.port), os.O_RDWR | os.O_NOCTTY)
            time.sleep(0.6)
            os.close(client)
            pid = twin._engine.child.process.pid
            assert alive(pid)
        assert gone(pid, 0.5)
        twin.stop()  # once more does no harm
    assert len(os.listdir("/proc/self/fd")) == before


def test_a_dropped_twin_takes_its_child_along(hut: Rig, hut_image: Path) -> None:
    import dataclasses

    rig = dataclasses.replace(hut, supply=dataclasses.replace(hut.supply, feed="usb"))
    twin = Twin(rig, image=hut_image).start()
    twin.run(1)
    pid = twin._engine.child.process.pid
    assert alive(pid)
    del twin
    gc.collect()
    assert gone(pid)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_the_command_serves_until_it_is_ended(number: int, tmp_path: Path) -> None:
    image = tmp_path / "kept.img"
    with subprocess.Popen(
        [*COMMAND, "--person", "steady:60", "--image", str(image)], stdout=subprocess.PIPE,
        text=True,
    ) as served:
        assert served.stdout is not None
        text = ""
        while not text.endswith("}\n"):
            line = served.stdout.readline()
            assert line, text
            text += line
        told = json.loads(text)
        assert told["ready"]
        assert os.path.exists(told["port"])
        end = time.monotonic() + 15
        while not children(served.pid) and time.monotonic() < end:
            time.sleep(0.05)
        (child,) = children(served.pid)
        listed: list[str] = []
        while listed != [told["port"]] and time.monotonic() < end:  # not its console
            listed = [port for port, pid in virtual_boards() if pid == served.pid]
        assert listed == [told["port"]]
        served.send_signal(number)
        assert served.wait(10) == (-9 if number == signal.SIGKILL else 0)
        assert gone(child)
    assert image.stat().st_size == 1_441_816  # its flash, and its id


def test_the_command_says_why_it_cannot_serve_a_port() -> None:
    done = subprocess.run(
        COMMAND, capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, interpreter.VARIABLE: "cpython"},
    )
    assert done.returncode == 1
    assert "needs MicroPython's Unix port" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_rig_without_a_band_leads_to_pace_and_not_to_flash() -> None:
    path = example_path("toy-motor")
    assert path is not None
    with serve(path, person="none") as (served, _):
        told = text(served)
    assert "  steadyturn pace toy-motor  " in told
    assert "steadyturn flash" not in told


@pytest.mark.parametrize("blank", [False, True])
def test_what_a_person_is_told(blank: bool, hut: Rig) -> None:
    path = example_path("lakeside-hut")
    assert path is not None
    with serve(path, person="none", blank=blank) as (served, twin):
        told = text(served)
        assert twin.port is not None
        assert f"mpremote connect {twin.port} fs ls" in told
        assert f"watch --port {twin.port}" in told
        assert (f"steadyturn flash lakeside-hut --port {twin.port}" in told) == blank
        assert "steadyturn review --rig lakeside-hut" in told
        assert max(map(len, told.splitlines())) <= 80
        long = text(dataclasses.replace(served, rig_file=f"/{60 * 'x'}/my.toml"))
        assert f"  steadyturn review --rig \\\n      /{60 * 'x'}/my.toml\n      then:" in long
        assert "lives on the crank" in told
        assert "nobody cranks" in told
        assert "a turn a flash" in text(dataclasses.replace(served, person="beat"))
        wrong = dataclasses.replace(served, person="lamp", misread=(Misread("volts", 0.02, 0.0),))
        assert "'--person points'" in text(wrong)
        held = text(dataclasses.replace(wrong, person="points"))
        assert "two paces in turn, 45 s each" in held
        assert "'--person points'" not in held


def test_wrong_people() -> None:
    rig = example_path("lakeside-hut")
    assert rig is not None
    for person in ("steady", "steady:", "steady:fast", "steady:0", "steady:1e9", "fred"):
        with pytest.raises(WrongInput, match="steady:TPM"), serve(rig, person=person):
            pass


@pytest.mark.parametrize("asked", ["volts", "ohms:2", "volts:x", "volts:2:9", "amps:400",
                                  "amps:nan"])
def test_a_virtual_board_refuses_to_misread_so(asked: str, hut: Rig) -> None:
    with pytest.raises(WrongInput, match="--misread"):
        plan_misreads(hut, [asked])


def test_faults_are_told_and_wrong_ones_refused(hut: Rig) -> None:
    rig = example_path("lakeside-hut")
    assert rig is not None
    with serve(rig, person="none", faults=["nack:0:2.5", "frozen:30"]) as (served, twin):
        told = text(served)
        assert "From 0 s on for 2.5 s: nobody answers on the sensor's bus." in told
        assert "From 30 s on: the sensor answers, but converts no more." in told
        assert [(f.kind, f.from_us) for f in twin.bus.plan] == [
            ("nack", 0), ("frozen", 30_000_000)]
    for wrong in ("rust:1", "nack", "nack:", "nack:x", "nack:-1", "nack:1:0", "nack:1:nan", ""):
        with pytest.raises(WrongInput, match="KIND:FROM"), serve(rig, faults=[wrong]):
            pass
