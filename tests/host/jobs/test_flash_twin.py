"""Flash and watch on the virtual board: the real firmware, the real interpreter, its real
console; cut off, killed, disturbed and unplugged on the way."""

from __future__ import annotations

import io
import os
import random
import signal
import subprocess
import sys
import time

import pytest
from steadyturn.board import repl, update
from steadyturn.board.connect import connect
from steadyturn.board.link import settings_line
from steadyturn.board.stream import Gone, SerialStream
from steadyturn.errors import Failed
from steadyturn.jobs import flash as job
from steadyturn.jobs.flash import flash
from steadyturn.jobs.watch import watch
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin import flash as nor
from steadyturn.twin.interpreter import Interpreter, find
from steadyturn.twin.twin import Twin

RIG = example_path("lakeside-hut")
PLAIN = Interpreter("cpython", sys.executable, "test", "as on a platform without MicroPython")
pytestmark = pytest.mark.skipif(not find().serves_port, reason="no MicroPython here")


class Case:
    """Two rig files that differ in one setting, their settings' bytes, and a twin."""

    def __init__(self, folder):
        text = RIG.read_text()
        self.one, self.two = folder / "one.toml", folder / "two.toml"
        self.one.write_text(text)
        self.two.write_text(text.replace('label = "hut lamp"', 'label = "other lamp"'))
        self.rig = read_rig(self.one)
        band = find_band(self.rig, deep=False)
        self.settings = {p: encode(build(read_rig(p), band)) for p in (self.one, self.two)}
        self.image = folder / "board.img"


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return Case(tmp_path_factory.mktemp("rigs"))


@pytest.fixture(scope="module")
def twin(case):
    with Twin(case.rig, image=case.image) as board:
        board.prepare(settings=case.settings[case.one])
        yield board


def yes(plan):
    return True


def in_force(port) -> bytes:
    """The settings file that the running board says is in force."""
    with connect(port) as board:
        board.link.wait(15)
        end = time.monotonic() + 3
        while not board.link.state()["settings_ok"]:
            assert time.monotonic() < end, "the board runs without settings"
            time.sleep(0.05)
        return board.link.settings()


def test_a_fresh_board_then_nothing_then_one_setting(case):
    with Twin(case.rig) as board:
        done = flash(case.one, port=board.port, confirm=yes)
        assert (done.outcome, done.in_force, done.firmware_before) == ("written", True, None)
        assert not done.fault
        done = flash(case.one, port=board.port, confirm=yes)
        assert (done.outcome, done.in_force) == ("same", True)
        assert done.firmware_before == done.firmware_after
        done = flash(case.two, port=board.port, confirm=yes)
        assert [c.name for c in done.settings_changed] == ["label"]
        assert (done.files_changed, done.in_force) == ((), True)
        assert in_force(board.port) == case.settings[case.two]


def test_a_board_without_a_port_goes_through_the_same_code(case):
    with Twin(case.rig, interpreter=PLAIN) as board:
        assert board.port is None
        done = flash(case.one, port=board.direct, confirm=yes)
        assert (done.outcome, done.in_force) == ("written", True)
        look = next(watch(board.direct))
        assert look.answering
        assert look.settings_ok


OLD = {path: update.package_files()[path] + b"# old\n"
       for path in ("/lib/steadyturn_fw/pages.py", "/lib/steadyturn_fw/cue.py")}
SPARSE = 25  # while files are written that nothing uses yet: all of them in the long series
TEARS = 2  # torn in so many ways each


@pytest.mark.parametrize("sparse", [SPARSE, pytest.param(1, marks=pytest.mark.soak)])
def test_an_update_through_a_power_cut_at_every_flash_operation(case, sparse):
    """One recorded change of settings and firmware, cut before and in the middle of flash
    operations, all of those that put it in force: littlefs-python mounts what is left, and
    the settings file is the old one or the new one, whole, and so is a set of the firmware
    that main.py finds."""
    before = {**update.package_files(), update.MAIN: update.MAIN_PY, **OLD}
    with Twin(case.rig) as board:
        board.prepare(settings=case.settings[case.one], files=before)
        with connect(board.port) as reached:
            reached.files.hashes("/lib")
            start = board.image.read_bytes()
            board.record_flash()
            difference = update.compare(reached.files, case.settings[case.two])
            assert difference.compiled
            marks = []

            def step(done, total, what):
                if what == "putting it in force":
                    marks.append(len(board.flash_log))

            update.apply(reached.files, case.settings[case.two], difference, step)
            log = list(board.flash_log)
            assert update.compare(reached.files, case.settings[case.two]).none
    assert len(log) > 100
    old = {p: d for p, d in before.items() if p != update.MAIN}
    seen, places = set(), set()
    for number, image, operation in nor.prefixes(log, start):
        if number < marks[0] and number % sparse:
            continue
        lefts = [bytes(image)]
        for seed in range(TEARS if number >= marks[0] else 1):
            left = bytearray(image)
            nor.tear(left, operation, seed=number * TEARS + seed)
            lefts.append(bytes(left))
        for left in lefts:
            settings, place = _after(left, case, old, dict(difference.wanted))
            seen.add(settings)
            places.add(place)
    assert seen == set(case.settings.values())
    assert {"old", "before"} <= places


def _after(image, case, old, new) -> tuple[bytes, str]:
    """The settings, and which firmware main.py finds."""
    from littlefs import LittleFS, LittleFSError

    fs = LittleFS(block_size=nor.BLOCK, block_count=nor.BLOCKS, prog_size=256, read_size=32,
                  lookahead_size=32, mount=False)
    fs.context.buffer = bytearray(image)
    fs.mount()

    def read(path):
        with fs.open(path, "rb") as file:
            return file.read()

    def folder(path):
        try:
            names = fs.listdir(path)
        except LittleFSError:
            return {}
        return {f"{update.PACKAGE}/{name}": read(f"{path}/{name}") for name in names}

    assert read(update.MAIN) == update.MAIN_PY
    found = read(update.SETTINGS)
    assert found in case.settings.values()
    package = folder(update.PACKAGE)
    if not package:
        assert folder(update.BEFORE) == old
        if found == case.settings[case.two]:
            assert read(update.KEPT) == case.settings[case.one]
        return found, "before"
    assert package in (old, new)
    return found, "old" if package == old else "new"


@pytest.mark.parametrize("moment", ["writing /settings", "checking", "putting it in force"])
def test_power_gone_during_a_flash(case, twin, moment, monkeypatch):
    """The board dies while it is written to, starts again by itself with whole settings,
    and the same command ends the work."""
    monkeypatch.setattr(repl, "STEP_S", 1.5)
    now = in_force(twin.port)
    other = case.two if now == case.settings[case.one] else case.one

    def cut(done, total, what):
        if what.startswith(moment):
            twin.cut_power()

    with pytest.raises(Failed):
        flash(other, port=twin.port, confirm=yes, progress=cut)
    assert in_force(twin.port) in case.settings.values()
    assert flash(other, port=twin.port, confirm=yes).in_force
    assert in_force(twin.port) == case.settings[other]


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_the_program_killed_during_a_flash(case, twin, how):
    """Its board is left at a prompt (SIGKILL) or running (Ctrl-C); the next flash ends it."""
    now = in_force(twin.port)
    other = case.two if now == case.settings[case.one] else case.one
    code = (
        "import sys, time\n"
        "from steadyturn.jobs.flash import flash\n"
        "def step(*_):\n    print('writing', flush=True); time.sleep(0.3)\n"
        "flash(sys.argv[1], port=sys.argv[2], confirm=lambda p: True, progress=step)\n"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(other), twin.port], stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)})
    assert child.stdout.readline() == b"writing\n"
    child.send_signal(how)
    assert child.wait(20) != 0
    child.stdout.close()
    if how == signal.SIGINT:  # the command has it run again before it ends
        assert in_force(twin.port) in case.settings.values()
    assert flash(other, port=twin.port, confirm=yes).in_force


def test_rubbish_on_the_port_is_not_answered_and_harms_nothing(case, twin):
    now = in_force(twin.port)
    chance = random.Random(7)
    stream = SerialStream(twin.port)
    for _ in range(20):  # everything but Ctrl-C, which ends a program, and a question's ":"
        stream.write(chance.randbytes(60).translate(None, b"\x03:"))
    stream.write(b"\n")
    time.sleep(0.2)
    assert stream.read(4096, 0.1) == b""
    stream.write(b"\x03" + chance.randbytes(100).translate(None, b"\x04"))
    time.sleep(0.3)
    stream.close()
    # its program has been stopped now; the raw REPL is found all the same
    assert flash(case.one, port=twin.port, confirm=yes).in_force
    assert in_force(twin.port) == case.settings[case.one]
    assert now in case.settings.values()


def test_watching_does_not_stop_the_loop(case, twin):
    looks = list(watch(twin.port, seconds=1.2, rate_hz=10))
    assert len(looks) >= 6
    assert all(look.answering for look in looks)
    assert len({look.boot for look in looks}) == 1
    times = [look.board_s for look in looks]
    assert times == sorted(times)
    assert times[-1] > times[0]
    band = find_band(case.rig, deep=False)
    assert looks[0].target_tpm == pytest.approx(band.target_tpm, abs=0.06)


def test_the_settings_line_is_what_the_crc_covers(case, twin):
    with connect(twin.port) as board:
        board.link.wait(10)
        state = board.link.state()
        assert state["settings_crc"] == update.settings_crc(board.link.settings())
        assert settings_line(board.link.settings()).startswith(b"{")


def test_unplugged_while_files_are_open_and_while_watched(case, monkeypatch):
    from steadyturn.jobs import watch as watching

    monkeypatch.setattr(watching, "AGAIN_S", 0.05)
    with Twin(case.rig) as board:
        board.prepare(settings=case.settings[case.one])
        looks = watch(board.port, rate_hz=20)
        next(look for look in looks if look.answering)  # it is starting
        board.stop()
        found = [next(looks) for _ in range(3)]
    assert not found[-1].answering
    assert found[-1].problem
    looks.close()
    with Twin(case.rig) as board:
        with connect(board.port) as reached:
            files = reached.files
            board.stop()
            with pytest.raises(Failed) as caught:
                files.hashes("/lib")
        assert isinstance(caught.value, Gone)


def test_a_rig_changed_under_way_is_seen_in_the_reading_back(case, twin, monkeypatch):
    """What was put in force is read back once more: storage that lies is found out."""
    real = update.apply

    def spoilt(files, settings, difference, progress=None):
        real(files, settings, difference, progress)
        files.write(update.SETTINGS, settings[:-9])

    monkeypatch.setattr(update, "apply", spoilt)
    other = case.two if in_force(twin.port) == case.settings[case.one] else case.one
    with pytest.raises(Failed, match="Read back"):
        flash(other, port=twin.port, confirm=yes)
    monkeypatch.undo()
    assert flash(other, port=twin.port, confirm=yes).in_force


def test_the_command_over_the_port(case, twin, capsys, monkeypatch):
    from steadyturn.cli.main import code

    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert code(["flash", str(case.one), "--port", twin.port, "--yes"]) == 0
    assert "in force" in capsys.readouterr().out
    assert job.update.firmware_version().startswith("0.1.0+")
