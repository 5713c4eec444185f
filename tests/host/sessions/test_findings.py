"""What to change: each finding where an outing has it, and none where it has not."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from model_outings import Maker, wander
from steadyturn.jobs.review_reckon import reckon
from steadyturn.report import review_findings
from steadyturn.report.review_words import energy_unit
from steadyturn.sessions import findings
from steadyturn.sessions.figures import review
from steadyturn.sessions.findings import MOST, Finding, rank
from steadyturn.sessions.findings_load import connections
from steadyturn_fw import pages as layout
from test_burst import machine

CONNECTED, RELEASED = layout.EV_CONNECTED, layout.EV_RELEASED


def found(maker, *, rig=True):
    """The findings of what a maker made, each said in words that fit."""
    pages = maker.pages()
    figures = review(pages, maker.settings)
    told = reckon(pages, figures, maker.settings, {}, maker.rig if rig else None, [])
    energy = energy_unit(SimpleNamespace(figures=figures))
    for finding in told.findings:
        said = review_findings.said(finding, energy)
        assert len(said.head) <= 69, said.head
        assert said.why
        assert said.do
        assert "nan" not in f"{said}".lower()
    told_ohm = next((e for e in told.estimates if e.name == "source_ohm"), None)
    if "resistance_up" in {finding.code for finding in told.findings}:
        assert told_ohm is not None
        assert told_ohm.low <= told_ohm.value <= told_ohm.high
    return {finding.code: finding for finding in told.findings}


def steady(maker, minutes=2.0, **more):
    return maker.boot_of(wander(60 * minutes, maker.target, seed=3),
                         events=[(2, CONNECTED, 9000)], **more)


# ---- nothing to change


@pytest.mark.parametrize(("name", "rig"), [
    ("lakeside-hut", True), ("lakeside-hut", False), ("night-ferry", True), ("radio-tent", True)])
def test_a_steady_outing_has_no_finding(name, rig):
    maker = Maker(name)
    for seed in range(2):
        maker.boot_of(wander(100, maker.target, seed=seed), seed=seed,
                      events=[(2, CONNECTED, 9000)])
    assert found(maker, rig=rig) == {}


@pytest.mark.soak
@pytest.mark.parametrize("name", ["lakeside-hut", "night-ferry", "radio-tent"])
def test_a_hundred_ordinary_outings_have_none(name):
    """Hands that keep to the band more or less well, sensors that are off within their data
    sheet, phones that draw a little more or less, rests and short tries: nothing to change."""
    rng = np.random.default_rng(5)
    told = []
    for seed in range(100):
        maker = Maker(name)
        half = (maker.high - maker.low) / 2
        for boot in range(rng.integers(1, 4)):
            seconds = float(rng.uniform(20, 240))
            paces = wander(seconds, maker.target + rng.normal(0, 0.15 * half),
                           spread=float(rng.uniform(0.05, 0.3)) * half, seed=10 * seed + boot)
            start = np.linspace(3, paces[0], 20)
            maker.boot_of(np.concatenate([start, paces]), seed=seed, rise_k=int(rng.integers(20)),
                          draw_a=maker.rig.load.draw_a * rng.uniform(0.93, 1.03),
                          events=[(22, CONNECTED, 9000)])
        told += list(found(maker, rig=seed % 3 > 0))
    assert len(told) <= 1, told


def test_small_slips_are_none():
    """A slow start, a stretch out of the band, two collapses, a short idle, a warm motor: what any
    outing has."""
    maker = Maker()
    paces = np.concatenate([np.linspace(5, maker.target, 40), wander(60, maker.low - 5),
                            wander(240, maker.target)])
    draws = np.full(len(paces), maker.rig.load.draw_a)
    draws[-200:-50] = 0.02
    events = [(400, layout.EV_COLLAPSE, 520), (401, RELEASED, layout.WHY_LOW_BUS),
              (420, CONNECTED, 0), (700, layout.EV_COLLAPSE, 530),
              (701, RELEASED, layout.WHY_LOW_BUS), (730, CONNECTED, 0)]
    maker.boot_of(paces, draw_a=draws, rise_k=15, events=events)
    assert found(maker) == {}


def test_a_short_try_says_nothing():
    maker = Maker()
    maker.boot_of(wander(4, maker.low * 0.7), connected=False)
    assert found(maker) == {}
    maker = Maker()
    maker.boot_of(np.concatenate([wander(20, maker.target), wander(12, maker.low * 0.7)]),
                  events=[(2, CONNECTED, 9000)])
    assert found(maker) == {}


@pytest.mark.parametrize(("share", "seconds"), [(2.0, 31), (1.1, 22), (0.7, 25), (0.7, 8)])
def test_a_hand_by_which_nothing_is_delivered_is_told_at_once(share, seconds):
    """All under STOP, all too fast, all too slow: no minutes are needed to say so."""
    maker = Maker()
    pace = share * (maker.high if share > 1 else maker.low)
    maker.boot_of(wander(seconds, pace), connected=False)
    for finding in (found(maker), found(maker, rig=False)):
        (only,) = finding.values()
        assert only.code in {"off_band", "band_too_low"}
        assert only.evidence["out_percent"] == pytest.approx(100)


def test_a_phone_that_comes_and_goes():
    """Each time for longer than a failed try, so that it is no hunting; rests do not count."""
    maker = Maker()
    events = [event for n in range(24)
              for event in ((5 + 100 * n, CONNECTED, 9000),
                            (95 + 100 * n, RELEASED, layout.WHY_OVER_SPEED))]
    maker.boot_of(wander(480, maker.target), events=events)
    finding = found(maker)["comes_and_goes"]
    assert (finding.evidence["connections"], finding.evidence["cause"]) == (24, "over_speed")
    unit = energy_unit(SimpleNamespace(figures=SimpleNamespace(energy_in_wh=1, energy_out_wh=1)))
    assert "Hold the pace" in review_findings.said(finding, unit).do
    board = replace(finding, evidence={**finding.evidence, "cause": "waiting"})
    assert "the board's doing" in review_findings.said(board, unit).do
    rests = Maker()
    for n in range(24):
        rests.boot_of(wander(20, rests.target, seed=n), seed=n, events=[(5, CONNECTED, 9000)])
    assert found(rests) == {}


# ---- hand and band


def test_band_too_high_for_the_arm():
    """A hand that stays at four fifths of the low edge: gears that bring the band there, and the
    model says what they would deliver."""
    maker = Maker()
    held = 0.8 * maker.low
    maker.boot_of(wander(60, maker.target), events=[(2, CONNECTED, 9000)])
    maker.boot_of(wander(240, held, spread=1.5), connected=False)
    finding = found(maker)["band_too_high"]
    assert finding.evidence["out_percent"] > 70
    assert finding.evidence["pace_tpm"] == pytest.approx(held, rel=0.05)
    assert finding.gain["ratio"] / finding.gain["ratio_now"] == pytest.approx(
        maker.target / held, rel=0.1)
    # four minutes with such gears give about 2.5 W, and those at the old band's pace none
    assert finding.gain["delivered_wh"] == pytest.approx(2.5 * (230 - 60) / 3600, rel=0.15)
    assert finding.weight == finding.gain["worth_percent"] > 100
    without = found(maker, rig=False)["band_too_high"]
    assert without.gain is None
    assert without.weight == pytest.approx(without.evidence["out_percent"])


def test_band_too_low_for_the_arm():
    maker = Maker()
    maker.boot_of(wander(240, maker.high * 1.1), connected=False)
    finding = found(maker)["band_too_low"]
    assert finding.gain["ratio"] < finding.gain["ratio_now"]


def test_in_and_out_of_the_band():
    maker = Maker()
    paces = np.concatenate([wander(20, pace) for pace in
                            [maker.low - 12, maker.target, maker.high + 12] * 5])
    connected = (paces > maker.low) & (paces < maker.high)
    maker.boot_of(paces, connected=connected)
    finding = found(maker)["off_band"]
    assert 20 < finding.evidence["below_percent"] < 45
    assert 20 < finding.evidence["above_percent"] < 45
    assert finding.gain["target_tpm"] == pytest.approx(maker.target)
    assert finding.gain["delivered_wh"] == pytest.approx(
        2.53 * 290 * (finding.evidence["below_percent"] + finding.evidence["above_percent"])
        / 100 / 3600, rel=0.1)


# ---- converter and phone


def short_connections(maker, count, length_s, *, collapse_tpm=None, pause_s=6.0, good_s=60.0):
    """Connected and released `count` times at a steady pace, then charging."""
    samples, events, connected = 0, [], []
    for _ in range(count):
        events.append((samples, CONNECTED, 0))
        on, off = round(length_s * 5), round(pause_s * 5)
        if collapse_tpm is not None:
            events.append((samples + on, layout.EV_COLLAPSE, round(collapse_tpm * 10)))
        events.append((samples + on, RELEASED, layout.WHY_LOW_BUS))
        connected += [True] * on + [False] * off
        samples += on + off
    connected += [True] * round(good_s * 5)
    events.append((samples, CONNECTED, 0))
    return maker.boot_of(wander(len(connected) / 5, maker.target), connected=np.array(connected),
                         events=events)


def test_converter_drops_out_in_the_band():
    maker = Maker()
    short_connections(maker, 6, 15.0, collapse_tpm=maker.target)
    finding = found(maker)["drops_out"]
    assert finding.evidence["collapses"] == 6
    assert finding.evidence["pace_tpm"] == pytest.approx(maker.target, abs=0.1)
    assert finding.evidence["lost_s"] == pytest.approx(36, abs=8)
    assert finding.gain["delivered_wh"] == pytest.approx(
        2.53 * finding.evidence["lost_s"] / 3600, rel=0.05)


def test_collapses_below_the_band_are_the_hand_s():
    maker = Maker()
    short_connections(maker, 6, 15.0, collapse_tpm=maker.low - 6)
    assert "drops_out" not in found(maker)


def test_threshold_hunting():
    maker = Maker()
    short_connections(maker, 8, 4.0)
    finding = found(maker)["hunts"]
    assert finding.evidence["short_connections"] == 8
    assert finding.evidence["median_s"] == pytest.approx(4.0)
    assert finding.gain["delivered_wh"] > 0
    few = Maker()
    short_connections(few, 3, 4.0)
    assert found(few) == {}
    proven = Maker()
    short_connections(proven, 8, 20.0)
    assert "hunts" not in found(proven)


def test_connections_are_paired_within_a_boot():
    maker = Maker()
    maker.boot_of(wander(30, 60), events=[(0, CONNECTED, 0), (50, RELEASED, 8)])
    maker.boot_of(wander(30, 60), events=[(10, RELEASED, 2), (20, CONNECTED, 0)])
    assert [(c.boot, c.length_s, c.reason) for c in connections(maker.pages().events)] == [
        (1, 10.0, 8)]


@pytest.mark.parametrize("rig", [True, False])
def test_idle_phone(rig):
    maker = Maker()
    paces = wander(600, maker.target)
    draws = np.full(len(paces), maker.rig.load.draw_a)
    draws[-1000:] = 0.03
    maker.boot_of(paces, draw_a=draws, events=[(2, CONNECTED, 0)])
    finding = found(maker, rig=rig)["phone_idle"]
    assert finding.evidence["idle_s"] == pytest.approx(200, abs=2)
    assert finding.evidence["when"] == "to the end"
    assert finding.evidence["turns"] == pytest.approx(maker.target * 200 / 60, rel=0.02)
    if rig:  # the turning that it would have saved
        assert finding.gain["delivered_wh"] == 0
        assert finding.gain["arm_kj"] < 0


def test_phone_that_draws_less():
    maker = Maker()
    steady(maker, draw_a=0.3)
    finding = found(maker)["draws_less"]
    assert finding.evidence["power_w"] / finding.evidence["expected_w"] == pytest.approx(
        0.6, abs=0.03)
    assert finding.evidence["could_a"] > maker.rig.load.draw_a
    assert finding.gain["worth_percent"] == pytest.approx(100 * (1 / 0.6 - 1), rel=0.1)
    near = Maker()
    steady(near, draw_a=0.47)
    assert found(near) == {}


# ---- the machine


def test_warm_motor():
    maker = Maker()
    steady(maker, rise_k=60, winding_c=80)
    finding = found(maker)["motor_warm"]
    assert finding.evidence["rise_k"] == 60
    assert finding.evidence["ohm_percent"] == pytest.approx(23.58)
    assert finding.evidence["mount_c"] < finding.evidence["winding_c"]
    assert found(maker, rig=False)["motor_warm"].gain is None
    cool = Maker()
    steady(cool, rise_k=15)
    assert found(cool) == {}


def test_resistance_up_by_the_turn_sensor():
    """With pulses the EMF is known without the volts, so what is lost on the way is seen."""
    worn = Maker()
    steady(worn, ohms=2.0, flags=layout.FLAG_PACE_MEASURED)
    finding = found(worn)["resistance_up"]
    expected = worn.settings["source_mohm"] / 1000  # both motors half-way to warm, the shunt
    assert finding.evidence["expected_ohm"] == pytest.approx(expected, rel=0.01)
    assert finding.evidence["ohm"] == pytest.approx(2 * 2 * 1.34, rel=0.08)
    assert finding.evidence["low_ohm"] < finding.evidence["ohm"] < finding.evidence["high_ohm"]
    assert finding.gain["arm_kj"] < 0
    sound = Maker()
    steady(sound, flags=layout.FLAG_PACE_MEASURED)
    assert "resistance_up" not in found(sound)


@pytest.mark.parametrize("rig", [True, False])
def test_resistance_up_by_bursts_of_the_second_load(rig):
    """A contact that has gone bad, seen by a step between two loads (test_burst's machine, on an
    arm that gives way slowly); the same bursts of a sound machine say nothing."""
    worn, sound, once = Maker(), Maker(), Maker()
    for maker, ohm, times in ((worn, 5.0, 3), (sound, 2.75, 3), (once, 5.0, 1)):
        maker.boot_of(wander(60, maker.target), events=[(2, CONNECTED, 9000)])
        for seed in range(times):
            maker.burst(machine(ohm, 1.0, 0.3, seed))
    finding = found(worn, rig=rig)["resistance_up"]
    assert finding.evidence["how"] == "second load"
    assert finding.evidence["times"] == 3
    assert finding.evidence["low_ohm"] < 5.0 < finding.evidence["high_ohm"]
    assert finding.evidence["expected_ohm"] == pytest.approx(2.75, rel=0.02)
    assert found(sound, rig=rig) == {}
    assert found(once, rig=rig) == {}


def test_sensor_lost():
    maker = Maker()
    steady(maker)
    maker.boot_of(wander(30, maker.target), valid=layout.VOLTS_ONLY,
                  events=[(1, layout.EV_FAULT, layout.FAULT_SENSOR)])
    finding = found(maker)["sensor_lost"]
    assert finding.evidence["seconds"] == pytest.approx(30)
    moment = Maker()
    steady(moment)
    moment.boot_of(wander(3, moment.target), valid=layout.VOLTS_ONLY)
    assert found(moment) == {}


def test_slipping_gears_and_volts_that_were_too_many():
    maker = Maker()
    steady(maker)
    maker.boot_of(wander(60, maker.target), events=[
        (20, layout.EV_SLIP, 1400), (120, layout.EV_SLIP, 1700), (250, CONNECTED, 0),
        (280, RELEASED, layout.WHY_OVER_VOLTAGE)])
    got = found(maker)
    assert list(got) == ["too_many_volts", "gears_slip"]
    assert got["gears_slip"].evidence["worst_permille"] == 1700


def test_boots_that_were_not_saved():
    maker = Maker()
    for seed in range(4):
        maker.boot_of(wander(60, maker.target, seed=seed), last=0)
    watched = Maker()
    for seed in range(4):
        watched.boot_of(wander(60, watched.target, seed=seed))
    maker.settings = maker.settings | {"fade_mv": 4000}
    watched.settings = watched.settings | {"fade_mv": 4000}
    assert found(maker)["not_saved"].evidence["cut"] == 4
    assert found(watched) == {}


# ---- their order


def test_at_most_three_and_the_heaviest_first():
    some = [Finding(str(w), {}, None, w) for w in (3.0, 50.0, 1e6, 7.0)]
    assert [f.code for f in rank([*some, None])] == ["1000000.0", "50.0", "7.0"]
    assert MOST == 3


def test_ranked_by_gain():
    """Two things at once: what is worth more stands first."""
    maker = Maker()
    held = 0.8 * maker.low
    maker.boot_of(wander(240, held, spread=1.5), connected=False)
    paces = wander(300, maker.target)
    draws = np.full(len(paces), maker.rig.load.draw_a)
    draws[-400:] = 0.03
    maker.boot_of(paces, draw_a=draws, events=[(2, CONNECTED, 0)])
    got = found(maker)
    assert list(got)[:2] == ["band_too_high", "phone_idle"]
    assert got["band_too_high"].weight > got["phone_idle"].weight


def test_the_page_has_each_finding():
    text = (Path(findings.__file__).with_name("review.md")).read_text(encoding="utf-8")
    table = text.partition("| code | fires when")[2]
    codes = [code.strip() for row in re.findall(r"^\| ([a-z_, ]+) \|", table, re.MULTILINE)
             for code in row.split(",")]
    assert sorted(codes) == sorted(review_findings.CODES)
