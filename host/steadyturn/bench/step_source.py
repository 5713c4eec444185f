"""A burst made ready for the fit of `step`, and the volts that its equations give.

Unknowns that all bursts share, in this order: logs of R, C and S / R, then Rc, then the logs of L
and T, then by how much later than said the readings were taken [ms]. Between the grid's places
all that drives the machine is taken as constant, and for that each step is exact (matrix
exponential): no constant is too quick for it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from steadyturn.bench.step import Burst, Machine

Floats = NDArray[np.float64]
STEP_S = 2e-4  # of the grid: with it the fit's R is within 0.1 % of that with a tenth of it
HENRY, ARM, LATE, SHARED = 4, 5, 6, 7
LEAST = (6, 30)  # readings before the first switching, and with the second load
# of the commutator's ripple: two or four times slots times the motor's turns; up to half of the
# sampling
RIPPLE_HZ = (60.0, 900.0, 2.0)
# times, evenly over a burst, at which an arm's pull may change unasked: every 5 ms, which is how
# quickly a light handle follows
PULLS = 14
FLAT_V = 1e-4  # a change of the drops that makes no difference


class Seen:
    """One burst: the sensor's current on a fine grid, the volts of the bus, and which stretch of
    the grid each conversion covers. from_a, to_a: without and with the second load."""

    def __init__(self, burst: Burst, machine: Machine) -> None:
        t, edges = burst.t_s, sorted((burst.on_s, burst.off_s))
        on_first = burst.on_s < burst.off_s
        # a conversion ended up to long_s before it was read, and took long_s
        late = [t - 2 * burst.long_s >= edge for edge in edges]
        part = late[0].astype(int) + late[1]  # 0, 1, 2: before, between and after the switchings
        clean = np.ones(len(t), bool)
        for edge in edges:
            clean &= (t <= edge) | (t - 2 * burst.long_s >= edge)
        on = (part == 1) == on_first
        self.from_a = self.to_a = self.fall_v = self.rest_v = 0.0
        first = clean & (part == 0)
        self.long_s = burst.long_s
        self.few = first.sum() < LEAST[0] or (clean & on).sum() < LEAST[1] or bool(
            (clean & ~on).sum() < LEAST[0])
        if self.few:
            return
        leak_a = float(burst.volts.mean()) / machine.bleed_ohm
        self.from_a, self.to_a = (float(burst.amps[clean & x].mean()) + leak_a for x in (~on, on))
        self.volts = burst.volts + burst.amps * machine.shunt_ohm
        self.t, self.read_a = t, burst.amps
        self.rest_v = float(self.volts[first].mean())
        self.fall_v = abs(self.rest_v - float(self.volts[clean & (part == 1)][-10:].mean()))
        self._grid(burst, edges, on_first)
        g = [float(np.median((burst.amps / self.volts)[clean & x])) for x in (~on, on)]
        self.siemens = (0.0, g[1] - g[0])  # of what was switched: its current follows the volts
        self._current(burst, clean, on, part)
        self._weigh(burst, clean, part, first)

    def _grid(self, burst: Burst, edges: list[float], on_first: bool) -> None:
        # both switchings are at places of it
        self.h = h = (edges[1] - edges[0]) / max(round((edges[1] - edges[0]) / STEP_S), 1)
        before = math.ceil((edges[0] - float(burst.t_s[0]) + 3 * burst.long_s) / h) + 1
        begin = edges[0] - before * h
        count = math.ceil((float(burst.t_s[-1]) + burst.long_s - begin) / h) + 1
        self.middle = begin + h * (np.arange(count) + 0.5)
        between = (self.middle > edges[0]) & (self.middle < edges[1])
        self.on = (between == on_first).astype(int)
        often = max(4 * math.pi * burst.pace_tpm / 60, 1e-3)  # rad/s of a pull twice a turn
        t = self.middle - edges[0]
        self.sway = np.sin(often * t) / often, (1 - np.cos(often * t)) / often**2
        changes = np.arange(PULLS) * count // PULLS
        self.pulled = (np.arange(count) >= changes[:, None]).astype(float)  # [PULLS, grid]
        ends = burst.t_s - burst.long_s / 2
        self.high, self.low = ((x - begin) / h for x in (ends, ends - burst.long_s))

    def _current(self, burst: Burst, clean: NDArray[np.bool_], on: NDArray[np.bool_],
                 part: NDArray[np.int64]) -> None:
        """The sensor's current beside what was switched, between the readings."""
        beside = burst.amps - np.where(on, self.siemens[1], 0.0) * self.volts
        when = burst.t_s - burst.long_s
        edges = sorted((burst.on_s, burst.off_s))
        place = (self.middle > edges[0]).astype(int) + (self.middle > edges[1])
        self.amps = np.zeros_like(self.middle)
        for n in range(3):
            own, here = clean & (part == n), place == n
            if own.any():
                self.amps[here] = np.interp(self.middle[here], when[own], beside[own])
            else:
                self.amps[here] = beside[clean][-1]

    def _weigh(self, burst: Burst, clean: NDArray[np.bool_], part: NDArray[np.int64],
               first: NDArray[np.bool_]) -> None:
        """One over sigma of each reading: noise, digits, and when the conversion was over."""
        t, v = burst.t_s, self.volts
        # from one reading to the next, so that what sways slower is not taken for noise
        own = math.sqrt(float(np.mean(np.diff(v[first], 2) ** 2)) / 6)
        self.noise = max(own, burst.unit_v / math.sqrt(12))
        rate = np.zeros_like(v)
        for n in range(3):
            here = np.flatnonzero(clean & (part == n))
            if len(here) > 2:
                rate[here] = np.gradient(v[here], t[here])
        sigma = np.hypot(self.noise, rate * burst.long_s / math.sqrt(12))
        self.weight = np.where(clean, 1 / sigma, 0.0)

    def wave(self, left: Floats, ohm: float) -> Floats:
        """Cosine and sine [2, readings] of the frequency that explains most of what is left [in
        sigmas], slower where the EMF is less."""
        emf = self.volts + ohm * self.read_a
        turned = np.cumsum(emf / emf.mean() * np.gradient(self.t))  # s, at the mean pace
        angle = 2 * math.pi * np.arange(*RIPPLE_HZ)[:, None] * turned
        pair = np.stack([np.cos(angle), np.sin(angle)], axis=1) * self.weight
        square = pair @ pair.transpose(0, 2, 1)
        along = pair @ left
        told = np.einsum("fi,fi->f", along, np.linalg.solve(square, along[..., None])[..., 0])
        best = angle[int(np.argmax(told))]
        return np.stack([np.cos(best), np.sin(best)])

    def means(self, fine: Floats, late_s: Floats) -> Floats:
        """Means over the conversions of [sets, grid] volts, taken late_s later [sets]."""
        summed = np.concatenate([np.zeros((len(fine), 1)), np.cumsum(fine, axis=-1)], -1)
        shift = late_s[:, None] / self.h
        return (_at(summed, self.high + shift) - _at(summed, self.low + shift)) / (
            self.high - self.low)


def _at(table: Floats, places: Floats) -> Floats:
    whole = np.clip(places.astype(int), 0, table.shape[-1] - 2)
    part = places - whole
    left = np.take_along_axis(table, whole, axis=-1)
    return np.asarray(left * (1 - part) + np.take_along_axis(table, whole + 1, axis=-1) * part)


def volts(one: Seen, machine: Machine, shared: Floats, emf_of: Floats) -> Floats:
    """Volts of the bus [sets, grid], means over the grid's steps. shared: [sets, SHARED];
    emf_of: [sets, 3 + PULLS], E0, E1 and E2 of this burst, and by how much the arm's pull changes
    at each of `pulled`, as a current that the pull would make up for [A]."""
    ohm, farad = np.exp(shared[:, 0]), np.exp(shared[:, 1])
    esr, leak = np.abs(shared[:, 3]), 1 / machine.bleed_ohm
    level, pace, bend = emf_of[:, :3].T
    both = [_ahead(shared, leak + g, one.h) for g in one.siemens]
    # at the beginning the volts are on their way with the pace, and fill the capacitor
    rest = one.amps[0] + (one.siemens[one.on[0]] + leak) * one.volts[0] + farad * pace
    emf = level[:, None] + pace[:, None] * one.sway[0] + bend[:, None] * one.sway[1]
    drop = machine.drop(rest)
    state = np.stack([emf[:, 0] - drop - ohm * rest, rest, np.zeros_like(rest)])
    ends = machine.drop(np.array([one.from_a / 2, 2 * one.to_a]))
    bent = abs(ends[1] - ends[0]) > FLAT_V
    blocks = machine.diode_v > 0  # where windings and capacitor ring, the current comes to an end
    # what drives each step, for all steps at once: [to, sets, grid]
    given = np.stack([emf - drop[:, None], np.broadcast_to(one.amps, emf.shape),
                      rest[:, None] + emf_of[:, 3:] @ one.pulled])
    switched = one.on == 1
    pushed = [np.einsum("jks,ksn->njs", reach, given) for _, reach in both]
    into = np.where(switched[:, None, None], pushed[1], pushed[0])
    track = np.empty((len(one.on) + 1, 2, len(ohm)))
    track[0] = state[:2]
    for n, on in enumerate(one.on.tolist()):
        turn, reach = both[on]
        state = (turn * state).sum(axis=1) + into[n]
        if bent or float(track[n, 1].min()) < one.from_a / 2:
            state += reach[:, 0] * (drop - machine.drop(np.maximum(track[n, 1], 0.0)))
        if blocks:
            np.maximum(state[1], 0.0, out=state[1])
        track[n + 1] = state[:2]
    v, i = ((track[:-1] + track[1:]) / 2).transpose(1, 2, 0)
    g = np.where(switched, one.siemens[1], one.siemens[0]) + leak
    return np.asarray((v + esr[:, None] * (i - one.amps)) / (1 + esr[:, None] * g))


def _ahead(shared: Floats, siemens: float, h: float) -> tuple[Floats, Floats]:
    """What a step makes of (v, i, y), and of (EMF less drops, the sensor's current beside the
    conductance, the current at rest): [to, from, sets]."""
    ohm, farad, henry, arm_s = (np.exp(shared[:, j]) for j in (0, 1, HENRY, ARM))
    sag_ohm, esr = ohm * np.exp(np.clip(shared[:, 2], -12, 8)), np.abs(shared[:, 3])
    share = 1 / (1 + esr * siemens)  # of the capacitor's volts that the bus has
    a = np.zeros((len(ohm), 6, 6))
    a[:, 0, 0], a[:, 0, 1], a[:, 0, 4] = -siemens * share / farad, share / farad, -share / farad
    a[:, 1, 0], a[:, 1, 1] = -share / henry, -(ohm + esr * share) / henry
    a[:, 1, 2], a[:, 1, 3], a[:, 1, 4] = -sag_ohm / henry, 1 / henry, esr * share / henry
    a[:, 2, 1], a[:, 2, 2], a[:, 2, 5] = 1 / arm_s, -1 / arm_s, -1 / arm_s
    a *= h
    most = max(float(np.abs(a).sum(axis=2).max()), 1e-9)
    halves = max(0, math.ceil(math.log2(most)) + 4)
    a /= 2.0**halves
    one = np.eye(6)
    found = one + a @ (one + a / 2 @ (one + a / 3 @ (one + a / 4)))
    for _ in range(halves):
        found = found @ found
    found = found.transpose(1, 2, 0)
    return found[:3, :3], found[:3, 3:]
