"""Somebody who looks at the lamp knows within a second and a half what it says."""

import ast
from itertools import permutations
from pathlib import Path

import pytest
import steadyturn_fw
from steadyturn.twin.watcher import Watcher

TICK_S = 0.02


def patterns():
    """The firmware's own table, read without importing it (it needs a board)."""
    source = (Path(steadyturn_fw.__file__).parent / "lamp.py").read_text()
    for node in ast.parse(source).body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "PATTERNS":
            text = ast.unparse(node.value).replace("BEAT", "-1")
            return {row[0]: row[1] for row in ast.literal_eval(text)}
    raise AssertionError("no PATTERNS in lamp.py")


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
                light = 0.6 if level else 0.0
                if light != last[0]:
                    watcher.see(t, light)
                    last[0] = light
                t += TICK_S
                heard.append((t, watcher.cue(t)))
    return t, heard


@pytest.mark.parametrize("beat_s", [0.56, 0.85, 1.10])
@pytest.mark.parametrize(("first", "then"), list(permutations(
    ("rest", "faster", "hold", "slower", "stop"), 2)))
def test_a_change_is_understood_in_time(first, then, beat_s):
    table = patterns()
    watcher, last = Watcher(), [0.0]
    t, heard = play(watcher, table[first], 0.0, 6.0, beat_s, last)
    if first != "rest":
        assert heard[-1][1] == first
    began = t
    t, heard = play(watcher, table[then], t, 6.0, beat_s, last)
    # a beat needs two flashes to be one after the dark
    allowed = 1.5 + (beat_s if then == "faster" and first == "rest" else 0.0)
    wrong = [t for t, cue in heard if cue != then and not (then == "rest" and cue == "dark")]
    assert (wrong[-1] - began if wrong else 0.0) <= allowed
    assert heard[-1][1] in (then, "dark")


def test_the_beat_is_felt():
    watcher = Watcher()
    assert watcher.beat_s is None
    play(watcher, patterns()["faster"], 0.0, 5.0, 0.86, [0.0])
    assert watcher.beat_s == pytest.approx(0.86, abs=0.021)


def test_a_lamp_that_was_never_lit_is_dark_and_not_rest():
    watcher = Watcher()
    assert watcher.cue(10.0) == "dark"


def test_a_wink_for_a_percent_does_not_disturb_hold():
    table = patterns()
    watcher, last = Watcher(), [0.0]
    t, _ = play(watcher, table["hold"], 0.0, 3.0, 0.9, last)
    t, during = play(watcher, table["percent"], t, 0.1, 0.9, last)
    t, after = play(watcher, table["hold"], t, 3.0, 0.9, last)
    assert {cue for _, cue in (*during, *after)} == {"hold"}
