"""Every code of the firmware has its words, and an unknown one never fails."""

from __future__ import annotations

import pytest
from steadyturn.report import words
from steadyturn_fw import pages


@pytest.mark.parametrize(
    ("names", "table"),
    [
        (pages.CUES, words.CUE),
        (pages.REASONS, words.REASON),
        (pages.FAULTS, words.FAULT),
        (pages.STATE_VALIDITY, words.VALIDITY),
        (pages.EVENT_NAMES, words.EVENT),
    ],
)
def test_the_tables_have_exactly_the_firmwares_names(names, table):
    assert set(table) == set(names)


def test_words_for_codes():
    assert words.cue(pages.STOP) == "STOP"
    assert words.cue_advice(pages.FASTER) == "give more"
    assert "volts" in words.event(pages.EV_RELEASED, pages.WHY_OVER_VOLTAGE)
    assert "sensor" in words.event(pages.EV_FAULT, pages.FAULT_SENSOR)


def test_names_are_taken_like_codes():
    assert words.reason("over_voltage") == words.reason(pages.WHY_OVER_VOLTAGE)
    assert words.event("fault", 2) == words.event(pages.EV_FAULT, 2)


@pytest.mark.parametrize("code", [99, -1])
def test_a_newer_boards_code_is_shown_as_its_number(code):
    for word in (words.cue, words.reason, words.fault, words.validity, words.event):
        assert word(code) == f"code {code}"
    assert words.cue_advice(code) == ""
