"""All that a bench's readings say, in one object."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import likes, planner, rows
from steadyturn.bench.constants import EFFICIENCY, MOTOR, WIDE, WIDTH, Constant
from steadyturn.bench.fit import Fit, chance_of_more, fit
from steadyturn.bench.posterior import Belief, believe
from steadyturn.bench.readings import Readings
from steadyturn.bench.setup import Setup
from steadyturn.bench.slips import Suspect, suspects

TOLD = 0.5  # of what was believed before: a constant narrowed below that is the readings' own
ENOUGH_LOG = 0.5  # and it is known to a factor of exp(0.5 * 1.96) at least
TIED = 0.9  # correlation of two constants above which they are called tied


@dataclass(frozen=True)
class Value:
    """A constant in a rig file's unit, 95 %. told: the readings say it; otherwise it stays what
    was believed before (before_low, before_high, None for nothing)."""

    name: str
    key: str
    unit: str
    value: float
    low: float
    high: float
    told: bool
    before_low: float | None
    before_high: float | None
    before: str


@dataclass(frozen=True)
class Tie:
    """Two constants that the readings hardly tell apart, and the reading that would most."""

    one: str
    other: str
    correlation: float
    cure: planner.Proposal | None


@dataclass(frozen=True)
class Misfit:
    """chance: how often errors as stated give at least this scatter (chi-square), and so few
    changes of sign along the current (runs). widened: factor on the intervals."""

    chi2: float
    freedom: float
    chance: float
    runs_chance: float
    widened: float
    fits: bool


@dataclass(frozen=True)
class Row:
    """One row for the residual plot: sigmas from the fit, and the current and speed there."""

    reading: str
    kind: str
    sigmas: float
    amps: float
    rpm: float | None
    out: bool


@dataclass(frozen=True)
class Result:
    values: tuple[Value, ...]
    correlation: dict[str, dict[str, float]]
    suspects: tuple[Suspect, ...]
    ties: tuple[Tie, ...]
    misfit: Misfit
    next: tuple[planner.Proposal, ...]
    rows: tuple[Row, ...]
    readings: int
    settled: bool
    doubt: str  # why nothing counts as measured: "third" of the readings is out, or ""
    doubted: tuple[str, ...]  # with a value that no motor has, or as many readings out as kept
    fit: Fit = field(metadata={"json": False})


def constants_for(setup: Setup, motor: tuple[Constant, ...] = MOTOR) -> tuple[Constant, ...]:
    """The motor's constants and the train's efficiency behind them."""
    value, sigma = setup.efficiency
    return (*motor, Constant(EFFICIENCY, EFFICIENCY, "", 1.0, value, max(sigma, 0.01),
                             "of the gear train, as the rig file has it"))


def analyse(readings: Readings, setup: Setup, motor: tuple[Constant, ...] = MOTOR, *,
            supply: bool = True, resistors: tuple[float, ...] = planner.RESISTORS) -> Result:
    """The constants of one motor from readings at a set-up. supply, resistors [ohm]: what is
    there for the readings that are proposed."""
    constants = constants_for(setup, motor)
    made = rows.make(readings, setup)
    found = fit(made, constants)
    belief = believe(made, found)
    names = [c.name for c in constants]
    count = len(readings.items) - sum(kind == "in_out" for kind, _ in readings.items)
    doubt = "third" if 3 * len(found.out) >= count else ""
    out = set(found.out)
    doubted = tuple(dict.fromkeys(likes.doubts(made, constants, found.center, out)
                                  + likes.undecided(made, constants, out)))
    values = tuple(_value(c, i, belief, not doubt and c.name not in doubted)
                   for i, c in enumerate(constants))
    offered = planner.proposals(readings, setup, made, found, resistors=resistors, supply=supply)
    ties = []
    for i in range(len(names)):
        for j in range(i):
            tied = float(belief.correlation[i, j])
            loose = max(_wideness(values[i]), _wideness(values[j])) > 0.05
            if abs(tied) > TIED and loose:
                ties.append(Tie(names[j], names[i], tied, offered[0] if offered else None))
    return Result(
        values, {a: {b: round(float(belief.correlation[i, j]), 4) for j, b in enumerate(names)}
                 for i, a in enumerate(names)},
        suspects(readings, setup, made, found), tuple(ties), _misfit(made, found), offered[:5],
        _rows(readings, made, found), len(readings.items), found.settled, doubt, doubted,
        found)


def _wideness(value: Value) -> float:
    return math.log(max(value.high, 1e-300) / max(value.low, 1e-300)) / 2


def _value(one: Constant, place: int, belief: Belief, trusted: bool) -> Value:
    sigma = float(belief.log_sigma[place])
    wide = one.sigma >= WIDE
    told = trusted and sigma < (ENOUGH_LOG if wide else TOLD * one.sigma)
    reach = math.exp(one.sigma * WIDTH / 2)
    before = None if wide else (one.start / reach, one.start * reach)
    low, high = float(belief.low[place]), float(belief.high[place])
    middle = float(belief.middle[place])
    if before is not None and not told:  # a poor fit widens what it tells, not what was believed
        low, high = max(low, before[0]), min(high, before[1])
        low, high = (low, high) if low < high else before
        middle = min(max(middle, low), high)
    return Value(one.name, one.key, one.unit, middle / one.scale,
                 low / one.scale, high / one.scale, told,
                 None if before is None else before[0] / one.scale,
                 None if before is None else before[1] / one.scale, one.why)


def _misfit(made: rows.Rows, found: Fit) -> Misfit:
    chance = chance_of_more(found.chi2, found.freedom) if found.freedom > 1 else 1.0
    kept = ~np.isin(made.reading, found.out)
    order = np.argsort(np.abs(made.amps[kept]), kind="stable")
    runs = runs_chance(found.standing[kept][order] > 0)
    fits = found.widened == 1.0 and runs > 0.005
    return Misfit(found.chi2, found.freedom, chance, runs, found.widened, fits)


def runs_chance(signs: NDArray[np.bool_]) -> float:
    """How often chance changes sign so seldom; Wald and Wolfowitz 1940, normal form, memory.

    >>> import numpy as np
    >>> runs_chance(np.array([True] * 10 + [False] * 10)) < 0.001
    True
    >>> round(runs_chance(np.array([True, False, False, True, True, False] * 3)), 1) > 0.3
    True
    """
    up, down = int(signs.sum()), int((~signs).sum())
    total = up + down
    if min(up, down) < 4:
        return 1.0
    runs = 1 + int(np.sum(signs[1:] != signs[:-1]))
    mean = 1 + 2 * up * down / total
    spread = math.sqrt((mean - 1) * (mean - 2) / (total - 1))
    return 0.5 * math.erfc(-(runs + 0.5 - mean) / spread / math.sqrt(2))


def _rows(readings: Readings, made: rows.Rows, found: Fit) -> tuple[Row, ...]:
    rpm = np.where(np.isnan(made.w), np.nan, made.w * 60 / (2 * math.pi))
    return tuple(
        Row(readings.named(int(r)), str(made.kind[i]), float(found.left[i] / found.sigma[i]),
            float(abs(made.amps[i])), None if np.isnan(rpm[i]) else float(rpm[i]),
            int(r) in found.out)
        for i, r in enumerate(made.reading))
