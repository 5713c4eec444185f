"""The tapped hand: what taps make of the pace, and the firmware's lamp and load under it."""

from __future__ import annotations

import dataclasses
import shutil
import sys

import pytest
from steadyturn.rig.types import RPM
from steadyturn.twin.taps import FIRST_S, LETS_GO, REPEAT_S, TapHand, turns_on_the_beat
from steadyturn.twin.twin import Twin
from steadyturn.twin.watcher import Watcher
from steadyturn_fw.patterns import beat_ms


def tapped(hand: TapHand, taps, until_s: float, pace_tpm=0.0):
    """The hand at a handle that turns at pace_tpm whatever it does; its pace every 0.1 s."""
    paces, waiting = [], list(taps)
    for n in range(int(until_s / 0.02)):
        t_s = n * 0.02
        while waiting and waiting[0] <= t_s:
            hand.tap(waiting.pop(0))
        hand.torque_nm(t_s, 0.0, pace_tpm * RPM)
        if n % 5 == 4:
            paces.append(hand.tapped_tpm)
    return paces


@pytest.mark.parametrize(("turns", "every_s", "tpm"), [(1.0, 0.8, 75), (0.5, 0.8, 37.5),
                                                       (2.0, 1.0, 120), (1.0, 1.2, 50)])
def test_the_pace_is_that_of_the_taps(hut, turns, every_s, tpm):
    paces = tapped(TapHand(hut, turns), [every_s * n for n in range(8)], 7 * every_s)
    assert paces[0] == pytest.approx(60 * turns / FIRST_S)  # nothing else is known yet
    assert paces[-1] == pytest.approx(tpm, rel=0.01)


def test_a_pace_follows_within_three_taps_and_fades_when_they_stop(hut):
    taps = [1.0 * n for n in range(5)] + [4.0 + 0.7 * n for n in range(1, 5)]
    paces = tapped(TapHand(hut), taps, 11.0)
    assert paces[38] == pytest.approx(60, rel=0.01)
    assert paces[62] == pytest.approx(60 / 0.7, rel=0.01)  # three taps later
    after = paces[68:]  # the last tap was at 6.8 s
    assert after == sorted(after, reverse=True)
    gone = after.index(0.0)
    assert gone / 10 == pytest.approx(LETS_GO * 0.7, abs=0.25)
    assert after[gone - 1] < 0.5 * paces[62]


def test_a_held_key_is_no_cranking(hut):
    hand = TapHand(hut)
    assert hand.tap(1.0)
    hand.tap(1.5)  # the first repeat comes after half a second: it could be a tap
    assert not any(hand.tap(1.5 + 0.033 * n) for n in range(1, 60))
    assert not hand.tap(1.5 + 0.033 * 59 + 0.9 * REPEAT_S)
    assert hand.taps == 2


def test_after_a_rest_the_first_tap_begins_anew(hut):
    hand = TapHand(hut)
    tapped(hand, [0.5 * n for n in range(6)], 3.0)
    assert hand.tapped_tpm == pytest.approx(120, rel=0.01)
    hand.tap(60.0)
    hand.torque_nm(60.0, 0.0, 0.0)
    assert hand.tapped_tpm == pytest.approx(60 / FIRST_S)


def test_the_arm_has_no_more_than_its_strength_and_never_pulls_back(hut):
    hand = TapHand(hut)
    tapped(hand, [0.4 * n for n in range(30)], 11.9)  # the handle is stuck
    assert hand.torque_nm(12.0, 0.785, 0.0) == hut.arm.force_n * hut.crank.radius_m
    assert hand.torque_nm(12.0, 0.785, 500 * RPM) == 0.0


def test_tapping_on_the_beat_makes_the_target_pace():
    for target in range(20, 200):
        beat_s = beat_ms(10 * target) / 1000
        assert 60 * turns_on_the_beat(target) / beat_s == pytest.approx(target, rel=0.01) or \
            not 27 <= target <= 216  # beyond these a beat is four turns, or a quarter
        assert 0.55 <= beat_s <= 1.12


def cranked(rig, image, plugged=True):
    """Taps at the slow end of the band, then on the target: what the lamp said, the paces over
    time, when the load first connected, and what the device got."""
    hand = TapHand(rig)
    eye, cues, paces = Watcher(), [], []
    waiting = [1.3 * n for n in range(4)]
    waiting += [waiting[-1] + 60 / 69 * n for n in range(1, 13)]
    with Twin(rig, image=image, person=hand, seed=3) as twin:
        twin.plugged = plugged
        while twin.t_s < 13.0:
            while waiting and waiting[0] <= twin.t_s:
                hand.tap(waiting.pop(0))
            twin.run(0.05)
            while hand.lights:
                eye.see(*hand.lights.popleft())
            cue = eye.cue(twin.t_s)
            if cue not in cues[-1:]:
                cues.append(cue)
            paces.append((twin.t_s, twin.glimpse().pace_tpm))
        truth = twin.truth
    first = next(one.t_s for one in truth.switchings if one.connected)
    return cues, paces, first, truth.out_j


def mean(paces, begin_s, end_s):
    within = [tpm for t_s, tpm in paces if begin_s <= t_s < end_s]
    return sum(within) / len(within)


needs_posix = pytest.mark.skipif(sys.platform == "win32", reason="the virtual board needs POSIX")


@needs_posix
def test_from_faster_to_hold_to_a_load_that_is_felt(hut, hut_image, tmp_path):
    """The lamp beats, then holds, and the load connects. Against the same taps with the phone
    unplugged the pace sags at once, until the arm has leant in."""
    image = shutil.copy(hut_image, tmp_path / "free.img")
    cues, paces, at_s, out_j = cranked(hut, hut_image)
    _, free, free_at_s, nothing_j = cranked(hut, image, plugged=False)
    assert cues[:3] == ["dark", "faster", "hold"]
    assert at_s == pytest.approx(free_at_s, abs=0.1)
    assert at_s > 4.0
    assert out_j > 10 > nothing_j
    soon, later = (at_s + 0.2, at_s + 0.9), (at_s + 3.0, at_s + 6.0)
    assert mean(paces, *soon) < 0.95 * mean(free, *soon)
    assert mean(paces, *later) == pytest.approx(mean(free, *later), rel=0.04)


@needs_posix
@pytest.mark.soak
def test_an_arm_too_weak_for_the_load_cannot_carry_it(hut, hut_image):
    weak = dataclasses.replace(hut, arm=dataclasses.replace(hut.arm, force_n=4.5))
    _, paces, at_s, out_j = cranked(weak, hut_image)
    before = mean(paces, at_s - 0.5, at_s)
    assert min(tpm for t_s, tpm in paces if 0 < t_s - at_s < 0.4) < 0.8 * before
    assert out_j < 2  # the board has to release it again each time
