"""One outing's lesson of one constant of its machine, as the library keeps it. No numpy: what
only lists outings has no need of it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from math import isfinite

MANY = 33  # slopes of burst_pool.SLOPES


@dataclass(frozen=True, slots=True)
class Lesson:
    """One constant as one outing shows it, its windings as warm as they were.

    name: "source_ohm" (shunt included), "emf_v_per_tpm" or "losses" (times those of the
    settings). way: "second_load", "turn_sensor" or "two_channels". log, sd: of its natural
    logarithm; by the second load one each for burst_pool.SLOPES, with their evidence. rise_k: of
    the windings, None where the board did not follow it: then amps2 (mean square, A^2) and
    after_s (turned before) tell what they may have been. common_sd: wrong in all outings alike.
    count: bursts or stretches it is made of.
    """

    name: str
    way: str
    log: tuple[float, ...]
    sd: tuple[float, ...]
    evidence: tuple[float, ...]
    rise_k: float | None
    amps2: float
    after_s: float
    common_sd: float
    count: int


def text(found: Sequence[Lesson]) -> str | None:
    """For the library; None for none."""
    return json.dumps([astuple(one) for one in found]) if found else None


def read(stored: str | None) -> tuple[Lesson, ...]:
    """What `text` wrote. Raises ValueError where it is damaged."""
    if not stored:
        return ()
    try:
        rows = json.loads(stored)
        found = tuple(Lesson(row[0], row[1], tuple(row[2]), tuple(row[3]), tuple(row[4]),
                             *row[5:]) for row in rows)
        fit = all(good(one) for one in found)
    except (TypeError, IndexError, KeyError, RecursionError) as error:
        raise ValueError("no lessons") from error
    if not fit:
        raise ValueError("no lessons")
    return found


def good(one: Lesson) -> bool:
    numbers = (*one.log, *one.sd, *one.evidence, one.amps2, one.after_s, one.common_sd,
               one.count, one.rise_k or 0.0)
    many = MANY if one.way == "second_load" else 1
    return (all(isinstance(n, int | float) and isfinite(n) for n in numbers)
            and len(one.log) == len(one.sd) == many and min(one.sd) > 0
            and len(one.evidence) == (many if many > 1 else 0))
