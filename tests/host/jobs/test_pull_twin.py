"""The whole line on the virtual board: cranked, cut off, pulled over its port, reviewed, and
compared with what the physics did."""

from __future__ import annotations

import sys

import pytest
from steadyturn.jobs.pull import pull
from steadyturn.jobs.review import review
from steadyturn.model.band import find_band
from steadyturn.report.review_more import text
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin

RIG = "lakeside-hut"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the virtual board needs POSIX")


class Outing:
    """Two outings of one board, a pull after each, and the truth at each pull."""

    def __init__(self, folder):
        rig = read_rig(example_path(RIG))
        self.settings = build(rig, find_band(rig))
        plan = [(0.0, 25.0), (8.0, "follow"), (30.0, "rest"), (50.0, "follow")]
        self.folder = folder
        self.pulls, self.truths, self.reviews = [], [], []
        with Twin(rig, person=Person(rig, 3, plan=plan), ideal_sensor=True) as twin:
            twin.prepare(settings=encode(self.settings))
            twin.run(70)
            twin.cut_power()  # in the middle of cranking, without notice
            twin.person = None
            twin.run(10)
            self._meet(twin)
            twin.person = Person(rig, 4)
            twin.run(25)
            twin.person = None
            twin.run(20)
            self._meet(twin)
            self._meet(twin)

    def _meet(self, twin):
        self.truths.append(twin.truth)
        self.pulls.append(pull(twin.port or twin.direct, self.folder))
        self.reviews.append(review(self.folder))


@pytest.fixture(scope="module")
def outing(tmp_path_factory):
    return Outing(tmp_path_factory.mktemp("library"))


def test_energy_agrees_with_the_physics(outing):
    """An ideal sensor: what the board integrated against what the model delivered. The cut
    costs the pages that were not yet written: at most a few seconds of cranking."""
    second = outing.truths[1].in_j - outing.truths[0].in_j
    assert outing.reviews[1].figures.energy_in_j == pytest.approx(second, rel=2e-3)
    first, truth = outing.reviews[0].figures, outing.truths[0]
    lost_j = truth.in_j - first.energy_in_j
    assert -2e-3 * truth.in_j <= lost_j < 6.0 * first.peak_in_w
    delivered = outing.truths[1].out_j - outing.truths[0].out_j
    assert outing.reviews[1].figures.energy_out_j == pytest.approx(delivered, rel=0.02)


def test_samples_agree_with_totals(outing):
    for shown in outing.reviews:
        assert shown.figures.check.agrees
        assert shown.figures.check.pages > 0
        assert not shown.figures.start_unknown
        assert shown.figures.missing_pages == shown.figures.damaged_pages == 0


def test_the_cut_is_told(outing):
    first = outing.reviews[0]
    # the handle still turns when the power is back for a moment: perhaps one more short boot
    assert first.figures.boots_cut in (1, 2)
    assert [b.ended for b in first.figures.boots[:2]] == ["faded", "cut"]
    assert "cut off by loss of power" in text(first)
    assert outing.reviews[1].figures.boots_cut == 0


def test_only_what_is_new_is_pulled(outing):
    first, second, third = outing.pulls
    assert first.first_seq == 1
    assert not first.known
    assert second.first_seq == first.last_seq + 1
    assert second.pages_already == first.pages_new
    assert second.board == first.board
    # the board ran on for a moment: at most the page that the flush closed
    assert third.pages_new <= 1
    everything = review(outing.folder, everything=True).figures
    parts = [r.figures for r in outing.reviews[:2]]
    assert everything.energy_in_j == pytest.approx(sum(p.energy_in_j for p in parts), abs=0.01)
    assert everything.turns == pytest.approx(sum(p.turns for p in parts), abs=0.01)


def test_settings_in_force_come_along(outing):
    shown = outing.reviews[0]
    settings = outing.settings
    assert shown.rig == settings["rig"]
    assert shown.band_tpm == tuple(
        settings[name] / 10 for name in ("low_dtpm", "target_dtpm", "high_dtpm"))
    assert shown.window_v == (
        settings["window_low_mv"] / 1000, settings["window_high_mv"] / 1000)
    assert max(map(len, text(shown).splitlines())) <= 80
