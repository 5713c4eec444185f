"""Erases with the load connected are counted, and the review says so."""

from __future__ import annotations

from page_maker import Recorder
from steadyturn.report.review_more import phone
from steadyturn.report.words import event
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn_fw import pages as layout


def test_erases_are_counted_and_told() -> None:
    recorder = Recorder()
    raw = recorder.page(events=[(layout.EV_ERASE_CONNECTED, 10, 47)])
    raw += recorder.page(events=[(layout.EV_ERASE_CONNECTED, 10, 52),
                                 (layout.EV_RELEASED, 40, layout.WHY_ASKED)])
    got = review(decode(raw), {})
    assert (got.erases_connected, got.erase_longest_ms) == (2, 52)
    said = " ".join(phone(got).split())
    assert "Flash erased while connected: 2 x, at longest 52 ms." in said


def test_without_any_nothing_is_said() -> None:
    got = review(decode(Recorder().page()), {})
    assert (got.erases_connected, got.erase_longest_ms) == (0, 0)
    assert "erased" not in phone(got)


def test_the_event_in_words() -> None:
    assert event(layout.EV_ERASE_CONNECTED, 45).endswith(": 45 ms")
