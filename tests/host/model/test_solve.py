"""The two ways to a root: from near, and from the left."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from steadyturn.model.solve import first_root, near_root


def kinked(x):
    """What a converter held by its input limit needs at output volts x [W], less what it gets:
    a device that draws nothing below 3.8453 V and 1.1235 A from 4.8293 V."""
    amps = 1.1235 * np.clip((x - 3.8453) / 0.984, 0.0, 1.0)
    by_x = np.where((amps > 0) & (amps < 1.1235), 1.1235 / 0.984, 0.0)
    coil = np.maximum(amps, 0.4)
    by_coil = (0.356 + 2 * 0.1617 * coil) * np.where(amps > 0.4, by_x, 0.0)
    lost = 0.1212 + 0.356 * coil + 0.1617 * coil**2
    return x * amps + lost - 5.0512, amps + x * by_x + by_coil


def test_newton_across_kinks_does_not_go_to_and_fro() -> None:
    """Steps from either side of the ramp lead back to the other: the bracket has to shrink."""
    turns = []

    def counted(x):
        turns.append(1)
        return kinked(x)

    x, there = first_root(counted, np.zeros(1), np.full(1, 5.1328), bracketed=True)
    wanted = brentq(lambda v: float(kinked(np.array(v))[0]), 0.0, 5.1328, xtol=1e-14)
    assert there.all()
    assert float(x[0]) == pytest.approx(wanted, rel=1e-12)
    assert len(turns) < 40


@given(st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(0.0, 0.999)), min_size=1, max_size=20))
def test_the_first_root_of_a_fold(drawn) -> None:
    """x (4 a - x) = P: the smaller root from the left and from near, none past the fold."""
    scale, share = np.array(drawn).T
    most = 4 * scale**2

    def power(x):
        return x * (4 * scale - x) - share * most, 4 * scale - 2 * x

    wanted = 2 * scale * (1 - np.sqrt(1 - share))
    x, there = first_root(power, np.zeros_like(scale), 4 * scale)
    assert there.all()
    assert x == pytest.approx(wanted, rel=1e-9, abs=1e-15)
    near, settled, _, _ = near_root(lambda x: (*power(x), None), 0.98 * wanted)
    assert near[settled] == pytest.approx(wanted[settled], rel=1e-9, abs=1e-15)
    assert settled[share < 0.9].all()
    _, settled, _, _ = near_root(lambda x: (*power(x), None), 3.5 * scale)
    assert not settled.any()
    beyond = first_root(lambda x: (power(x)[0] - 1.01 * (1 - share) * most - 1e-9, power(x)[1]),
                        np.zeros_like(scale), 4 * scale)[1]
    assert not beyond.any()
