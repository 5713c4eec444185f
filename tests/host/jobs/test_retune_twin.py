"""Another motor on the virtual board: the real firmware cranked on either machine, the way back,
the power cut at each operation of the board's flash, and the band that outings show. Long series.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time

import pytest
from steadyturn.board import update
from steadyturn.board.connect import connect
from steadyturn.jobs.flash import flash
from steadyturn.jobs.pull import pull
from steadyturn.jobs.retune import Way, retune
from steadyturn.jobs.retune_restore import restore
from steadyturn.jobs.retune_use import from_use
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sessions.library import Library
from steadyturn.settings.file import decode
from steadyturn.twin import flash as nor
from steadyturn.twin.interpreter import find
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin

pytestmark = [pytest.mark.soak, pytest.mark.timeout(1800),
              pytest.mark.skipif(not find().serves_port, reason="no MicroPython here")]
HUT = example_path("lakeside-hut")
NEW = {"motor": "7xx can, 12 V", "gear_ratio": "20", "series": 3}
NARROW = {"motor": "7xx can, 12 V", "gear_ratio": "22"}  # 62 to 82 turns/min, which it says
SECONDS, UNDER_WAY_S = 240.0, 30.0
BOOTED = 12  # of the images after a cut


def yes(plan):
    return True


class Bench:
    """A rig file, a board's image and a library, and what was cranked."""

    def __init__(self, folder):
        self.rig_file = folder / "my.toml"
        self.rig_file.write_text(HUT.read_text(encoding="utf-8"), encoding="utf-8")
        self.library, self.image = folder / "library", folder / "board.img"

    def way(self, twin):
        return Way(confirm=yes, port=twin.port, library=self.library)

    def crank(self, machine, *, seed, heeds=True, habit=60.0, seconds=SECONDS):
        """(share of the time in the machine's own band by the true pace, the same as the board
        counted it, the library's row) of an outing on this machine with the board as it is."""
        band = find_band(machine, deep=False)
        seen = []
        with Twin(machine, image=self.image) as twin:  # a seed of its own is another board
            begin_s = twin.t_s
            twin.person = Person(machine, seed, heeds, habit, (
                (begin_s, "follow"), (begin_s + seconds, "stop")))

            def look(glimpse):
                if begin_s + UNDER_WAY_S < glimpse.t_s < begin_s + seconds:
                    seen.append(band.low_tpm <= glimpse.pace_tpm <= band.high_tpm)

            twin.run(seconds + 20, look, 0.1)
            twin.person = None
            pull(twin.port, self.library)
        with Library(self.library, readonly=True) as shelf:
            row = shelf.outings()[-1]
        return sum(seen) / len(seen), row.band_s / row.turning_s, row


def in_force(twin):
    with connect(twin.port) as board:
        board.link.wait(15)
        end = time.monotonic() + 5
        while not board.link.state()["settings_ok"] and time.monotonic() < end:
            time.sleep(0.05)
        state = board.link.state()
        assert state["settings_ok"] == 1
        settings = board.link.settings()
        assert state["settings_crc"] == update.settings_crc(settings)
        return settings


@pytest.mark.parametrize(("seed", "change", "least"), [
    (3, NEW, 0.9), (4, NEW, 0.9), (5, NEW, 0.9), (3, NARROW, 0.7)])
def test_both_machines_are_kept_in_their_bands_and_the_first_comes_back(
        tmp_path, seed, change, least, capsys):
    bench = Bench(tmp_path)
    old = read_rig(bench.rig_file)
    with Twin(old, image=bench.image) as twin:
        flash(bench.rig_file, port=twin.port, confirm=yes, library=bench.library)
        first = in_force(twin)
    on_old = bench.crank(old, seed=seed)
    with Twin(old, image=bench.image) as twin:
        done = retune(bench.rig_file, bench.way(twin), **change)
        assert (done.outcome, done.flashed.in_force) == ("written", True)
        assert in_force(twin) != first
    new = read_rig(bench.rig_file)
    on_new = bench.crank(new, seed=seed)
    low_tpm = find_band(new, deep=False).low_tpm
    assert 0 <= decode(in_library(bench, on_new[2]))["low_dtpm"] - 10 * low_tpm < 1
    with Twin(new, image=bench.image) as twin:
        restore(bench.rig_file, bench.way(twin))
        assert in_force(twin) == first
    assert bench.rig_file.read_text() == HUT.read_text()
    wrong = bench.crank(new, seed=seed)  # the new motor with the old one's settings
    back = bench.crank(old, seed=seed + 1)
    with capsys.disabled():
        print("\nin the band, true and counted: " + "; ".join(
            f"{name} {100 * share:.0f} {100 * counted:.0f} %, {row.energy_out_j / 3600:.3f} Wh"
            for name, (share, counted, row) in (
                ("old", on_old), ("new", on_new), ("back", back), ("not retuned", wrong))))
    assert min(share for share, _, _ in (on_old, back)) > 0.9
    assert on_new[0] > least


def in_library(bench, row):
    with Library(bench.library, readonly=True) as shelf:
        return shelf.outing_settings(row)


def test_the_power_cut_at_any_moment_leaves_either_machine_in_force(tmp_path, capsys):
    """Every flash operation of the board's change, before it and torn: littlefs mounts what is
    left, its settings are the old or the new, whole; some of them are booted and say so."""
    bench = Bench(tmp_path)
    rig = read_rig(bench.rig_file)
    with Twin(rig, image=bench.image) as twin:
        flash(bench.rig_file, port=twin.port, confirm=yes, library=bench.library)
        first = in_force(twin)
        start = bytearray()

        def confirm(plan):
            start[:] = bench.image.read_bytes()
            twin.record_flash()
            return True

        retune(bench.rig_file, Way(confirm=confirm, port=twin.port, library=bench.library), **NEW)
        second = in_force(twin)
        log = list(twin.flash_log)
    assert first != second
    images, seen = [], {first: 0, second: 0}
    for number, image, operation in nor.prefixes(log, bytes(start)):
        lefts = [bytes(image)]
        for seed in range(3):
            torn = bytearray(image)
            nor.tear(torn, operation, seed=number * 3 + seed)
            lefts.append(bytes(torn))
        for left in lefts:
            found = settings_on(left)
            seen[found] += 1  # KeyError: neither
            images.append((left, found))
    assert all(seen.values())
    booted = 0
    for left, found in random.Random(5).sample(images, BOOTED):
        bench.image.write_bytes(left)
        with Twin(rig, image=bench.image) as twin:
            assert in_force(twin) == found
            booted += 1
    with capsys.disabled():
        print(f"\n{len(log)} flash operations, {len(images)} cuts: {seen[first]} leave the old "
              f"settings, {seen[second]} the new; {booted} booted")


def settings_on(image):
    from littlefs import LittleFS

    fs = LittleFS(block_size=nor.BLOCK, block_count=nor.BLOCKS, prog_size=256, read_size=32,
                  lookahead_size=32, mount=False)
    fs.context.buffer = bytearray(image)
    fs.mount()
    with fs.open(update.SETTINGS, "rb") as file:
        return file.read()


def test_killed_while_the_board_is_written_and_back(tmp_path):
    """The command ends at once (SIGKILL) or by Ctrl-C, at moments that chance picks: the rig
    file is the new one, and --restore brings both back."""
    bench, chance = Bench(tmp_path), random.Random(2)
    words = [sys.executable, "-m", "steadyturn", "retune", str(bench.rig_file), "--yes",
             "--library", str(bench.library), "--motor", NEW["motor"], "--series", "3",
             "--ratio", NEW["gear_ratio"]]
    with Twin(read_rig(bench.rig_file), image=bench.image) as twin:
        flash(bench.rig_file, port=twin.port, confirm=yes, library=bench.library)
        first = in_force(twin)
        for how in (signal.SIGKILL, signal.SIGINT) * 4:
            child = subprocess.Popen(
                [*words, "--port", twin.port], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                text=True, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)})
            assert any(line.startswith("writing") for line in child.stderr)
            time.sleep(chance.uniform(0.0, 0.8))
            child.send_signal(how)
            child.stderr.read()
            child.stderr.close()
            child.wait(20)
            assert read_rig(bench.rig_file).motor.name == NEW["motor"]
            restore(bench.rig_file, bench.way(twin))
            assert in_force(twin) == first
            assert bench.rig_file.read_text() == HUT.read_text()


def test_a_hand_that_keeps_below_the_target_gets_it_there(tmp_path, capsys):
    bench = Bench(tmp_path)
    rig = read_rig(bench.rig_file)
    with Twin(rig, image=bench.image) as twin:
        flash(bench.rig_file, port=twin.port, confirm=yes, library=bench.library)
    for seed in range(4):
        bench.crank(rig, seed=seed, heeds=False, habit=60.0, seconds=450.0)
    with Twin(rig, image=bench.image) as twin:
        done = from_use(bench.rig_file, bench.way(twin))
        settings = decode(in_force(twin))
    with capsys.disabled():
        print(f"\n{done.use}")
    assert done.outcome == "written"
    step = done.use.steps[-1]
    assert (step.edge, step.why) == ("target_tpm", "held")
    assert step.after == pytest.approx(done.use.held_tpm, abs=0.1)
    assert 60.0 < step.after < step.before - 4.0
    assert settings["target_dtpm"] == pytest.approx(10 * step.after, abs=1)
    band = find_band(read_rig(bench.rig_file), deep=False)
    assert band.target_tpm == pytest.approx(step.after, abs=0.05)
