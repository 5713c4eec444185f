"""The lamp's signals: told apart in time, few flashes, and a picture that shows them."""

from math import inf
from xml.etree import ElementTree

import numpy as np
import pytest
from steadyturn.drawings.lamp_chart import COLORS, SECONDS, chart_text, shown
from steadyturn.drawings.lamp_page import CLASSES, CUES, worst_s
from steadyturn.drawings.lamp_traces import (
    BEATS_MS,
    SIGNALS,
    TICK_MS,
    count,
    fault,
    most_flashes,
    told_s,
)
from steadyturn.rig.types import Board
from steadyturn_fw.patterns import COLUMN

SILENT = {"rest", "hold"}


@pytest.mark.parametrize("kind", CLASSES)
@pytest.mark.parametrize("begun", [True, False])
def test_every_cue_is_told_from_every_other_within_a_second(kind, begun):
    """Where it is more, only a beat slower than 1.02 s makes it so, or the two are one silence."""
    for signal in CUES:
        for other in CUES:
            if signal == other:
                continue
            seconds, beat = worst_s(signal, other, kind, begun=begun)
            if kind != "led" and {signal, other} == SILENT:
                assert seconds == inf
            elif seconds > 1.0:
                assert "faster" in (signal, other)
                assert beat
                assert seconds <= 1.14
                if kind == "led":
                    assert {signal, other} == {"rest", "faster"}
                    assert told_s(signal, other, kind, 1000, begun=begun) <= 1.0


def by_hand(one, two):
    """Ticks until `one` from its start is not `two` at any phase, the plain way."""
    worst = 0
    for phase in range(len(two)):
        for t in range(4000):
            level = one[t % len(one)]
            if all(level != two[(phase + t + d) % len(two)] for d in (-1, 0, 1)):
                worst = max(worst, t + 1)
                break
        else:
            return inf
    return worst * TICK_MS / 1000


@pytest.mark.parametrize("kind", CLASSES)
def test_times_are_what_a_plain_search_finds(kind):
    from steadyturn.drawings.lamp_traces import cycles

    for signal, other in (("rest", "faster"), ("stop", "slower"), ("percent", "slower"),
                          ("slower", "percent"), ("faster", "stop")):
        (one,), (two,) = (cycles(s, COLUMN[kind], 920) for s in (signal, other))
        assert told_s(signal, other, kind, 920, begun=True) == by_hand(one, two)
        turned = max(by_hand(np.roll(one, -k), two) for k in range(0, len(one), 7))
        assert told_s(signal, other, kind, 920, begun=False) >= turned


@pytest.mark.parametrize("kind", CLASSES)
def test_nothing_flashes_more_than_three_times_a_second(kind):
    most = {signal: most_flashes(signal, kind) for signal in SIGNALS}
    assert max(most.values()) <= 3
    assert most["faster"] >= 1
    if kind == "led":
        assert most["stop"] == 3
        assert most["hold"] == 0


def test_faults_and_counts_of_other_numbers_are_told_apart():
    for column in (1, 2, 3):
        rounds = [fault(n, column) for n in range(1, 7)] + [count(n, column) for n in range(100)]
        assert len({one.tobytes() for one in rounds}) == 106


def test_the_picture_shows_each_signal_on_each_kind():
    root = ElementTree.fromstring(chart_text())
    boxes = [e for e in root if e.tag.endswith("rect")]
    words = [e.text for e in root if e.tag.endswith("text")]
    for signal in ("rest", "faster", "hold", "slower", "stop", "percent in hold", "fault 2",
                   "count 12"):
        assert words.count(signal) == len(COLUMN)
    fills = {e.get("fill") for e in boxes}
    assert set(COLORS) <= fills
    # what is lit in all: as wide as the levels say
    lit = sum(float(e.get("width")) for e in boxes if e.get("fill") == "#FFFFFF")
    ticks = SECONDS * 1000 // TICK_MS
    right = 0.0
    for kind in COLUMN:
        for signal in SIGNALS:
            share = np.count_nonzero(shown(signal, kind)) / ticks * 600
            twice = kind == "two_led" and signal in ("slower", "stop", "fault")
            white = kind != "rgb" or signal == "fault"
            right += share * (2 if twice else 1) * white
    assert lit == pytest.approx(right, abs=2)


def luminance(rgb):
    parts = np.array([rgb >> 16, rgb >> 8 & 255, rgb & 255]) / 255
    return float(parts @ [0.2126, 0.7152, 0.0722])


def test_the_pictures_colors_are_the_defaults_on_a_screen_and_readable_in_grey():
    board = Board()
    names = ("more_rgb", "enough_rgb", "much_rgb", "danger_rgb")
    for text, name in zip(COLORS, names, strict=False):
        screen = int(text[1:], 16)
        parts = np.array([screen >> 16, screen >> 8 & 255, screen & 255]) / 255
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        red, green, blue = (int(x) for x in np.round(255 * linear))
        assert red << 16 | green << 8 | blue == getattr(board, name)
        dark = ((0x20 / 255 + 0.055) / 1.055) ** 2.4
        # WCAG 2.1, 1.4.11: 3 to 1 for what a picture is understood by
        assert (luminance(getattr(board, name)) + 0.05) / (dark + 0.05) > 3.0


def test_beats_are_those_of_the_firmware():
    from steadyturn_fw.patterns import beat_ms

    made = [beat_ms(dtpm) for dtpm in range(50, 5001, 3)]
    assert BEATS_MS[0] - 10 <= min(made)
    assert max(made) <= BEATS_MS[-1] + 11
