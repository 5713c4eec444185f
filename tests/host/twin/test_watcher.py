"""Somebody who looks at the lamp knows within a second and a half what it says."""

from itertools import permutations

import pytest
from steadyturn.twin.listener import watcher as watcher_of
from steadyturn_fw.patterns import COLUMN, HIGH_HZ, LOW_HZ, PATTERNS

TICK_S = 0.02


def patterns(kind):
    return {row[0]: row[COLUMN[kind]] for row in PATTERNS}


def play(watcher, steps, t, seconds, beat_s, last):
    """Show a pattern from t on; returns the time and what was understood at each tick."""
    heard = []
    end = t + seconds
    while t < end:
        gone = 0.0
        for level, ms in steps:
            lasts = beat_s - gone if ms < 0 else ms / 1000
            gone += lasts
            for _ in range(round(lasts / TICK_S)):
                light = (0.0, LOW_HZ / HIGH_HZ, 1.0)[level]
                if light != last[0]:
                    watcher.see(t, light)
                    last[0] = light
                t += TICK_S
                heard.append((t, watcher.cue(t)))
    return t, heard


@pytest.mark.parametrize("beat_s", [0.56, 0.85, 1.10])
@pytest.mark.parametrize(("first", "then"), list(permutations(
    ("rest", "faster", "hold", "slower", "stop"), 2)))
@pytest.mark.parametrize("kind", ["led", "piezo", "vibration"])
def test_a_change_is_understood_in_time(kind, first, then, beat_s):
    table = patterns(kind)
    watcher, last = watcher_of(kind), [0.0]
    # to ear and hand rest and hold are the same silence
    silent = ("rest", "hold") if kind != "led" else ()
    t, heard = play(watcher, table[first], 0.0, 6.0, beat_s, last)
    if first != "rest" and first not in silent:
        assert heard[-1][1] == first
    began = t
    t, heard = play(watcher, table[then], t, 6.0, beat_s, last)
    right = {then, *silent} if then in silent else {then}
    if then == "rest" or then in silent:
        right.add("dark")
    # a beat needs two flashes to be one after the dark
    allowed = 1.5 + (beat_s if then == "faster" and first == "rest" else 0.0)
    wrong = [t for t, cue in heard if cue not in right]
    assert (wrong[-1] - began if wrong else 0.0) <= allowed
    assert heard[-1][1] in right


@pytest.mark.parametrize("kind", ["led", "piezo", "vibration"])
def test_the_beat_is_heard(kind):
    for beat_s in (0.56, 0.86, 1.1):
        watcher = watcher_of(kind)
        play(watcher, patterns(kind)["faster"], 0.0, 6.0, beat_s, [0.0])
        assert watcher.beat_s == pytest.approx(beat_s, abs=0.021)
