"""Heads with gears: the bands of all pairs of head and train, by the heads' own tables.

With a train of ratio G and efficiency e the motors' speed w is G times the handle's, and the
torque at the handle T(w) * G / e and the handle's own friction. Nothing else of a head knows
the train. Quick and close (edges to about a percent), for choosing; what is chosen is
computed again by the model.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.band import INSET
from steadyturn.model.batch import LIMIT_NAMES
from steadyturn.model.hazards import FASTEST_TPM, SPEED_UP
from steadyturn.rig.types import RPM, Rig
from steadyturn.sizing.heads import CLAMP, POINTS, Heads

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

LOOKS = 9  # paces looked at between two edges
_NAME = {name: i for i, name in enumerate(LIMIT_NAMES)}


@dataclass(frozen=True)
class Judged:
    """One value a pair, head by head. works: there is a band of at least the least width.
    low_tpm to out_w are of no meaning elsewhere. low_name, high_name: what binds, or clashes.
    danger: bit n is set where rating n of the heads is broken."""

    works: Flags
    low_tpm: Floats
    high_tpm: Floats
    target_tpm: Floats
    arm_w: Floats
    low_name: Whole
    high_name: Whole
    danger: Whole


def judge(heads: Heads, which: slice, ratio: Floats, efficiency: Floats, rig: Rig,
          least_width: float) -> Judged:
    """Bands of the heads `which`, each with every train. ratio, efficiency: of the trains;
    rig: any of the drawer's, for the arm and the crank."""
    count = len(range(*which.indices(len(heads))))
    head = np.repeat(np.arange(len(heads))[which], len(ratio))
    gear, loss = np.tile(ratio, count), np.tile(efficiency, count)
    with np.errstate(invalid="ignore"):
        low, high = heads.low_rad_s[head] / (gear * RPM), heads.high_rad_s[head] / (gear * RPM)
    low_name, high_name = heads.low_name[head], heads.high_name[head]
    no_head = np.isnan(low)
    low, low_name = _higher(low, low_name, rig.arm.comfort_low_tpm, "comfort_low", no_head)
    high, high_name = _lower(high, high_name, rig.arm.comfort_high_tpm, "comfort_high", no_head)
    danger = np.zeros(len(head), dtype=np.int64)
    per_tpm = heads.open_v[head] * gear * RPM
    for bit, name in enumerate(heads.ratings):
        bears = heads.bears_v[head, bit]
        broken = bears < FASTEST_TPM * per_tpm
        danger |= broken.astype(np.int64) << bit
        if name != CLAMP:
            ends = np.where(broken, np.inf, bears / (SPEED_UP * per_tpm))
            high, high_name = _lower(high, high_name, ends, name, no_head)
    works = low < high
    target, arm_w = np.full(len(head), np.nan), np.full(len(head), np.nan)
    if works.any():
        some = np.nonzero(works)[0]
        arm = _Arm(heads, head[some], gear[some], loss[some], rig)
        low[some], high[some], low_name[some], high_name[some] = arm.narrowed(
            low[some], high[some], low_name[some], high_name[some])
        works = low < high  # where the arm fails, low is infinite
        works[works] = high[works] - low[works] >= least_width * 0.5 * (
            high[works] + low[works])
        still = works[some]
        target[some], arm_w[some] = arm.cheapest(low[some], high[some])
        works[some] = still & np.isfinite(arm_w[some])
    return Judged(works, low, high, target, arm_w, low_name, high_name, danger)


def _higher(now: Floats, names: Whole, at: float, name: str,
            none: Flags) -> tuple[Floats, Whole]:
    return np.maximum(now, at), np.where((at > now) & ~none, _NAME[name], names)


def _lower(now: Floats, names: Whole, at: Floats | float, name: str,
           none: Flags) -> tuple[Floats, Whole]:
    return np.minimum(now, at), np.where((at < now) & ~none, _NAME[name], names)


class _Arm:
    """What the arm feels of pairs: head index, ratio and efficiency of each."""

    def __init__(self, heads: Heads, head: Whole, gear: Floats, loss: Floats, rig: Rig) -> None:
        self.rig, self.base = rig, head * POINTS
        self.nm, self.most_nm = heads.nm.ravel(), heads.most_nm.ravel()
        span = heads.high_rad_s[head] - heads.low_rad_s[head]
        # place in the table: pace * turn - first
        self.turn = gear * RPM * (POINTS - 1) / span
        self.first = heads.low_rad_s[head] * (POINTS - 1) / span
        self.handle = gear / loss

    def take(self, which: Whole) -> _Arm:
        """These pairs only."""
        some = copy(self)
        some.base, some.turn, some.first, some.handle = (
            self.base[which], self.turn[which], self.first[which], self.handle[which])
        return some

    def handle_nm(self, table: Floats, pace: Floats) -> Floats:
        """Torque at the handle [N m] at `pace` [look, pair], from a torque table."""
        place = np.clip(pace * self.turn - self.first, 0.0, POINTS - 1 - 1e-9)
        left = place.astype(np.int64)
        share = place - left
        left += self.base
        nm = table[left] * (1 - share) + table[left + 1] * share
        return nm * self.handle + self.rig.crank.friction_nm

    def margins(self, pace: Floats) -> tuple[Floats, Floats]:
        """Of the arm's force and power at `pace`, hot and cold; below zero is too much."""
        person = self.rig.arm
        nm = self.handle_nm(self.most_nm, pace)
        return (1 - nm / (person.force_n * self.rig.crank.radius_m),
                1 - nm * pace * (RPM / person.power_w))

    def narrowed(self, low: Floats, high: Floats, low_name: Whole,
                 high_name: Whole) -> tuple[Floats, Floats, Whole, Whole]:
        """Edges and names where the arm's force and power hold too; low above high where they
        hold nowhere between."""
        pace = low + (high - low) * np.linspace(0.0, 1.0, LOOKS)[:, None]
        force, power = self.margins(pace)
        margin = np.minimum(force, power)
        bad = margin < 0
        if not bad.any():
            return low, high, low_name, high_name
        every = np.arange(len(low))
        best = np.argmax(margin, axis=0)
        none = margin[best, every] < 0
        names = np.where(force < power, _NAME["arm_force"], _NAME["arm_power"])
        row = np.arange(LOOKS)[:, None]
        before = np.where(bad & (row < best), row, -1).max(axis=0)
        after = np.where(bad & (row > best), row, LOOKS).min(axis=0)
        low, high = low.copy(), high.copy()
        for edge, label, out, step in ((low, low_name := low_name.copy(), before, 1),
                                       (high, high_name := high_name.copy(), after, -1)):
            cut = np.nonzero((out >= 0) & (out < LOOKS) & ~none)[0]
            if cut.size:
                rows = out[cut]
                edge[cut] = self._crossing(cut, pace[rows, cut], pace[rows + step, cut],
                                           margin[rows, cut], margin[rows + step, cut])
                label[cut] = names[rows, cut]
        # the arm fails everywhere: where more (less) pace is better, the band's own other end
        # is what it clashes with
        at_best = names[best, every]
        low_name = np.where(none & (best > 0), at_best, low_name)
        high_name = np.where(none & (best == 0), at_best, high_name)
        return np.where(none, np.inf, low), np.where(none, -np.inf, high), low_name, high_name

    def _crossing(self, which: Whole, out: Floats, inside: Floats, miss: Floats,
                  has: Floats) -> Floats:
        """Pace between `out` and `inside` where the margin of the pairs `which` is zero."""
        some = self.take(which)
        for _ in range(4):  # regula falsi
            x = inside + (out - inside) * (has / (has - miss))
            value = np.minimum(*some.margins(x))
            good = value >= 0
            out, miss = np.where(good, out, x), np.where(good, miss, value)
            inside, has = np.where(good, x, inside), np.where(good, value, has)
        return inside

    def cheapest(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Pace and arm power [W] where the arm gives least, as far from the edges as the
        band's target keeps (a head gives one power all over)."""
        inset = INSET * (high - low)
        with np.errstate(invalid="ignore"):
            pace = low + inset + (high - low - 2 * inset) * np.linspace(0.0, 1.0, LOOKS)[:, None]
            pace = np.where(np.isfinite(pace), pace, 1.0)
        arm_w = self.handle_nm(self.nm, pace) * pace * RPM
        best = np.argmin(arm_w, axis=0)
        every = np.arange(len(low))
        return pace[best, every], arm_w[best, every]
