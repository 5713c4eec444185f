"""Reviews of outings on the virtual board: real firmware, journal and pull, against what the
machine truly did. Long series."""

from __future__ import annotations

from dataclasses import replace

import pytest
from steadyturn.jobs.flash import flash
from steadyturn.jobs.pull import pull
from steadyturn.jobs.review import review
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin

pytestmark = pytest.mark.soak
SECONDS = 240.0


def cranked(folder, name, *, seed=3, heeds=True, habit=60.0, draw_a=None):
    """(review, truth) of four minutes; draw_a: of the phone, where it is not the rig file's."""
    path = example_path(name)
    rig = read_rig(path)
    real = rig if draw_a is None else replace(rig, load=replace(rig.load, draw_a=draw_a))
    with Twin(rig, image=folder / "board.img", seed=seed) as twin:
        flash(path, port=twin.port or twin.direct, confirm=lambda plan: True,
              library=folder / "library")
    with Twin(real, image=folder / "board.img", seed=seed) as twin:
        begin_s = twin.t_s
        twin.person = Person(real, seed, heeds, habit, (
            (begin_s, "follow"), (begin_s + SECONDS, "stop")))
        twin.run(SECONDS + 20, lambda glimpse: None, 0.1)
        twin.person = None
        truth = twin.truth
        pull(twin.port or twin.direct, folder / "library")
    return review(folder / "library"), truth


@pytest.mark.parametrize("name", ["lakeside-hut", "night-ferry", "radio-tent"])
@pytest.mark.parametrize("seed", [3, 4])
def test_the_ranges_hold_the_truth(tmp_path, name, seed):
    got, truth = cranked(tmp_path, name, seed=seed)
    assert got.rig_source == "library"
    assert got.findings == ()
    for estimate, true in (("energy_in", truth.in_j / 3600), ("energy_out", truth.out_j / 3600),
                           ("charge", truth.in_c / 3.6)):
        found = got.estimate(estimate)
        assert found.low <= true <= found.high, (estimate, found, true)
    # what was turned before the board woke, and after its power went, no board can know
    turned = got.estimate("turns")
    unseen = got.estimate("turns_unknown").high + 0.06 * truth.turns
    assert turned.low <= truth.turns <= turned.high + unseen
    work = got.estimate("arm_work")
    assert work.low <= truth.arm_j / 1000 <= 1.06 * work.high
    assert {c.verdict for c in got.expected} == {"as expected"}


def test_a_hand_that_stays_below_the_band(tmp_path):
    got, _ = cranked(tmp_path, "lakeside-hut", heeds=False, habit=46.0)
    assert [f.code for f in got.findings] == ["band_too_high"]


def test_a_phone_that_draws_less_and_one_that_draws_too_much(tmp_path):
    (tmp_path / "less").mkdir()
    got, _ = cranked(tmp_path / "less", "lakeside-hut", draw_a=0.28)
    assert got.findings[0].code == "draws_less"
    assert got.findings[0].evidence["power_w"] == pytest.approx(1.54, rel=0.05)
    (tmp_path / "more").mkdir()
    got, _ = cranked(tmp_path / "more", "lakeside-hut", draw_a=0.9)
    assert got.findings[0].code == "drops_out"
    assert got.findings[0].evidence["power_w"] > 1.5 * got.findings[0].evidence["expected_w"]
