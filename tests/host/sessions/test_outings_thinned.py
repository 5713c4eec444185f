"""Outings of boots whose samples the board gave up for room: the same totals, in the outing
that they belong to."""

from __future__ import annotations

import dataclasses

import pytest
from shelves import DAY_S, Shelf
from test_summaries import thinned

SAME = ("energy_in_j", "energy_out_j", "charge_c", "turns", "on_s", "turning_s", "band_s",
        "connected_s", "connections", "faults", "percent", "mean_pace_tpm", "after_s", "until_s",
        "first_boot", "last_boot", "last_seq", "boots")


def played(folder, thin):
    """Two outings; then one that begins in the boot that the pull before it met; then one whose
    last page stays whole."""
    shelf = Shelf(folder)

    def pull(keep=0):
        if thin:
            cut = len(shelf.waiting) - keep
            shelf.waiting = [*thinned(shelf.waiting[:cut]), *shelf.waiting[cut:]]
        shelf.pull()

    for n in range(2):
        shelf.crank(pages=4 + n, boots=3, pace_tpm=60 + 10 * n)
        shelf.later(DAY_S)
        pull()
    shelf.crank(pages=3)
    pull()
    before = list(shelf.every)
    shelf.page(pace_tpm=50)  # the laptop is unplugged, the handle turns on
    shelf.page(pace_tpm=50)
    shelf.later(DAY_S)
    shelf.crank(pages=2)
    if thin:  # the summary of that boot stands for pages that are in the library too
        mine = [p for p in shelf.every if p[8:11] == before[-1][8:11]]
        rest = [p for p in shelf.waiting if p[8:11] != before[-1][8:11]]
        shelf.waiting = [*thinned(mine), *thinned(rest)]
    shelf.pull()
    shelf.crank(pages=6)
    pull(keep=1)
    return shelf.outings()


def test_thinned_boots_have_the_same_totals_in_the_same_outings(tmp_path):
    whole, thin = played(tmp_path / "whole", False), played(tmp_path / "thin", True)
    assert len(whole) == len(thin) == 5
    assert [row.pages for row in thin] == [3, 3, 1, 2, 2]
    for a, b in zip(map(dataclasses.asdict, whole), map(dataclasses.asdict, thin), strict=True):
        for name in SAME:
            assert b[name] == (pytest.approx(a[name], rel=1e-6) if isinstance(a[name], float)
                               else a[name]), name
        assert b["missing_pages"] == 0
