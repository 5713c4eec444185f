"""Readings for a bench are no outing's cranking: energies count them, judgements do not."""

from __future__ import annotations

import pytest
from model_outings import Maker, wander
from steadyturn.jobs.review_reckon import reckon
from steadyturn.sessions.figures import review
from steadyturn.sessions.flow import flow
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
    assert told[True][0].energy_in_wh == pytest.approx(told[False][0].energy_in_wh, rel=1e-9)
    assert len(told[True][2].volts) == len(told[False][2].volts) - 40 * PAGE
    assert told[True][2].boot.max() == 1
