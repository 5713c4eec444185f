"""How long a charge takes: constant draw, then taper, net of the device's own use.

Equations and what is left out: charging.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, inf, isfinite, log

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.point import Points, operate
from steadyturn.rig.types import Load, Rig

Floats = NDArray[np.float64]

END_PER_H = 0.05  # full: the cell takes this share of its capacity an hour (0.02-0.07)
DRAWS = 9  # operating points between next to nothing and the full draw
NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)  # for the taper's work


@dataclass(frozen=True)
class Feed:
    """The machine at one pace over the device's draw, smallest first: out_w at the socket,
    arm_w [W]. full: the operating point at the full draw (arrays of no dimension); top_v: the
    most volts at the socket at any draw, NaN where none runs."""

    pace_tpm: float
    out_w: Floats
    arm_w: Floats
    full: Points
    top_v: float


@dataclass(frozen=True)
class Charge:
    """One stretch of charging. seconds inf and the rest NaN where it never arrives.

    start, end: state of charge (0 to 1); socket_j = (cell_j + self_j) / charge_efficiency;
    cell_j what the battery gains, self_j what the device uses meanwhile; arm_j the arm's work;
    taper_from: where the draw begins to fall.
    """

    start: float
    end: float
    seconds: float
    socket_j: float
    cell_j: float
    self_j: float
    arm_j: float
    taper_from: float


def feed(rig: Rig, pace_tpm: float, draws: int = DRAWS) -> Feed:
    """Operating points at pace_tpm [turns/min], converter running, winding at 20 degC, for
    `draws` draws up to the rig's. Where one has no steady state, nothing arrives: out_w 0.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> got = feed(read_rig(example_path("lakeside-hut")), 60)
    >>> bool((np.diff(got.out_w) > 0).all()), round(float(got.out_w[-1]), 2)
    (True, 2.53)
    """
    full = operate(rig, pace_tpm)
    shares = np.linspace(0.04, 1, draws)
    points = [operate(with_draw(rig, rig.load.draw_a * share), pace_tpm) for share in shares[:-1]]
    out_w, arm_w, out_v = (np.array([float(getattr(at, name)) for at in (*points, full)])
                           for name in ("out_w", "arm_w", "out_v"))
    return Feed(pace_tpm, np.where(np.isnan(out_w), 0.0, out_w), arm_w, full,
                float(np.fmax.reduce(out_v)))


def with_draw(rig: Rig, draw_a: float) -> Rig:
    """The rig with a device that draws draw_a [A].

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> with_draw(read_rig(example_path("lakeside-hut")), 0.9).load.draw_a
    0.9
    """
    return replace(rig, load=replace(rig.load, draw_a=draw_a))


@dataclass(frozen=True)
class Cell:
    """What the battery takes from a socket that gives full_w [W] at the full draw.

    net_w: into the cell while the draw is full [W]; taper_from: the state of charge where that
    ends. From there the cell's power falls straight to end_w at 1; tau_s: capacity over the slope.
    """

    load: Load
    net_w: float
    taper_from: float
    end_w: float
    tau_s: float

    @property
    def capacity_j(self) -> float:
        assert self.load.capacity_j is not None
        return self.load.capacity_j

    def limit_w(self, state: float) -> float:
        """Power into the cell [W] at a state of charge."""
        if state <= self.taper_from:
            return self.net_w
        return self.end_w + (1 - state) * self.capacity_j / self.tau_s

    def seconds(self, start: float, end: float) -> float:
        """Time [s] from one state of charge to a higher one; inf where net_w is not above 0."""
        if self.net_w <= 0:
            return inf
        knee = min(max(self.taper_from, start), end)
        flat = (knee - start) * self.capacity_j / self.net_w
        if knee >= end:
            return flat
        return flat + self.tau_s * log(self.limit_w(knee) / self.limit_w(end))

    def state_after(self, start: float, seconds: float) -> float:
        """State of charge after so many seconds, 0 to 1; it falls where net_w is below 0."""
        knee = max(self.taper_from, start)
        flat_s = (knee - start) * self.capacity_j / self.net_w if self.net_w > 0 else inf
        if seconds <= flat_s:
            return max(start + self.net_w * seconds / self.capacity_j, 0.0)
        left_w = self.limit_w(knee) * exp(-min((seconds - flat_s) / self.tau_s, 700.0))
        return min(1.0, 1 - (left_w - self.end_w) * self.tau_s / self.capacity_j)


def cell(load: Load, full_w: float) -> Cell:
    """The battery of `load` (capacity_j known) at a socket that gives full_w [W].

    >>> phone = Load(capacity_j=15 * 3600, charge_efficiency=0.85, self_use_w=0.0)
    >>> round(cell(phone, 2.5).seconds(0.2, 0.8) / 60)
    254
    """
    assert load.capacity_j is not None
    top_w = load.charge_efficiency * full_w
    net_w = top_w - load.self_use_w
    end_w = min(END_PER_H * load.capacity_j / 3600, top_w)
    slope_w = (top_w - end_w) / max(1 - load.taper_from, 1e-9)  # per unit of charge
    if slope_w <= 0 or net_w <= end_w:  # never tapers before it is full
        return Cell(load, net_w, 1.0, end_w, inf)
    # what the device uses itself leaves less for the cell, so that it tapers later
    return Cell(load, net_w, 1 - (net_w - end_w) / slope_w, end_w, load.capacity_j / slope_w)


def charge(load: Load, given: Feed, start: float, *, end: float | None = None,
           seconds: float | None = None) -> Charge:
    """Charge from state `start` to `end`, or for so many seconds [s] (at most until full).

    load: with capacity_j; states 0 <= start < end <= 1. See Charge for the result.

    >>> phone = Load(capacity_j=15 * 3600, charge_efficiency=0.85, self_use_w=0.05)
    >>> flat = Feed(60, np.array([2.5]), np.array([6.0]), None, 5.0)  # 2.5 W for the arm's 6 W
    >>> done = charge(phone, flat, 0.2, end=0.8)
    >>> round(done.seconds) == round(0.6 * 15 * 3600 / (0.85 * 2.5 - 0.05))
    True
    >>> round(done.socket_j * 0.85 - done.cell_j - done.self_j, 6), done.arm_j == 6 * done.seconds
    (0.0, True)
    >>> round(charge(phone, flat, 0.2, seconds=done.seconds).end, 9)
    0.8
    """
    assert load.capacity_j is not None
    full_w = float(given.out_w[-1])
    battery = cell(load, full_w)
    if seconds is not None:
        end = battery.state_after(start, seconds)
        if battery.net_w > 0 and end >= 1:
            seconds = battery.seconds(start, 1.0)
    else:
        assert end is not None
        seconds = battery.seconds(start, end)
    if not isfinite(seconds) or full_w <= 0:
        nan = float("nan")
        return Charge(start, end, inf, nan, nan, nan, nan, battery.taper_from)
    cell_j = (end - start) * load.capacity_j
    if battery.net_w <= 0:  # the device takes all of it, and of the battery what is missing
        socket_j = full_w * seconds
        self_j = socket_j * load.charge_efficiency - cell_j
    else:
        self_j = load.self_use_w * seconds
        socket_j = (cell_j + self_j) / load.charge_efficiency
    return Charge(start, end, seconds, socket_j, cell_j, self_j,
                  _arm_j(battery, given, start, end, seconds), battery.taper_from)


def _arm_j(battery: Cell, given: Feed, start: float, end: float, seconds: float) -> float:
    """Work of the arm [J]: full draw, then over the taper, where dt = tau d(ln limit)."""
    knee = min(max(battery.taper_from, start), end)
    full_w = float(given.arm_w[-1])
    if battery.net_w <= 0 or knee >= end:
        return full_w * seconds
    flat = (knee - start) * battery.capacity_j / battery.net_w
    high, low = log(battery.limit_w(knee)), log(battery.limit_w(end))
    limits = np.exp(0.5 * (high + low) + 0.5 * (high - low) * NODES)
    work = arm_at(battery.load, given, limits) @ WEIGHTS * 0.5 * (high - low) * battery.tau_s
    return full_w * flat + float(work)


def arm_at(load: Load, given: Feed, cell_w: Floats) -> Floats:
    """Power of the arm [W] while the cell takes cell_w [W], shaped alike.

    >>> phone = Load(charge_efficiency=0.8, self_use_w=0.1)
    >>> two = Feed(60, np.array([0.5, 2.5]), np.array([3.0, 6.0]), None, 5.0)
    >>> arm_at(phone, two, np.array([1.9, 1.1])).round(6).tolist()  # 2.5 and 1.5 W at the socket
    [6.0, 4.5]
    """
    socket_w = (cell_w + load.self_use_w) / load.charge_efficiency
    order = np.argsort(given.out_w, kind="stable")  # a device that sags may get less for more
    return np.interp(socket_w, given.out_w[order], given.arm_w[order])


def course(load: Load, given: Feed, done: Charge, count: int = 61) -> tuple[Floats, ...]:
    """The charge over time, `count` points: seconds, state of charge, power at the socket [W],
    of the arm [W].

    >>> phone = Load(capacity_j=15 * 3600, charge_efficiency=0.85, self_use_w=0.05)
    >>> two = Feed(60, np.array([0.5, 2.5]), np.array([3.0, 6.0]), None, 5.0)
    >>> _, state, device_w, arm_w = course(phone, two, charge(phone, two, 0.2, end=1.0), 3)
    >>> state.round(2).tolist(), device_w.round(2).tolist(), arm_w.round(2).tolist()
    ([0.2, 0.62, 1.0], [2.5, 2.5, 0.94], [6.0, 6.0, 3.66])
    """
    battery = cell(load, float(given.out_w[-1]))
    times = np.linspace(0.0, done.seconds, count)
    states = np.array([battery.state_after(done.start, float(t)) for t in times])
    cell_w = np.array([battery.limit_w(float(state)) for state in states])
    socket_w = np.minimum((cell_w + load.self_use_w) / load.charge_efficiency, given.out_w[-1])
    return times, states, socket_w, arm_at(load, given, cell_w)
