"""Summaries made by the board's own code, read on the host: nothing lost, nothing twice."""

from __future__ import annotations

import random

import pytest
from page_maker import Recorder
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn_fw import pages as layout
from steadyturn_fw.summary import Summary

SETTINGS = {"low_dtpm": 500, "high_dtpm": 750, "percent_mj": 800_000}
# what a summary has to keep; the bars of the pace and the check need samples
KEPT = (
    "energy_in_wh", "energy_out_wh", "charge_mah", "turns", "on_s", "turning_s", "valid_s",
    "band_s", "connected_s", "cue_s", "connections", "releases", "collapses", "faults",
    "faults_by_name", "no_data_s", "volts_only_s", "mean_pace_tpm", "peak_pace_tpm", "peak_v",
    "peak_a", "missing_pages", "boots_cut", "events_lost",
)


def some(seed: int, boots: int = 6) -> list[bytes]:
    rng = random.Random(seed)
    recorder = Recorder()
    made = []
    for _ in range(boots):
        for _ in range(rng.randint(1, 9)):
            events = [] if made else [(layout.EV_FAULT, 10, layout.FAULT_SENSOR)]
            if rng.random() < 0.5:
                events.append((layout.EV_RELEASED, 40, rng.choice([2, 3, 8])))
            if rng.random() < 0.2:
                events.append((layout.EV_FAULT, 60, layout.FAULT_OVER_VOLTAGE))
            if rng.random() < 0.2:
                events.append((layout.EV_COLLAPSE, 80, 400))
            if rng.random() < 0.1:
                events.append((layout.EV_FAULT, -1, layout.FAULT_SENSOR))  # lasts, repeated
            made.append(recorder.page(
                bus_mv=rng.randint(5000, 7000), bus_ma=rng.randint(300, 700),
                pace_tpm=rng.randint(80, 160) / 2,
                cue=rng.choice([layout.REST, layout.FASTER, layout.HOLD, layout.SLOWER]),
                valid=rng.choice([0, 0, 0, 2]), stalls=rng.choice([0, 0, 3]),
                count=rng.choice([23, 23, 9]), events=events[:3],
            ))
        recorder.reboot()
    return made


def thinned(pages: list[bytes], *, together: bool = False) -> list[bytes]:
    """One page a boot, as the board would make them; together: one for all."""
    made = []
    summary = Summary()
    for page in pages:
        boot = int.from_bytes(page[8:11], "little")
        if summary.stands_for and summary.boot != boot and not together:
            made.append(bytes(summary.seal()))
            summary.clear()
        summary.add(page)
    return [*made, bytes(summary.seal())]


def same(got, want) -> None:
    for name in KEPT:
        a, b = getattr(got, name), getattr(want, name)
        if isinstance(b, float):
            assert a == pytest.approx(b, rel=1e-6, nan_ok=True), name
        elif name == "cue_s":
            assert a == pytest.approx(b), name
        else:
            assert a == b, name


@pytest.mark.parametrize("seed", range(6))
def test_thinned_boots_give_the_same_figures(seed: int) -> None:
    pages = some(seed)
    whole = review(decode(b"".join(pages)), SETTINGS)
    small = decode(b"".join(thinned(pages)))
    assert len(small.summaries) == 6
    assert not small.damage
    figures = review(small, SETTINGS)
    same(figures, whole)
    assert figures.thinned_pages == len(pages)
    assert [b.boot for b in figures.boots] == [b.boot for b in whole.boots]
    for a, b in zip(figures.boots, whole.boots, strict=True):
        assert (a.energy_out_wh, a.turns, a.length_s, a.ended) == pytest.approx(
            (b.energy_out_wh, b.turns, b.length_s, b.ended))


@pytest.mark.parametrize("seed", range(6))
def test_pages_pulled_before_and_their_summary_count_once(seed: int) -> None:
    """Some pages of a boot in the library, then the board thinned it; and the other way."""
    pages = some(seed)
    whole = review(decode(b"".join(pages)), SETTINGS)
    rng = random.Random(seed)
    sums = thinned(pages)
    last = {int.from_bytes(s[4:8], "little") for s in sums}
    kept = [p for p in pages
            if rng.random() < 0.5 and int.from_bytes(p[4:8], "little") not in last]
    got = review(decode(b"".join([*kept, *sums])), SETTINGS)
    same(got, whole)
    assert got.thinned_pages == len(pages) - len(kept)


def test_a_summary_that_has_grown_stands_for_the_one_before() -> None:
    pages = some(1, boots=1)
    half = len(pages) // 2
    both = thinned(pages[:half]) + thinned(pages)
    whole = review(decode(b"".join(pages)), SETTINGS)
    same(review(decode(b"".join(both)), SETTINGS), whole)
    # of two pulls the second tells only what came since
    later = review(decode(both[1]), SETTINGS, before=both[0])
    rest = review(decode(b"".join(pages[half:])), SETTINGS, before=b"".join(pages[:half]))
    for name in ("energy_in_wh", "turns", "on_s", "cue_s", "releases", "collapses"):
        assert getattr(later, name) == pytest.approx(getattr(rest, name)), name
    assert later.thinned_pages == len(pages) - half


def test_boots_that_had_to_share_one() -> None:
    pages = some(3)
    got = review(decode(b"".join(thinned(pages, together=True))), SETTINGS)
    whole = review(decode(b"".join(pages)), SETTINGS)
    assert got.energy_out_wh == pytest.approx(whole.energy_out_wh)
    assert got.cue_s == pytest.approx(whole.cue_s)
    (boot,) = got.boots
    assert (boot.first_boot, boot.boot) == (1, 6)


def test_totals_that_turn_over_in_a_long_life() -> None:
    """A board keeps the low bytes of a total only, 78 kWh of them."""
    recorder = Recorder(seq=100)
    recorder.energy_in = (1 << 48) - 20_000_000
    recorder.on = 1000
    raw = b"".join(recorder.page() for _ in range(3))
    assert recorder.energy_in > 1 << 48
    got = review(decode(raw), SETTINGS)
    assert got.totals_restarts == 0
    assert got.energy_in_j == pytest.approx(2 * 23 * 0.2 * 6.0 * 0.5, rel=0.01)
