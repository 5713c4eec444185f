"""Bodies in layers: the same as those that the library joins, for shapes that cross, hold and
touch one another."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("manifold3d", reason="the extra 'print' is not installed")

from steadyturn.gears import layers, shapes
from steadyturn.gears.kernel import kernel
from steadyturn.gears.layers import Slab


def slabs(rng: np.random.Generator, count: int) -> list[Slab]:
    """Discs, boxes and hexagons about one another, on few heights so that many ends meet."""
    found = []
    for _ in range(count):
        x, y = rng.integers(-2, 3, 2) * 2.5
        size = float(rng.integers(2, 9))
        kind = rng.integers(3)
        shape = (shapes.circle(size, x, y, 24) if kind == 0 else
                 shapes.rectangle(2 * size, size, x, y) if kind == 1 else shapes.hexagon(size))
        low = float(rng.integers(0, 4))
        found.append(Slab(low, low + float(rng.integers(1, 4)), shape))
    return found


@pytest.mark.parametrize("seed", range(40))
def test_layers_make_what_joining_makes(seed: int) -> None:
    rng = np.random.default_rng(seed)
    adds, cuts = slabs(rng, 4), slabs(rng, 2)
    made, right = layers.body(adds, cuts), layers.joined(adds, cuts)
    assert made.status() == kernel().Error.NoError
    assert made.volume() == pytest.approx(right.volume(), abs=1e-3)
    assert (made - right).volume() + (right - made).volume() < 0.01


def test_few_are_joined_and_those_are_sound_too() -> None:
    """Edges of two shapes that lie all but on one another may not close."""
    closed = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        adds, cuts = slabs(rng, 4), slabs(rng, 2)
        try:
            layers.stacked(adds, cuts)
            closed.append(True)
        except layers.NotClosed:
            closed.append(False)
    assert 32 <= sum(closed) < 40  # both ways are among those compared above


def test_a_leaning_wall() -> None:
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
    body = layers.body([layers.leaning(0, 3, square * 2, square)],
                       [Slab(-1, 4, shapes.rectangle(1, 1))])
    assert body.volume() == pytest.approx(3 * (16 + 4 + 8) / 3 - 3, rel=1e-6)
