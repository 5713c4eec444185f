"""Findings by many outings: one for each constant that wears, none for one that does not, or that
moves the other way; each said in words that fit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import log
from types import SimpleNamespace

import numpy as np
import pytest
from model_outings import Maker, wander
from steadyturn.jobs.review_reckon import reckon
from steadyturn.report import review_findings
from steadyturn.report.review_words import energy_unit
from steadyturn.sessions.figures import review
from steadyturn.sessions.learned import Taught, learn
from steadyturn.sessions.lesson import Lesson, read, text
from steadyturn_fw import pages as layout

START = {"source_ohm": 2.7, "emf_v_per_tpm": 0.153, "losses": 1.0, "slope": 80.0}


def lesson(name, value, *, way="turn_sensor", rise_k=0.0):
    return Lesson(name, way, (log(value),), (0.01,), (), rise_k, 0.1, 60.0, 0.02, 30)


def taught(changes, seed=1, correction=lambda n: "a"):
    """changes: of each outing, what of START it shows, times START."""
    chance = np.random.default_rng(seed)
    return [Taught(n + 1, 3.0 * n, correction(n), tuple(
        lesson(name, START[name] * by * np.exp(0.01 * chance.normal()))
        for name, by in one.items())) for n, one in enumerate(changes)]


@cache
def outing():
    maker = Maker()
    maker.boot_of(wander(60, maker.target, seed=3), events=[(2, layout.EV_CONNECTED, 9000)])
    return maker, maker.pages()


def findings(changes, *, rig=True):
    maker, pages = outing()
    learned = learn(taught(changes), maker.rig if rig else None)
    figures = review(pages, maker.settings)
    told = reckon(pages, figures, maker.settings, {}, maker.rig if rig else None, [], learned)
    for finding in told.findings:
        said = review_findings.said(finding, energy_unit(SimpleNamespace(figures=figures)))
        assert len(said.head) <= 69
        assert said.why
        assert said.do
        assert "nan" not in f"{said}".lower()
    return {finding.code: finding for finding in told.findings}


def rising(name, rate, outings=20):
    return [{name: 1 + rate * n} for n in range(outings)]


@pytest.mark.parametrize(("name", "rate", "code"), [
    ("source_ohm", 0.02, "resistance_rising"), ("emf_v_per_tpm", -0.012, "emf_falling"),
    ("losses", 0.03, "losses_rising"), ("slope", 0.03, "gear_loss_rising")])
def test_each_constant_that_wears_has_its_finding(name, rate, code):
    found = findings(rising(name, rate), rig=False)
    assert list(found) == [code]
    evidence = found[code].evidence
    assert evidence["odds"] > 15
    assert abs(evidence["change_percent"] - 1900 * rate) < 8
    assert findings(rising(name, -rate), rig=False) == {}
    assert findings(rising(name, 0.0), rig=False) == {}
    assert findings(rising(name, rate, outings=6), rig=False) == {}


def test_what_it_is_worth_is_the_models():
    found = findings(rising("source_ohm", 0.02))["resistance_rising"]
    assert found.evidence["low_tpm"] > found.evidence["low_tpm_was"] + 1
    maker, _ = outing()
    share = found.evidence["value"] / 2.68
    assert found.evidence["key_value"] == pytest.approx(maker.rig.motor.terminal_ohm * share,
                                                        rel=1e-3)
    assert found.gain["arm_kj"] < 0


def test_warm_windings_are_not_worn_ones():
    """The same copper, 30 K warmer from outing 10 on and known to be."""
    maker, _ = outing()

    def outings(known):
        out = []
        for n, one in enumerate(taught([{"source_ohm": 1.0}] * 20)):
            warm = 30.0 if n >= 10 else 0.0
            (was,) = one.lessons
            out.append(replace(one, lessons=(replace(
                was, log=(was.log[0] + log(1 + 0.00393 * warm),),
                rise_k=warm if known else 0.0),)))
        return learn(out, maker.rig)[0]

    assert not outings(True).real
    assert outings(False).odds > 3 * outings(True).odds


def test_a_sensor_corrected_anew_is_no_wear():
    maker, _ = outing()
    changes = [{"source_ohm": 1.0 if n < 10 else 1.05} for n in range(20)]
    same = learn(taught(changes), maker.rig)[0]
    anew = learn(taught(changes, correction=lambda n: "ab"[n >= 10]), maker.rig)[0]
    assert not anew.real
    assert anew.odds < same.odds / 3


def test_lessons_are_read_as_they_were_written():
    whole = (lesson("source_ohm", 2.7), lesson("losses", 1.1, rise_k=None))
    assert read(text(whole)) == whole
    assert text(()) is None
    assert read(None) == ()
    for damaged in ("[", "[[]]", '[["a"]]', "7", '[["a","b",[1],[0],[],0,0,0,0,1]]',
                    '[["a","b",["x"],[1],[],0,0,0,0,1]]'):
        with pytest.raises(ValueError, match=r"lessons|value"):
            read(damaged)
