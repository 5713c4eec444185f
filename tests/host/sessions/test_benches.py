"""Readings for a bench are no outing's cranking: no figure counts them, and what they were stands
beside."""

from __future__ import annotations

import pytest
from model_outings import Maker, wander
from steadyturn.jobs.review_reckon import reckon
from steadyturn.report import spans_of
from steadyturn.report.plots_boots import lay_out
from steadyturn.report.review_notes import bench as bench_note
from steadyturn.sessions.benches import Bench
from steadyturn.sessions.figures import review
from steadyturn.sessions.flow import flow
from steadyturn.sessions.steps import steps
from steadyturn_fw import pages as layout

PAGE = layout.SAMPLES


def outing(bench: bool) -> Maker:
    """Two minutes of charging, then three of a hand told to turn far above the band, with the
    load connected and let go again and again."""
    maker = Maker()
    maker.boot_of(wander(120, maker.target, seed=3), events=[(2, layout.EV_CONNECTED, 9000)])
    pages = 40
    events = [(PAGE * n, layout.EV_BENCH, 900) for n in range(pages)] if bench else []
    events += [(PAGE * n + at, code, value) for n in range(pages) for at, code, value in (
        (2, layout.EV_CONNECTED, 9000), (12, layout.EV_RELEASED, layout.WHY_OVER_SPEED))]
    maker.boot_of(wander(0.2 * PAGE * pages, 1.3 * maker.high, seed=4), events=events)
    return maker


def test_a_bench_is_left_out_of_what_is_judged() -> None:
    told = {}
    for bench in (False, True):
        maker = outing(bench)
        pages = maker.pages()
        figures = review(pages, maker.settings)
        found = reckon(pages, figures, maker.settings, {}, maker.rig, [])
        told[bench] = figures, {one.code for one in found.findings}, flow(pages, maker.settings)
    assert told[False][1] != set()
    assert told[True][1] == set()
    with_, without = told[True][0], told[False][0]
    bench = with_.bench
    for name in ("energy_in_wh", "energy_out_wh", "turns", "connections", "on_s"):
        whole = getattr(without, name)
        assert getattr(with_, name) + getattr(bench, name) == pytest.approx(whole, rel=1e-9)
        assert 0 < getattr(bench, name) < whole
    assert without.bench == Bench()
    first = with_.boots[0]
    assert with_.energy_out_wh == pytest.approx(first.energy_out_wh)
    assert with_.boots[1].connections == with_.boots[1].energy_in_wh == 0
    assert with_.connections == first.connections == 1
    assert sum(with_.cue_s.values()) == pytest.approx(with_.on_s, abs=1)
    assert sum(with_.releases.values()) == 0 < sum(without.releases.values())
    assert with_.check.agrees
    assert len(told[True][2].volts) == len(told[False][2].volts) - 40 * PAGE
    assert told[True][2].boot.max() == 1


def test_what_was_left_out_is_said_and_marked() -> None:
    maker = outing(True)
    pages = maker.pages()
    figures = review(pages, maker.settings)
    assert "readings for a bench" in bench_note(figures)[0]
    assert bench_note(review(outing(False).pages(), maker.settings)) == []
    stretches = lay_out(pages)
    marked = sum(end - begin for begin, end in spans_of.bench(stretches))
    assert marked == pytest.approx(figures.bench.on_s, abs=1)
    beats = sum(end - begin for spans in spans_of.cues(stretches).values() for begin, end in spans)
    assert beats == pytest.approx(figures.on_s, abs=1)
    assert "bench" in {row.cue for row in steps(pages).rows}
