"""What nothing beats, against the definition written out."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from steadyturn.sizing.pareto import best_of_boxes, thinned, unbeaten

rows = st.lists(st.tuples(*[st.integers(0, 4)] * 3), min_size=0, max_size=40)


@given(rows)
@settings(max_examples=200, deadline=None, derandomize=True)
def test_unbeaten_is_the_definition(listed) -> None:
    costs = np.array(listed, dtype=float).reshape(-1, 3)

    def beats(a, b):
        return (a <= b).all() and (a < b).any()

    kept = unbeaten(costs)
    for i, row in enumerate(costs):
        equal_before = any((costs[j] == row).all() for j in range(i))
        beaten = any(beats(other, row) for other in costs)
        assert kept[i] == (not beaten and not equal_before)


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 9)), max_size=40))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_best_of_boxes(listed) -> None:
    boxes = np.array([b for b, _ in listed], dtype=np.int64)
    value = np.array([v for _, v in listed], dtype=float)
    found = best_of_boxes(boxes, value)
    assert boxes[found].tolist() == sorted(set(boxes.tolist()))
    for i in found:
        assert value[i] == value[boxes == boxes[i]].min()


def test_thinned_keeps_the_ends_and_kinds() -> None:
    costs = np.stack([np.linspace(0, 1, 101), np.linspace(1, 0, 101) ** 2], axis=1)
    kinds = np.zeros((101, 1), dtype=np.int64)
    kinds[47] = 1  # the one of another kind
    chosen = thinned(costs, kinds, 6)
    assert len(chosen) == 6
    assert {0, 100, 47} <= set(chosen)
    gaps = np.diff(sorted(chosen))
    assert gaps.max() < 60
    assert thinned(costs[:3], kinds[:3], 6) == [0, 1, 2]
    assert thinned(costs, kinds, 6) == chosen
