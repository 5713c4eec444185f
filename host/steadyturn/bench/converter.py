"""Loss constants of a converter from volts and amperes at both ends.

loss = loss_w + loss_v i + loss_ohm i^2 with the coil's current i (model/converter.md): three
columns, none below zero, least squares weighted by the meter's error; bad readings by Student's
t and then left out. Intervals come from drawing the readings again within their errors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import meter as meters
from steadyturn.bench.readings import InOut, Meter, Readings
from steadyturn.errors import Problem, WrongInput
from steadyturn.model.converter import coil

Floats = NDArray[np.float64]
KEYS = ("loss_w", "loss_v", "loss_ohm")
FAR = 3.8
DRAWS = 300
FEWEST = 3
MOST = 1.05  # out for in: with a meter's error at both ends; engineering judgement
LIGHT = 1.5  # of the least that goes in: only the lightest load may lose most of it


@dataclass(frozen=True)
class Losses:
    """value, low, high: of loss_w [W], loss_v [V], loss_ohm [ohm], 95 %. out: names of readings
    taken out. amps: smallest and largest coil current of those kept."""

    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    out: tuple[str, ...]
    amps: tuple[float, float]
    readings: int


def losses(readings: Readings, kind: str) -> Losses | None:
    """The constants of a converter of that kind; None with fewer than three readings. WrongInput
    where readings that cannot be leave fewer than three."""
    named = [(readings.named(i), one) for i, (what, one) in enumerate(readings.items)
             if what == "in_out"]
    if len(named) < FEWEST or coil(kind) == "linear":
        return None
    items = [one for _, one in named]
    amps, loss, sigma = _columns(items, readings.meter, kind)
    columns = np.stack([np.ones_like(amps), amps, amps**2], axis=1)
    keep = ~_odd(items)
    if keep.sum() < FEWEST:
        bad = [i for i, (what, _) in enumerate(readings.items) if what == "in_out"]
        raise WrongInput(*(_slip(readings, i) for i, good in zip(bad, keep, strict=True)
                           if not good))
    for _ in range(len(items) // 3):
        found = _robust(columns[keep], loss[keep], sigma[keep])
        far = np.abs(loss - columns @ found) / sigma
        worst = int(np.argmax(np.where(keep, far, 0)))
        if far[worst] < FAR or keep.sum() <= FEWEST:
            break
        keep[worst] = False
    found = _not_negative(columns[keep], loss[keep], sigma[keep])
    rng = np.random.default_rng(1)
    meter = readings.meter
    drawn = []
    for _ in range(DRAWS):
        # the shares belong to the ranges: one draw each for volts and amperes, in and out
        shares = rng.normal(0, [meter.percent / 2, meter.amp_percent / 2] * 2)
        again = [_moved(one, meter, rng, shares) for one in np.array(items)[keep]]
        more, lost, own = _columns(again, meter, kind)
        drawn.append(_not_negative(np.stack([np.ones_like(more), more, more**2], axis=1), lost,
                                   own))
    low, high = np.quantile(np.array(drawn), [0.025, 0.975], axis=0)
    return Losses(tuple(found.tolist()), tuple(np.minimum(low, found).tolist()),
                  tuple(np.maximum(high, found).tolist()),
                  tuple(name for (name, _), kept in zip(named, keep, strict=True) if not kept),
                  (float(amps[keep].min()), float(amps[keep].max())), int(keep.sum()))


def _odd(items: list[InOut]) -> NDArray[np.bool_]:
    """Loads at which more comes out than goes in, or not half of the share that does at the
    others though it is no light load: slips, before any of them can bend the fit."""
    put = np.array([one.in_v * one.in_a for one in items])
    share = np.array([one.out_v * one.out_a for one in items]) / put
    usual = float(np.median(share[share <= MOST]) if (share <= MOST).any() else MOST)
    return (share > MOST) | ((share < usual / 2) & (put > LIGHT * put.min()))


def _slip(readings: Readings, index: int) -> Problem:
    one = readings.items[index][1]
    share = 100 * one.out_v * one.out_a / (one.in_v * one.in_a)
    return Problem(readings.where[index] if readings.where else "the readings",
                   readings.named(index), "", f"{share:.0f} % of what goes in comes out, unlike "
                   "at the other loads.", "Look at its decimal points; three good loads are "
                   "needed.")


def _columns(items: list[InOut], meter: Meter, kind: str) -> tuple[Floats, Floats, Floats]:
    """Coil current [A], loss [W] and its one sigma."""
    amps, loss, sigma = [], [], []
    for one in items:
        by = {"in": one.in_a, "out": one.out_a, "larger": max(one.in_a, one.out_a)}
        amps.append(by[coil(kind)])
        loss.append(one.in_v * one.in_a - one.out_v * one.out_a)
        parts = (one.in_a * meters.digit_error(meter, one.in_v),
                 one.in_v * meters.digit_error(meter, one.in_a, "A"),
                 one.out_a * meters.digit_error(meter, one.out_v),
                 one.out_v * meters.digit_error(meter, one.out_a, "A"))
        sigma.append(float(np.sqrt(np.sum(np.square(parts))
                                   + (0.001 * one.in_v * one.in_a) ** 2)))
    return np.array(amps), np.array(loss), np.array(sigma)


def _moved(one: InOut, meter: Meter, rng: np.random.Generator, shares: Floats) -> InOut:
    def near(value: float, unit: str, share: float) -> float:
        return value * (1 + share) + rng.normal(0, meters.digit_error(meter, value, unit))

    return InOut(in_v=near(one.in_v, "V", shares[0]), in_a=near(one.in_a, "A", shares[1]),
                 out_v=near(one.out_v, "V", shares[2]), out_a=near(one.out_a, "A", shares[3]))


def _robust(columns: Floats, loss: Floats, sigma: Floats) -> Floats:
    weight = np.ones(len(loss))
    found = np.zeros(3)
    for _ in range(20):
        found = _not_negative(columns, loss, sigma / np.sqrt(weight))
        weight = 5.0 / (4.0 + ((loss - columns @ found) / sigma) ** 2)
    return found


def _not_negative(columns: Floats, loss: Floats, sigma: Floats) -> Floats:
    """Least squares with no constant below zero: the best of all supports, as three are few."""
    scaled, want = columns / sigma[:, None], loss / sigma
    best, least = np.zeros(3), np.inf
    for chosen in ((0, 1, 2), (0, 1), (0, 2), (1, 2), (0,), (1,), (2,)):
        found, *_ = np.linalg.lstsq(scaled[:, chosen], want, rcond=None)
        if (found < 0).any():
            continue
        miss = float(np.sum((scaled[:, chosen] @ found - want) ** 2))
        if miss < least - 1e-12:
            least, best = miss, np.zeros(3)
            best[list(chosen)] = found
    return best
