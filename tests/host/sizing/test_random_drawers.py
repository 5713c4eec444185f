"""Drawers around rigs drawn at random: every converter kind, switch place, feed, clamp, load.

What the search lists is what the exact model finds; rows that differ are printed whole.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from steadyturn.model.band import find_band
from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.types import PARTS, Stage
from steadyturn.sizing.drawer import Drawer, Item, Limits, rig_of
from steadyturn.sizing.search import search

sys.path.insert(0, str(Path(__file__).parents[1] / "model"))
from random_rigs import random_rig


def drawer_around(seed: int) -> Drawer | None:
    rig = random_rig(seed)
    if rig.load.kind == "none":
        return None
    parts = {name: getattr(rig, name) for name in PARTS if name not in ("motor", "converter")}
    parts["bank"] = replace(rig.bank, series=1, parallel=1)
    parts["board"] = replace(rig.board, pins=FrozenMap({}))
    nothing = FrozenMap({})
    return Drawer(rig.name, "", (Item("m", rig.motor, 3, nothing, {}),),
                  (Item("c", rig.converter, 1, nothing, {}),), Limits(max_teeth=48),
                  Stage(efficiency=rig.stages[0].efficiency), FrozenMap(parts), nothing, {})


def check(seeds: range, rows_each: int) -> int:
    checked = 0
    for seed in seeds:
        of = drawer_around(seed)
        if of is None:
            continue
        found = search(of)
        assert found.tried == found.candidates
        assert found.working + sum(found.clashes.values()) == found.candidates
        for row in found.rows[:: max(1, len(found.rows) // rows_each)][:rows_each]:
            band = find_band(rig_of(of, row.build), deep=False)
            assert band.feasible, (seed, row)
            assert band.low_tpm == pytest.approx(row.low_tpm, abs=0.05), (seed, row)
            assert band.high_tpm == pytest.approx(row.high_tpm, abs=0.05), (seed, row)
            assert float(band.at_target.arm_w) == pytest.approx(row.arm_w, rel=2e-3), (seed, row)
            assert {h.name for h in band.hazards} == set(row.dangers), (seed, row)
            checked += 1
    return checked


def test_rows_are_the_exact_models() -> None:
    assert check(range(14), 1) >= 4


@pytest.mark.soak
def test_rows_are_the_exact_models_at_length() -> None:
    assert check(range(300), 4) >= 300
