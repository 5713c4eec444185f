"""Curves as SVG text: nothing that stands out is lost, and gaps stay gaps."""

import re

import numpy as np
import pytest
from steadyturn.report.curves import COLUMNS, columns_of, filled, pieces, thinned
from steadyturn.report.svg_time import Sheet, nice


def path_of(svg, kind):
    return re.search(rf'class="{kind}" d="([^"]*)"', svg).group(1)


def test_a_line_breaks_at_missing_time_and_at_missing_values():
    seconds = np.array([0, 0.2, 0.4, 0.6, 1.4, 1.6])
    values = np.array([1, 2, np.nan, 3, 4, 5])
    found = pieces(seconds, values, 0.2)
    assert [y.tolist() for _, y in found] == [[1, 2], [3], [4, 5]]
    assert pieces(seconds, np.full(6, np.nan), 0.2) == []


def test_thinning_keeps_every_columns_lowest_mean_and_highest():
    rng = np.random.default_rng(3)
    seconds = np.arange(50_000) * 0.2
    values = rng.normal(60, 5, len(seconds))
    rows = thinned(seconds, values, 10_000.0)
    assert len(rows) == COLUMNS
    by_column = values.reshape(COLUMNS, -1)
    assert np.allclose(rows[:, 1:], np.column_stack(
        [by_column.min(1), by_column.mean(1), by_column.max(1)]))
    assert thinned(seconds[:COLUMNS], values[:COLUMNS], seconds[COLUMNS]) is None


def test_a_single_high_sample_in_ten_hours_is_drawn():
    seconds = np.arange(180_000) * 0.2
    values = np.full(len(seconds), 5.0)
    values[91_234] = 9.0
    sheet = Sheet("x", 36_000.0)
    sheet.panel("volts", 100, 0, 10).curve("volts", pieces(seconds, values, 0.2))
    svg = sheet.svg("t", "d")
    heights = [float(y) for y in re.findall(r" ([\d.]+)", path_of(svg, "cloud volts"))]
    assert min(heights) == pytest.approx(10.0)  # 9 of 10 V is 10 of 100 px from the top
    assert len(svg) < 60_000


def test_a_piece_of_one_sample_can_be_seen():
    sheet = Sheet("x", 10.0)
    sheet.panel("volts", 100, 0, 10).curve("volts", [(np.array([5.0]), np.array([4.0]))])
    places = path_of(sheet.svg("t", "d"), "line volts")
    first, last = places[1:].split("L")
    assert float(last.split()[0]) - float(first.split()[0]) >= 1
    assert first.split()[1] == last.split()[1] == "60.0"


def test_columns_of_spans():
    assert columns_of([(0.0, 1.0), (1.0, 2.0), (5.0, 5.0)], 10.0) == [(0, 200), (500, 501)]
    assert columns_of([(9.9999, 10.0)], 10.0) == [(999, 1000)]
    assert columns_of([], 10.0) == []
    rng = np.random.default_rng(1)
    edges = np.sort(rng.uniform(0, 100, 400)).reshape(-1, 2)
    taken = np.zeros(COLUMNS, bool)
    for a, b in columns_of(edges.tolist(), 100.0):
        taken[a:b] = True
    assert all(taken[int(t * 10)] for t in edges[:, 0])
    assert taken.sum() < 400 + np.ptp(edges, axis=1).sum() * 10


def test_how_much_of_a_column_spans_fill():
    rng = np.random.default_rng(2)
    edges = np.sort(rng.uniform(0, 50, 300)).reshape(-1, 2)
    got = filled(edges.tolist(), 50.0)
    fine = np.linspace(0, 50, 1_000_001)[:-1]
    inside = np.zeros(len(fine), bool)
    for a, b in edges:
        inside |= (fine >= a) & (fine < b)
    assert np.allclose(got, inside.reshape(COLUMNS, -1).mean(1), atol=2e-3)
    assert filled([], 50.0).sum() == 0


def test_bars_share_a_long_column_and_fill_a_short_one():
    rows = [("one", "hold", ((0.0, 1.0),), [(0.0, 9_000.0)]),
            ("other", "stop", ((0.0, 1.0),), [(9_000.0, 9_002.5), (9_002.5, 10_000.0)])]
    sheet = Sheet("x", 10_000.0)
    sheet.strip("lamp", rows)
    assert path_of(sheet.svg("t", "d"), "bar hold") == "M0 0.0h900v11.0h-900z"
    half = [("one", "hold", ((0.0, 1.0),), [(0.0, 5.0)]),
            ("other", "stop", ((0.0, 1.0),), [(5.0, 10_000.0)])]
    sheet = Sheet("x", 10_000.0)
    sheet.strip("lamp", half)
    assert path_of(sheet.svg("t", "d"), "bar hold") == "M0 5.5h1v5.5h-1z"
    sheet = Sheet("x", 100.0)
    sheet.strip("lamp", half[:1])
    assert path_of(sheet.svg("t", "d"), "bar hold") == "M0 0.0h50v11.0h-50z"


def test_round_numbers():
    assert nice(0, 1.1) == [0, 0.5, 1.0]
    assert nice(0, 103) == [0, 50, 100]
    assert nice(3, 3) == [3]
    for high in (0.013, 0.9, 7.3, 88, 12345):
        found = nice(0, high)
        assert 2 <= len(found) <= 6
        assert found[0] == 0
        assert found[-1] <= high
