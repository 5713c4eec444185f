"""Bursts taken together: the arm differs from one to the next, the machine does not.

One burst cannot tell the resistance R from an arm that gives way within a tick (burst.py). But
S = k^2 / (efficiency b) and T = inertia / b both hang on the arm's droop b, and

    c = S / T = k^2 / (efficiency inertia)

does not: c [ohm/s] belongs to the machine alone. With a known c a quick arm is one that hardly
lets the EMF sag, and R is seen. So each burst gives its likelihood over R for every c of a grid,
whatever its arm was; those of an outing are multiplied, and over the outings c becomes known
(`drift.trend_among`), be it from the rig's inertia, be it from the bursts.

Source: drift.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.burst import ARM_S, READ_OFF_S, Burst, Ready, prepared, sagging
from steadyturn.sessions.lesson import MANY

Floats = NDArray[np.float64]

SLOPES = np.geomspace(3.0, 1500.0, MANY)  # c, ohm/s: 0.7 V s/rad on 0.1 kg m2 to 3 on 5 g m2
GRID = 96  # values of R
LAGS = np.geomspace(float(ARM_S[0]), float(ARM_S[-1]), 48)
NOISE_FREE = 6.0  # readings before the step that told the noise, less a straight line's
ODD = 0.02  # of bursts that something else disturbed: they tell nothing; assumption
LIKELY = 0.5  # of R + S is R, for how long the capacitor gives current; assumption
MOST_DELAY_S = 0.006
GRAIN = 0.15  # of the logarithm of c: the model of a step is no surer (by simulated machines)
# so many outings' evidence counts for c at most: what the model of a step gets wrong is alike in
# all of them, and light handles would be sure of a wrong c (by simulated machines)
ALIKE = 2.0
NEGLIGIBLE = 25.0  # a logarithm of odds
MOST = 8  # bursts of an outing: more make it no surer than its temperature is


@dataclass(frozen=True, slots=True)
class Pooled:
    """Of an outing's bursts, for each of SLOPES: log_ohm and its deviation sd, and the logarithm
    of how likely these readings are with it. count: bursts; give_ohm: R + S, the median."""

    log_ohm: tuple[float, ...]
    sd: tuple[float, ...]
    evidence: tuple[float, ...]
    count: int
    give_ohm: float


def pooled(
    bursts: Sequence[Burst], *, capacitor_f: float = 0.0, drop_v: float = 0.0,
    knee_a: float = 0.02,
) -> Pooled | None:
    """Of one outing's; None where none of them tells anything. Figures as in burst.resistance."""
    step = max(1, -(-len(bursts) // MOST))
    found = []
    for one in bursts[::step]:
        ready = prepared(one, capacitor_f=capacitor_f, drop_v=drop_v, knee_a=knee_a)
        if ready is not None and ready.top_ohm > 0:
            found.append((one, ready))
    if not found:
        return None
    give = float(np.median([ready.top_ohm for _, ready in found]))
    # for about R C the capacitor gives the current
    middle, spread, evidence = _all(found, give, min(LIKELY * give * capacitor_f, MOST_DELAY_S))
    return Pooled(_plain(middle), _plain(np.sqrt(spread)), _plain(evidence), len(found), give)


def _all(found: Sequence[tuple[Burst, Ready]], give_ohm: float,
         delay_s: float) -> tuple[Floats, Floats, Floats]:
    """Of these bursts, for each of SLOPES: the mean of log R, its variance, the evidence."""
    grid = np.linspace(log(give_ohm) - 3.5, log(give_ohm) + 0.4, GRID)
    table = np.zeros((len(SLOPES), GRID))
    for one, ready in found:
        own = _likelihood(one, ready, np.exp(grid), delay_s)
        table += np.logaddexp(own + log(1 - ODD), _flat(own) + log(ODD))
    top = table.max(axis=1, keepdims=True)
    share = np.exp(table - top)
    whole = share.sum(axis=1)
    share /= whole[:, None]
    middle = share @ grid
    # no surer than the grid is fine
    spread = np.maximum(share @ grid**2 - middle**2, (grid[1] - grid[0]) ** 2 / 12)
    evidence = top[:, 0] + np.log(whole)
    return middle, spread, evidence - evidence.max()


def _plain(values: Floats) -> tuple[float, ...]:
    return tuple(round(float(v), 4) for v in values)


def _flat(own: Floats) -> float:
    """What a burst would give that tells nothing: the mean of its likelihood over all."""
    top = float(own.max())
    return top + log(float(np.exp(own - top).mean()))


def _likelihood(burst: Burst, ready: Ready, ohms: Floats,
                delay_s: float) -> Floats:
    """Logarithm of the likelihood of R, a row a slope; over all arms, each T of the grid alike,
    over E0 and E1, and over the noise as far as the readings before the step leave it open."""
    t = burst.t_s - burst.t_s[0]
    clean = burst.clean
    sunk, moves = sagging(burst, ready.amps, LAGS, delay_s)
    off_v = np.hypot(ready.noise_v, ready.top_ohm * moves * READ_OFF_S)[clean].T
    plain = np.column_stack([np.ones_like(t), t, -ready.amps])[clean]
    x = plain / off_v[:, :, None]  # lag, reading, (E0, E1, R)
    y = np.stack([np.broadcast_to(ready.volts[clean], off_v.shape), sunk[clean].T], 2) \
        / off_v[:, :, None]
    turned = x.transpose(0, 2, 1)
    inverse = np.linalg.inv(turned @ x)
    found = inverse @ (turned @ y)  # of the volts, and of what an ohm of S adds to them
    left = y - x @ found
    square = left.transpose(0, 2, 1) @ left
    slope_ohm = LAGS[:, None] * SLOPES
    squares = (square[:, :1, 0] + 2 * slope_ohm * square[:, :1, 1]
               + slope_ohm**2 * square[:, 1:, 1])
    free = NOISE_FREE + len(plain) - 3
    noise = (NOISE_FREE + squares) / free  # times what was taken for it
    ohm = found[:, 2, :1] + slope_ohm * found[:, 2, 1:]
    var = noise * inverse[:, 2, 2][:, None]
    level = (-0.5 * free * np.log(noise) - 0.5 * np.log(var)
             + (0.5 * np.log(np.linalg.det(inverse)) - np.log(off_v).sum(axis=1))[:, None])
    # an arm that is far less likely than the best adds nothing
    near = level.max(axis=1) > level.max() - NEGLIGIBLE
    every = level[near][:, :, None] - 0.5 * (
        (ohms - ohm[near][:, :, None]) ** 2 / var[near][:, :, None])
    top = every.max(axis=0)
    told = np.log(np.exp(every - top).sum(axis=0)) + top
    return np.asarray(told - log(len(LAGS)))


def slope_of(emf_v_s: float, efficiency: float, inertia_kg_m2: float) -> float:
    """c [ohm/s] of a machine as its rig describes it, all at the handle.

    >>> round(slope_of(1.46, 0.8, 0.03), 1)
    88.8
    """
    return emf_v_s**2 / (efficiency * inertia_kg_m2)


def known_slopes(slope: float | None, factor: float,
                 evidence: Sequence[Sequence[float]]) -> Floats:
    """How likely each of SLOPES is: near `slope` within `factor` (95 %; None: nothing is known
    before), and by the evidence of many outings (of `Pooled`). No surer than GRAIN and ALIKE
    allow: the model of a step is not."""
    near = np.log(SLOPES)
    weight = np.zeros(len(SLOPES))
    if slope is not None and slope > 0:
        weight = -0.5 * ((near - log(slope)) / (log(factor) / 1.96)) ** 2
    counts = min(1.0, ALIKE / max(1, len(evidence)))
    for one in evidence:
        weight = weight + counts * np.array(one)
    share = np.exp(weight - weight.max())
    blur = np.exp(-0.5 * (np.subtract.outer(near, near) / GRAIN) ** 2)
    share = (blur / blur.sum(axis=0)) @ share
    return np.asarray(share / share.sum())


def sd_of(low: float, high: float) -> float:
    """Deviation of a logarithm from a 95 % interval of the quantity."""
    return log(high / low) / (2 * 1.96) if high > low > 0 else sqrt(1e-6)
