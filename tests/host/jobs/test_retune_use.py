"""`retune --from-use`: out of a library into the rig file, and what does not count."""

from __future__ import annotations

import functools
import json
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from model_outings import wander
from steadyturn.cli.main import code
from steadyturn.errors import Failed
from steadyturn.jobs import retune as job
from steadyturn.jobs import retune_compare as comparing
from steadyturn.jobs import retune_use as use_job
from steadyturn.jobs.pace import pace
from steadyturn.jobs.retune import Way
from steadyturn.jobs.retune_restore import restore
from steadyturn.jobs.retune_use import from_use
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn_fw import pages as layout
from worn_machines import Worn

HUT = example_path("lakeside-hut").read_text(encoding="utf-8")
BANDS = functools.cache(find_band)


@functools.cache
def _compared(old, new):
    return comparing.compare(old, new, BANDS(new, deep=False))


@pytest.fixture(autouse=True)
def _alone(monkeypatch):
    monkeypatch.setattr(job, "candidates", list)
    for module in (job, comparing, use_job):  # a rig's band is worked out once
        monkeypatch.setattr(module, "find_band", BANDS)
    monkeypatch.setattr(job, "compare", lambda old, new, band: _compared(old, new))


@pytest.fixture
def hut(tmp_path):
    path = tmp_path / "my.toml"
    path.write_text(HUT, encoding="utf-8")
    return path


def way(folder, **more):
    return Way(confirm=lambda plan: True, library=folder, **more)


@pytest.fixture(scope="module")
def slow(tmp_path_factory):
    """Four outings of five minutes by a hand that keeps 61, no turn sensor."""
    folder = tmp_path_factory.mktemp("slow")
    machine = Worn(folder, flags=0)
    for seed in range(4):
        machine.maker.boot_of(wander(300, 61.0, spread=2.0, seed=seed), seed=seed,
                              events=[(5, layout.EV_CONNECTED, 9000)])
        machine.pull()
    return folder


def test_a_content_hand_gets_its_pace_into_the_rig_file_and_all_agree(hut, slow):
    done = from_use(hut, way(slow))
    assert (done.outcome, done.kind) == ("prepared", "from_use")
    (step,) = done.use.steps
    assert step.after == pytest.approx(61.0, abs=1.0)
    assert "[band]" in hut.read_text()
    assert hut.read_text().startswith(HUT.rstrip("\n"))
    band = find_band(read_rig(hut), deep=False)
    assert band.target_tpm == pytest.approx(step.after, abs=1e-6)
    assert any("[band]" in note and "69 turns" in note for note in pace(hut).notes)
    assert done.compared.settings_after["target_dtpm"] == round(10 * step.after)
    assert done.compared.after.low_tpm == done.compared.before.low_tpm
    # what it was cranked with is another band now: it takes new outings
    again = from_use(hut, way(slow))
    assert (again.outcome, again.use.left_out, again.use.short_of) == ("too_little", 4, "outings")
    restore(hut, way(slow))
    assert hut.read_text() == HUT


def test_the_command_says_what_it_saw(hut, slow, capsys):
    args = ["retune", str(hut), "--from-use", "--library", str(slow)]
    assert code([*args, "--dry-run"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "4 outings with this machine and band, 19 min" in text
    assert "this hand kept 60." in text
    assert code([*args, "--dry-run", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["use"]["steps"][0]["edge"] == "target_tpm"
    hut.write_text(HUT.replace("Lakeside hut", "Other"))
    assert code(args) == 0
    assert "no outing of this rig" in " ".join(capsys.readouterr().out.split())


def taught(name, share, low, high, outings=6):
    return SimpleNamespace(rig_key=f"motor.{name}", share=share, share_low=low, share_high=high,
                           outings=outings)


def test_what_outings_taught_of_the_motor_moves_the_band(hut, slow, monkeypatch):
    found = SimpleNamespace(constants=(taught("terminal_ohm", 1.3, 1.2, 1.4),
                                       taught("emf_v_per_krpm", 1.01, 0.97, 1.05)))
    monkeypatch.setattr(use_job, "of_board", lambda *_: found)
    done = from_use(hut, way(slow))
    (one,) = done.use.constants
    assert (one.key, one.outings, done.use.steps) == ("terminal_ohm", 6, ())
    assert (one.low, one.after, one.high) == (1.608, 1.742, 1.876)
    rig = read_rig(hut)
    origin = rig.origins["motor.terminal_ohm"]
    assert (origin.kind, origin.value) == ("measured", one.after)
    assert origin.note.endswith("by 6 outings")
    assert "# until" in hut.read_text()
    assert done.compared.after.low_tpm > done.compared.before.low_tpm + 2
    assert not {"pinion and mount", "the motor's constants"} & {
        must.what for must in done.compared.musts}


def test_a_constant_is_left_where_its_range_or_its_size_says_nothing():
    rig = read_rig(example_path("lakeside-hut"))
    for one in (taught("terminal_ohm", 1.3, 0.99, 1.6), taught("terminal_ohm", 1.04, 1.01, 1.07),
                taught("emf_v_per_krpm", 1.01, 1.005, 1.015), taught("loss_w", 2.0, 1.9, 2.1),
                taught("terminal_ohm", 1.3, 1.2, 1.4, outings=2),
                taught("terminal_ohm", None, None, None),
                taught("terminal_ohm", 400.0, 300.0, 500.0)):
        assert use_job.constants(rig, [one]) == ()


@pytest.mark.soak
def test_ohms_that_rise_outing_by_outing_are_taken_over(hut, tmp_path):
    folder, rise = tmp_path / "library", 1 + 0.3 * np.arange(10) / 10
    Worn(folder).outings(rise)
    (one,) = from_use(hut, way(folder)).use.constants
    assert one.key == "terminal_ohm"
    assert one.low <= rise[-1] * 1.34 <= one.high


def test_without_a_library_or_a_band_there_is_nothing_to_ask(hut, tmp_path):
    with pytest.raises(Failed, match="no library"):
        from_use(hut, way(tmp_path / "none"))
    hut.write_text(HUT.replace("driver_teeth = 60", "driver_teeth = 20"))
    with pytest.raises(Failed, match="No pace works"):
        from_use(hut, way(tmp_path / "none"))
