"""The motors' resistance from a quick burst: volts and amps while a second load is switched.

The sensor stands behind the bus capacitor, so source and capacitor feed it together. With is the
sensor's current, v the capacitor's volts, V those of the bus, i the source's current:

    L di/dt = E - S y - R i - D(i) - V,   C dv/dt = i - is,   V = v + Rc C dv/dt
    E = E0 + E1 sin(u t) / u + E2 (1 - cos(u t)) / u^2,   T dy/dt = (i - i0) - y

More current brakes the handle: S y is what the EMF gives way, with T = inertia / droop of the arm
and S = k^2 / (gears' efficiency * droop). E1 and E2 are how the pace was on its way, with an arm's
pull that comes twice a turn (u). Besides, its pull changes unasked every few milliseconds, by
currents of unknown size: left out, those jerks pass for ohms (by up to 30 % on a light handle).
D: brushes and diodes, as the rig has them. At once after a step the volts fall with the capacitor
alone, which tells C; how that bends tells R; what follows is S. Where windings and capacitor ring,
the diodes end i at zero.

Where more than noise is left, each burst also has a sine in step with the EMF: the commutator's.

R, C, L, S / R and T are fitted in their logs, by least squares to the means that conversions are.
How quickly an arm gives way is not known and matters most: the fit is done from a row of beliefs
about T, and R's interval mixes all by how likely they are. So an arm that gives way as fast as the
capacitor makes the interval wide, not wrong. Bursts at one machine share all but E0, E1, E2 and
the pull's changes.

Source: the machine's equations are those of model/dynamics.md; the mixture is Laplace's
approximation (Rue, Martino, Chopin 2009, from memory), as in `posterior`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench.posterior import quantile
from steadyturn.bench.step_source import ARM, HENRY, LATE, PULLS, SHARED, Seen, volts

Floats = NDArray[np.float64]

LAG_MOST_S = 0.010  # of R and C together: with more the volts hardly bend in 30 ms
LEAST_STEP_A = 0.03
LEAST_BEFORE_A = 3.0  # knees of the diodes: with less they do not conduct throughout
UNSTEADY = 2.0  # of the EMF a second: no hand that keeps a pace goes so fast; practice
STRUCTURED = 1.6  # what is left, in times the noise; chance gives 1.4 at most
OWN = 3 + PULLS  # unknowns of each burst, before its ripple's two
RIPPLED = 1.25  # and above this the commutator's ripple is looked for
_WAVE_V = 0.3  # of that ripple behind the capacitor, one sigma; practice
_ARMS = np.log(np.geomspace(0.005, 1.2, 6))  # s: 4 g m2 on a stiff arm to a wheel on a soft one
_ARM_LOG = 0.9 * float(_ARMS[1] - _ARMS[0])  # one sigma of each: together they are nearly even
_ROUNDS = 30
_ENOUGH = 0.02  # of chi-square, where it is what the noise gives
_STUCK = 1e3  # a damping at which no step helps any more
_COARSE = 0.004  # of R, one sigma: what the grid and coarse beliefs do; seen in simulation
_LATE = 0.7  # conversions: by how much the readings are later than said, one sigma; the way from
# chip to program and the second load's own switching, engineering judgement
# one sigma of what is believed before. Of logs: S / R about exp(-0.5) (droops of 0.3 to 2 N m
# s/rad and any machine lie within two), C and L about what the rig says, both are fitted. Of the
# electrolytic's series resistance, ohm: data sheets, from memory. Of the EMF, in shares of it:
# its pace 1/s, and its bend 1/s^2 (an arm's pull on a light handle)
# The arm's pull changes unasked all the time, by a tenth of it in 0.1 s where somebody keeps a
# beat (what an intention that wanders as in twin/people.py comes to), at once or bit by bit
_SAG, _SAG_LOG, _C_LOG, _L_LOG, _ESR_OHM, _PACE, _BEND = -0.5, 2.0, 1.0, 1.0, 0.05, 1.0, 100.0
_PULL = 0.04  # of the source's current, in 5 ms


@dataclass(frozen=True)
class Burst:
    """t_s: when each reading was taken; its conversion of long_s was over by up to long_s then.
    on_s, off_s: when the second load was switched on and off, in either order; volts, amps: of
    the sensor; unit_v, unit_a: of one digit; pace_tpm: about, of the handle."""

    t_s: Floats
    on_s: float
    off_s: float
    long_s: float
    volts: Floats
    amps: Floats
    unit_v: float
    unit_a: float
    pace_tpm: float


@dataclass(frozen=True)
class Machine:
    """What is taken as known. capacitor_f, henry: about; shunt_ohm: between bus and where the
    volts are read; brush_v, brush_a, diode_v, diode_a: of the whole bank, at its current: the
    drop and where it sets in; bleed_ohm: before the sensor."""

    capacitor_f: float
    henry: float
    shunt_ohm: float
    brush_v: float
    brush_a: float
    diode_v: float
    diode_a: float
    bleed_ohm: float = math.inf

    def drop(self, amps: Floats) -> Floats:
        return np.asarray(self.brush_v * np.tanh(amps / self.brush_a)
                          + self.diode_v * np.tanh(amps / self.diode_a))


@dataclass(frozen=True)
class Step:
    """ohm, low_ohm, high_ohm (95 %): of the bank, without brushes and diodes. chord_ohm: with
    them, volts over amps between the source's currents from_a and to_a [A]. lag_s: R times C;
    capacitor_f: as fitted; gives_ohm_s: S / T = k^2 / (efficiency * inertia), with its 95 %;
    left: what the fit leaves, in times the noise. refused: "", or "few", "small", "blocked",
    "slow", "unsteady", "structured"."""

    ohm: float
    low_ohm: float
    high_ohm: float
    chord_ohm: float
    from_a: float
    to_a: float
    lag_s: float
    capacitor_f: float
    gives_ohm_s: float
    gives_low: float
    gives_high: float
    noise_v: float
    left: float
    bursts: int
    refused: str

    @property
    def share(self) -> float:
        """Half of the interval over R."""
        return (self.high_ohm - self.low_ohm) / 2 / max(self.ohm, 1e-9)


def fit(bursts: list[Burst], machine: Machine) -> Step:
    """R of one machine from bursts that were taken at it shortly one after the other."""
    seen = [Seen(burst, machine) for burst in bursts]
    why = next((found for one in seen if (found := _useless(one, machine))), "")
    if why or not seen:
        from_a, to_a = (seen[0].from_a, seen[0].to_a) if seen else (0.0, 0.0)
        return Step(0.0, 0.0, math.inf, 0.0, from_a, to_a, 0.0, 0.0, 0.0, 0.0, math.inf, 0.0, 0.0,
                    len(seen), why or "few")
    return _Fit(seen, machine).result()


def _useless(one: Seen, machine: Machine) -> str:
    if one.few:
        return "few"
    if one.to_a - one.from_a < LEAST_STEP_A:
        return "small"
    if one.from_a < LEAST_BEFORE_A * machine.diode_a * (machine.diode_v > 0):
        return "blocked"
    return ""


class _Fit:
    """x: [beliefs about T, unknowns]: those of `step_source`, then E0, E1, E2 and the pulls of
    each burst."""

    def __init__(self, seen: list[Seen], machine: Machine) -> None:
        self.seen, self.machine = seen, machine
        self.ends = [SHARED + OWN * n for n in range(len(seen))]
        size = SHARED + OWN * len(seen)
        self.mean, self.prior = np.zeros((len(_ARMS), size)), np.zeros(size)
        self.mean[:, 1], self.prior[1] = math.log(machine.capacitor_f), 1 / _C_LOG
        self.mean[:, 2], self.prior[2] = _SAG, 1 / _SAG_LOG
        self.prior[3] = 1 / _ESR_OHM
        self.prior[LATE] = 1 / (_LATE * 1e3 * max(one.long_s for one in seen))
        self.mean[:, HENRY], self.prior[HENRY] = math.log(max(machine.henry, 1e-7)), 1 / _L_LOG
        self.mean[:, ARM], self.prior[ARM] = _ARMS, 1 / _ARM_LOG
        self.moves = np.full(size, 1e-4)
        self.moves[LATE] = 1e-2
        self.x = self.mean.copy()
        ohm = max(0.6 * seen[0].fall_v / (seen[0].to_a - seen[0].from_a), 1e-2)
        self.x[:, 0] = math.log(ohm)
        for at, one in zip(self.ends, seen, strict=True):
            emf = one.rest_v + ohm * one.from_a + float(machine.drop(np.array(one.from_a)))
            self.x[:, at] = emf
            self.prior[at + 1 : at + 3] = 1 / (_PACE * emf), 1 / (_BEND * emf)
            self.moves[at : at + 3] = 1e-3, 0.1, 10.0
            self.prior[at + 3 : at + OWN] = 1 / (_PULL * one.from_a)
            self.moves[at + 3 : at + OWN] = 1e-3
        self.waves: list[Floats] = []
        self.count = self.free = sum(int(np.count_nonzero(one.weight)) for one in seen)
        self._solve()
        if self._scatter() > RIPPLED**2:
            self._add_waves()
            self._solve()

    def _scatter(self) -> float:
        left = self.left[int(np.argmin(self.squares))]
        return float(left @ left) / max(self.free, 1)

    def _add_waves(self) -> None:
        """The commutator's ripple as two more unknowns of each burst."""
        left, at = self.left[int(np.argmin(self.squares))], 0
        ohm = float(np.exp(self.x[int(np.argmin(self.squares)), 0]))
        for one in self.seen:
            here = slice(at, at + len(one.volts))
            self.waves.append(one.wave(left[here], ohm))
            at = here.stop
        more = 2 * len(self.seen)
        self.x = np.pad(self.x, ((0, 0), (0, more)))
        self.mean = np.pad(self.mean, ((0, 0), (0, more)))
        self.prior = np.append(self.prior, np.full(more, 1 / _WAVE_V))
        self.moves = np.append(self.moves, np.full(more, 1e-3))

    def _own(self, n: int) -> list[int]:
        """Places of the unknowns of burst n beside the shared ones."""
        waves = [len(self.prior) - 2 * (len(self.seen) - n) + j for j in (0, 1)]
        return [*range(self.ends[n], self.ends[n] + OWN), *(waves if self.waves else [])]

    def _left(self, x: Floats) -> Floats:
        """Distances from what was read, in sigmas: [sets, readings of all bursts]."""
        return np.concatenate([(self._means(n, x) - one.volts) * one.weight
                               for n, one in enumerate(self.seen)], axis=1)

    def _means(self, n: int, x: Floats) -> Floats:
        one, own = self.seen[n], x[:, self._own(n)]
        fine = volts(one, self.machine, x[:, :SHARED], own[:, :OWN])
        found = one.means(fine, 1e-3 * x[:, LATE])
        return found + own[:, OWN:] @ self.waves[n] if self.waves else found

    def _slopes(self, x: Floats) -> tuple[Floats, Floats]:
        """Distances, and how they change with the unknowns: [sets, readings, unknowns]."""
        count, size = x.shape
        base, found = [], []
        for burst, one in enumerate(self.seen):
            own = [*range(SHARED), *self._own(burst)]
            sets = np.repeat(x[:, None], len(own) + 1, axis=1)
            for n, j in enumerate(own):
                sets[:, 1 + n, j] += self.moves[j]
            flat = sets.reshape(-1, size)
            v = self._means(burst, flat)
            v = v.reshape(count, len(own) + 1, -1) * one.weight
            slopes = np.zeros((count, v.shape[2], size))
            slopes[:, :, own] = ((v[:, 1:] - v[:, :1]) / self.moves[own][:, None]).transpose(
                0, 2, 1)
            base.append(v[:, 0] - one.volts * one.weight)
            found.append(slopes)
        return np.concatenate(base, axis=1), np.concatenate(found, axis=1)

    def _squares(self, x: Floats, left: Floats) -> Floats:
        away = (x - self.mean) * self.prior
        return np.asarray((left**2).sum(axis=1) + (away**2).sum(axis=1))

    def _solve(self) -> None:
        """Gauss and Newton with damping, from every belief at once."""
        x, size = self.x, self.x.shape[1]
        damping = np.full(len(x), 1e-3)
        squares = np.full(len(x), np.inf)
        for _ in range(_ROUNDS):
            left, slopes = self._slopes(x)
            squares = self._squares(x, left)
            turned = slopes.transpose(0, 2, 1)
            curve = turned @ slopes + np.diag(self.prior**2)
            down = -((turned @ left[..., None])[..., 0] + self.prior**2 * (x - self.mean))
            extra = damping[:, None, None] * np.einsum("ijj->ij", curve)[:, :, None] * np.eye(size)
            step = np.linalg.solve(curve + extra, down[..., None])[..., 0]
            step[:, :SHARED] = np.clip(step[:, :SHARED], -1.0, 1.0)
            there = x + step
            after = self._squares(there, self._left(there))
            better = after <= squares
            enough = _ENOUGH * np.maximum(after / max(self.free, 1), 1.0)  # more is left: coarser
            done = np.where(better, squares - after < enough, damping > _STUCK)
            x, squares = np.where(better[:, None], there, x), np.minimum(after, squares)
            damping = np.where(better, np.maximum(damping / 8, 1e-9), damping * 10)
            if done.all():
                break
        self.x, self.squares = x, squares
        self.left, slopes = self._slopes(x)
        self.curve = slopes.transpose(0, 2, 1) @ slopes + np.diag(self.prior**2)
        # what is believed before takes no reading up
        own = np.diag(np.linalg.inv(self.curve[int(np.argmin(squares))])) * self.prior**2
        self.free = self.count - int(np.sum(1 - own))

    def result(self) -> Step:
        best, scatter = int(np.argmin(self.squares)), self._scatter()
        wide = max(1.0, scatter)
        inverse = np.linalg.inv(self.curve)
        likely = -0.5 * self.squares / wide - 0.5 * np.linalg.slogdet(self.curve)[1]
        share = np.exp(likely - likely.max())
        share /= share.sum()
        turn = np.zeros((2, self.x.shape[1]))
        turn[0, 0] = 1
        turn[1, [0, 2, ARM]] = 1, 1, -1  # the logs of R and of S / T
        centers = self.x @ turn.T
        sigmas = np.sqrt(np.einsum("ij,njk,ik->ni", turn, inverse, turn) * wide)
        sigmas = np.hypot(sigmas, _COARSE)
        (ohm, low, high), gives = (
            [math.exp(min(quantile(centers[:, n], sigmas[:, n], share, q), 50.0))
             for q in (0.5, 0.025, 0.975)] for n in (0, 1))
        farad = math.exp(float(share @ self.x[:, 1]))
        rates = [abs(self.x[best, at + 1] / self.x[best, at]) for at in self.ends]
        why = ("structured" if scatter > STRUCTURED**2 else "slow" if high * farad > LAG_MOST_S
               else "unsteady" if max(rates) > UNSTEADY else "")
        from_a, to_a = (float(np.mean([getattr(one, name) for one in self.seen]))
                        for name in ("from_a", "to_a"))
        ends = self.machine.drop(np.array([from_a, to_a]))
        chord = ohm + float(ends[1] - ends[0]) / (to_a - from_a)
        noise = math.sqrt(sum(one.noise**2 for one in self.seen) / len(self.seen))
        return Step(ohm, low, high, chord, from_a, to_a, ohm * farad, farad, gives[0], gives[1],
                    gives[2], noise, math.sqrt(scatter), len(self.seen), why)
