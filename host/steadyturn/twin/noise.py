"""Noise from a seed: standard normal deviates, drawn a block at a time because singly they
would cost a virtual board as much time as its sensor."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator

import numpy as np

BLOCK = 4096


def noise(seed: str) -> Callable[[], float]:
    """A function that gives the next deviate; the same seed gives the same ones.

    >>> first, second = noise("a"), noise("a")
    >>> first() == second()
    True
    """
    return _deviates(seed).__next__


def _deviates(seed: str) -> Iterator[float]:
    chance = np.random.default_rng(zlib.crc32(seed.encode()))
    while True:
        yield from chance.standard_normal(BLOCK).tolist()
