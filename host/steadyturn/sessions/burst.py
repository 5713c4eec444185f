"""The source's resistance from a burst: volts and amps round a step between two loads.

    V = E - R I - drops,   R = -dV / dI at the same pace

The handle does not stay at the same pace: more current brakes it, and an arm gives way
within tens of milliseconds. With the EMF constant k (at the handle), the gears' efficiency
and the arm's droop b (N m s/rad) the EMF follows the current as

    E = E0 + E1 t - S y,   T dy/dt = I - I0 - y,   S = k^2 / (efficiency b)

T is the handle's inertia over b. So volts tell R + S at once where T is short, and R alone in
the first samples after the step where T is long. Neither S nor T is known: each T of a wide
grid is fitted for E0, E1, R and S >= 0 by least squares, and R's interval is what all of them
together allow. Where T is below a tick R cannot be told from S, and the interval says so: it
then reaches from nothing to R + S. So a light machine on a stiff arm gives an upper bound and
no more; a heavy wheel gives R, and a servo or drill (`held=True`: S is nothing) gives it to 1 %.

Source: the machine's equation as in model/motor.md; profile likelihood for the interval: Bates,
Watts, *Nonlinear Regression Analysis*, 1988, chapter 6 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import TICK_MS, Pages

Floats = NDArray[np.float64]

ARM_S = np.geomspace(0.004, 0.6, 30)  # 2 g m2 on a stiff arm to a flywheel on a soft one
# An INA226 converts for 10.6 ms and is read at the tick's end: on average 10.6 ms before it,
# anywhere within 5.3 ms of that.
READ_S = TICK_MS / 1000 - 0.0106
READ_HALF_S = 0.0053
READ_OFF_S = 0.0031  # its standard deviation
# rise of the squares over the variance within the interval: three deviations and not two,
# because so few readings tell their own noise badly; with it the interval holds for 95 of 100
# simulated machines (tests/host/sessions/test_burst.py)
WIDE = 9.0
FLAT = 3.0  # so many times as far off, and "nothing follows" is still not excluded
LEAST_SAMPLES = 12
LEAST_STEP_A = 0.01


@dataclass(frozen=True, slots=True)
class Burst:
    """One page of a burst: a row a tick. t_s from its first sample's begin; on: the second load
    was connected throughout; clean: no change of it is in the reading."""

    boot: int
    seq: int
    t_s: Floats
    volts: Floats
    amps: Floats
    pace_tpm: Floats
    on: NDArray[np.bool_]
    clean: NDArray[np.bool_]
    unit_v: float
    unit_a: float


@dataclass(frozen=True, slots=True)
class Resistance:
    """ohm with its 95 % interval: of the windings, wires and, where the sensor stands behind
    it, its shunt. step_a: by how much the current was changed; noise_v: what the fit leaves."""

    ohm: float
    low_ohm: float
    high_ohm: float
    step_a: float
    noise_v: float


@dataclass(frozen=True, slots=True)
class Ready:
    """A burst's source: its amps and volts (drops added) at each reading; top_ohm: R + S as the
    plain means of both loads tell them."""

    amps: Floats
    volts: Floats
    step_a: float
    top_ohm: float
    noise_v: float


def bursts(pages: Pages) -> list[Burst]:
    """Every whole burst in these pages."""
    out = []
    table = pages.pages
    for seq in np.unique(pages.bursts["seq"]):
        rows = pages.bursts[pages.bursts["seq"] == seq]
        page = table[table["seq"] == seq][0]
        begin_ms = int(page["t0_ms"])
        steps = pages.events[(pages.events["seq"] == seq)
                             & (pages.events["code"] == layout.EV_LOAD_STEP)]
        edges = {int(r["argument"]): (int(r["t_ms"]) - begin_ms) / 1000 for r in steps}
        if not {0, 1} <= edges.keys():
            continue
        end_s = (rows["t_ms"] - begin_ms + TICK_MS) / 1000
        tick_s = TICK_MS / 1000
        # a reading lies in the tick before its time, or began a little before that: the first
        # after a change has both loads in it, the second may have
        on = (end_s > edges[1]) & (end_s <= edges[0])
        clean = np.ones(len(rows), bool)
        for edge in edges.values():
            clean &= ~((end_s > edge) & (end_s <= edge + 2 * tick_s + 1e-9))
        out.append(Burst(
            boot=int(page["boot"]), seq=int(seq), t_s=end_s - tick_s / 2,
            volts=rows["bus_mv"] / 1000, amps=rows["bus_ma"] / 1000,
            pace_tpm=rows["pace_tpm"].astype(float), on=on, clean=clean,
            unit_v=int(page["bus_unit_mv"]) / 1000, unit_a=int(page["bus_unit_ma"]) / 1000,
        ))
    return out


def resistance(burst: Burst, *, capacitor_f: float = 0.0, drop_v: float = 0.0,
               knee_a: float = 0.02, held: bool = False) -> Resistance | None:
    """R of one burst, or None where it tells nothing (too few samples, no step).

    capacitor_f: on the bus; its current is the source's too. drop_v, knee_a: drops in the form
    drop * I / (I + knee), as in the board's settings. held: something keeps the pace.
    """
    ready = prepared(burst, capacitor_f=capacitor_f, drop_v=drop_v, knee_a=knee_a)
    if ready is None:
        return None
    amps, volts, step_a, top_ohm, noise_v = (
        ready.amps, ready.volts, ready.step_a, ready.top_ohm, ready.noise_v)
    fits = [_Fit(burst, amps, volts, noise_v, None)]
    if not held:
        fits += [_Fit(burst, amps, volts, noise_v, (lag_s, top_ohm)) for lag_s in ARM_S]
    # neither R nor S is below nothing
    real = [fit for fit in fits if fit.slope_ohm >= 0.0 and fit.ohm >= 0.0] or fits[:1]
    best = min(real, key=lambda fit: fit.squares)
    limit = best.squares + WIDE * max(1.0, best.squares / best.free)
    ends = [end for fit in fits for end in fit.interval(limit)]
    if not held and fits[0].squares <= limit + FLAT * (limit - best.squares):
        # nothing is seen to follow the step: an arm that gave way before the first clean
        # reading would look the same, and all of R might be its own
        ends.append(0.0)
    return Resistance(best.ohm, min(ends), max(ends), step_a, noise_v)


def prepared(burst: Burst, *, capacitor_f: float, drop_v: float, knee_a: float) -> Ready | None:
    """None where it tells nothing (too few samples, no step); figures as in `resistance`."""
    good, on = burst.clean, burst.on
    if np.count_nonzero(good) < LEAST_SAMPLES or not (good & on).any():
        return None
    amps = burst.amps + capacitor_f * climbing(burst)
    step_a = float(amps[good & on].mean() - amps[good & ~on].mean())
    if step_a < LEAST_STEP_A:
        return None
    volts = burst.volts + drop_v * amps / (amps + knee_a)
    # R + S at most: what the plain means of both loads tell
    top_ohm = max(0.0, float(volts[good & ~on].mean() - volts[good & on].mean()) / step_a)
    return Ready(amps, volts, step_a, top_ohm, noise_of(burst, volts, top_ohm))


def noise_of(burst: Burst, volts: Floats, ohm: float) -> float:
    """Of one reading, from those before the step: what a straight line leaves, and no less than
    what rounding volts and amps to their units does."""
    first = int(np.argmax(burst.on))
    t, v = burst.t_s[:first], volts[:first]
    left = v - np.polyval(np.polyfit(t, v, 1), t) if first > 3 else np.zeros(1)
    seen = float(left @ left) / max(1, first - 2)
    return sqrt(max(seen, (burst.unit_v**2 + (ohm * burst.unit_a) ** 2) / 12))


class _Fit:
    """Least squares of volts by E0, E1, R and, where `arm` is (T, the largest S), S."""

    def __init__(self, burst: Burst, amps: Floats, volts: Floats, noise_v: float,
                 arm: tuple[float, float] | None) -> None:
        t = burst.t_s - burst.t_s[0]
        columns = [np.ones_like(t), t, -amps]
        off_v = np.full(len(t), noise_v)
        if arm is not None:
            lag_s, top_ohm = arm
            sunk, moves = sagging(burst, amps, lag_s)
            columns.append(-sunk)
            # when a reading was taken is not known better than READ_OFF_S
            off_v = np.hypot(off_v, top_ohm * moves * READ_OFF_S)
        weight = 1 / off_v[burst.clean]
        x = np.column_stack(columns)[burst.clean] * weight[:, None]
        y = volts[burst.clean] * weight
        found, *_ = np.linalg.lstsq(x, y, rcond=None)
        # where R and S cannot be told apart this has hardly an inverse: a trace of identity
        square = x.T @ x
        inverse = np.linalg.inv(square + 1e-9 * np.diag(np.diag(square)))
        left = y - x @ found
        self.squares = float(left @ left)
        self.free = len(y) - len(found)
        self.ohm = float(found[2])
        self.slope_ohm = float(found[3]) if arm is not None else 0.0
        self._variance = float(inverse[2, 2])
        # all readings a little earlier or later look like a little more or less of R for S
        self._shift = self.slope_ohm * (1 - exp(-READ_HALF_S / arm[0])) if arm else 0.0
        # by how much S changes with R along the valley of the squares
        self._slide = float(inverse[2, 3]) / self._variance if arm is not None else 0.0

    def interval(self, limit: float) -> tuple[float, ...]:
        """The ends of R where the squares stay below limit, and neither R nor S is below
        nothing; none where there is no such R."""
        if self.squares > limit:
            return ()
        reach = sqrt((limit - self.squares) * self._variance)
        reach += abs(self._shift)
        low, high = max(0.0, self.ohm - reach), self.ohm + reach
        if self._slide < 0.0:  # with more R there is less S, down to none
            high = min(high, self.ohm - self.slope_ohm / self._slide)
        return (low, high) if low <= high else ()


def sagging(burst: Burst, amps: Floats, lag_s: Floats | float,
            delay_s: float = 0.0) -> tuple[Floats, Floats]:
    """y at each reading [A] and how fast it moves there [A/s], a row a reading and, for many
    lags, a column each. The load changes at a tick's begin; a reading lies READ_S into it.
    delay_s: by which the motors' current follows the load's, while the bus capacitor gives the
    rest."""
    each_s = TICK_MS / 1000
    over = amps.copy()
    for i in reversed(np.flatnonzero(~burst.clean)):  # both loads in it: the new one's counts
        over[i] = over[min(i + 1, len(amps) - 1)]
    over = over - over[: int(np.argmax(burst.on))].mean()
    y_now = np.zeros((len(over), *np.shape(lag_s)))
    y, was = np.zeros(np.shape(lag_s)), 0.0
    begin, at, end = (np.exp(-part_s / np.asarray(lag_s)) for part_s in
                      (delay_s, READ_S - delay_s, each_s - delay_s))
    for i, now in enumerate(over.tolist()):
        y = was + (y - was) * begin
        y_now[i] = now + (y - now) * at
        y = now + (y - now) * end
        was = now
    moves = np.abs((over - y_now.T).T) / lag_s
    return y_now, moves


def climbing(burst: Burst) -> Floats:
    """dV/dt of each reading [V/s] from its neighbours, none of them across a change."""
    rise = np.diff(burst.volts) / np.diff(burst.t_s)
    same = burst.clean[1:] & burst.clean[:-1] & (burst.on[1:] == burst.on[:-1])
    total, count = np.zeros(len(burst.volts)), np.zeros(len(burst.volts))
    for part in (slice(1, None), slice(None, -1)):
        total[part] += np.where(same, rise, 0.0)
        count[part] += same
    return total / np.maximum(count, 1)
