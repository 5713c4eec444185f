"""Small signals: source, bus capacitor, constant power, and the arm; page: stability.md."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import supply
from steadyturn.model.dynamics_parts import Parts
from steadyturn.model.hand import LEAN_S
from steadyturn.model.output import Output
from steadyturn.model.point import operate
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]

MOST_F = 100.0  # capacitors are not sought beyond this


@dataclass(frozen=True, slots=True)
class Stability:
    """How the running machine takes a small disturbance at pace_tpm [turns/min].

    regime: of the operating point; the rest is None where there is none. source_ohm R;
    henry L and capacitor_f C; load_ohm: V^2 / P, the size of the converter's negative
    resistance, less what bleed and board take off it (None where it draws no constant power).
    static: R < load_ohm. damped: R / L > 1 / (C load_ohm). impedance_ohm: the greatest source
    impedance at any frequency; middlebrook: it is below load_ohm (sufficient, on the safe side).
    growth_per_s: of the slowest motion of bus, handle and arm together, below zero where it
    dies down; swing_hz: how fast that motion swings (0: it does not). stable: static, damped
    and growth below zero. least_capacitor_f: below it the inductance rings up (L / (R load_ohm);
    0 without inductance). greatest_capacitor_f: above it handle and bus swing against the arm
    (None: no capacitor up to 100 F does that, or the machine is unstable with any).
    """

    pace_tpm: float
    regime: str
    source_ohm: float
    henry: float
    capacitor_f: float
    load_ohm: float | None = None
    static: bool | None = None
    damped: bool | None = None
    impedance_ohm: float | None = None
    middlebrook: bool | None = None
    growth_per_s: float | None = None
    swing_hz: float | None = None
    stable: bool | None = None
    least_capacitor_f: float | None = None
    greatest_capacitor_f: float | None = None


@dataclass(frozen=True, slots=True)
class Linear:
    """The machine about one operating point: k [V s/rad], r [ohm], l [H], c [F], draws
    [A/V] of all that hangs on the bus, inertia [kg m2], drag [N m s] of arm and motors
    together, lean [N m/rad]: the arm's slow answer, eta of the gears."""

    k: float
    r: float
    l: float  # noqa: E741 - the trade's letter
    c: float
    draws: float
    inertia: float
    drag: float
    lean: float
    eta: float

    def matrix(self, c: float | None = None) -> Floats:
        """State matrix of (current, volts, speed, mean effort); without inductance of the
        last three. c: another capacitor [F]."""
        k, r, farad = self.k, self.r, self.c if c is None else c
        j, lean = self.inertia, self.lean
        if self.l:
            return np.array([
                [-r / self.l, -1 / self.l, k / self.l, 0.0],
                [1 / farad, -self.draws / farad, 0.0, 0.0],
                [-k / self.eta / j, 0.0, -self.drag / j, 1 / j],
                [0.0, 0.0, -lean, 0.0]])
        return np.array([
            [-(1 / r + self.draws) / farad, k / r / farad, 0.0],
            [k / r / self.eta / j, -(self.drag + k * k / r / self.eta) / j, 1 / j],
            [0.0, -lean, 0.0]])

    def growth(self, c: float | None = None) -> complex:
        """The eigenvalue [1/s] of the greatest real part."""
        values = np.linalg.eigvals(self.matrix(c))
        return complex(values[np.argmax(values.real)])

    def ripple_v(self, torque_nm: float, rad_s: float, c: float | None = None) -> float:
        """Size [V] of the bus's answer to a torque of torque_nm sin(rad_s t)."""
        a = self.matrix(c)
        n = len(a)
        push = np.zeros(n)
        push[n - 2] = torque_nm / self.inertia
        answer = np.linalg.solve(1j * rad_s * np.eye(n) - a, push)
        return float(abs(answer[n - 3]))


def linear(rig: Rig, pace_tpm: float) -> tuple[str, float, float, Linear | None]:
    """(regime, bus volts, watts at the bus, the machine about that point): at pace_tpm, warm as
    a machine between the rig's cold and hot air; no linear machine where there is no point.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> regime, volts, watts, about = linear(read_rig(example_path("lakeside-hut")), 60)
    >>> regime, round(volts, 2), round(watts, 2), about.draws < 0 < about.drag
    ('regulating', 7.49, 2.76, True)
    """
    parts = Parts(rig, 0.001)
    parts.warm(parts.air_c)
    at = operate(rig, [pace_tpm], winding_c=parts.air_c)
    regime, node_v = str(at.regime[0]), float(at.node_v[0])
    in_w = float(at.bus_v[0] * at.bus_a[0])
    if regime == "collapse" or not node_v > 0:
        return regime, node_v, in_w, None
    draws = parts.bus_bleed + float(supply.amps(rig.supply, node_v)[1])
    if regime == "regulating" and not parts.linear:
        draws += _converter_slope(parts, *(float(x[0]) for x in (at.in_v, at.bus_a, at.out_a)))
    amps = float(at.motor_a[0]) * rig.bank.parallel
    # brushes and diode: what is left of their slope at this current
    knees = sum(volts * knee / np.cosh(min(amps * knee, 300.0)) ** 2 for volts, knee in (
        (parts.brush_v, parts.brush_a), (parts.diode_v, parts.diode_a)))
    droop = rig.arm.droop_nm_s
    henry = rig.bank.series * rig.motor.inductance_h / rig.bank.parallel
    return regime, node_v, in_w, Linear(
        parts.kc, parts.r_source + float(knees), henry, parts.bus_f, draws, parts.inertia,
        droop + parts.viscous, droop / LEAN_S, parts.eta)


def _converter_slope(parts: Parts, in_v: float, in_a: float, out_a: float) -> float:
    """Slope [A/V] by the bus's volts of what a regulating converter takes: in_v in_a = P +
    loss_v j + loss_ohm j^2, the coil's j being in_a itself or the output's, which stays."""
    rise = 0.0
    if parts.coil == "in" or (parts.coil == "larger" and in_a > out_a):
        rise = parts.loss_v + 2 * parts.loss_ohm * in_a
    slope = -in_a / (in_v - rise)
    return slope / (1 + slope * parts.r_input)  # behind shunt and switch


def stability(rig: Rig, pace_tpm: float) -> Stability:
    """Whether the machine, running at pace_tpm, stays where it is.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = stability(read_rig(example_path("lakeside-hut")), 70)
    >>> hut.regime, hut.static, hut.stable
    ('regulating', True, True)
    """
    regime, _, _, about = linear(rig, pace_tpm)
    parts = Parts(rig, 0.001)
    henry = rig.bank.series * rig.motor.inductance_h / rig.bank.parallel
    if about is None:
        return Stability(pace_tpm, regime, parts.r_source, henry, parts.bus_f)
    load_ohm = -1 / about.draws if about.draws < 0 else None
    peak = source_peak_ohm(about.r, about.l, about.c)
    static = load_ohm is None or about.r < load_ohm
    damped = load_ohm is None or about.l < about.r * about.c * load_ohm
    slowest = about.growth()
    stable = static and damped and slowest.real < 0
    least = 0.0 if load_ohm is None else about.l / (about.r * load_ohm)
    return Stability(
        pace_tpm=pace_tpm, regime=regime, source_ohm=about.r, henry=about.l,
        capacitor_f=about.c, load_ohm=load_ohm, static=static, damped=damped,
        impedance_ohm=peak, middlebrook=load_ohm is None or peak < load_ohm,
        growth_per_s=slowest.real, swing_hz=abs(slowest.imag) / (2 * pi), stable=stable,
        least_capacitor_f=least, greatest_capacitor_f=_greatest(about, least),
    )


def source_peak_ohm(r: float, l: float, c: float) -> float:  # noqa: E741
    """Greatest |(R + j w L) / (1 - w^2 L C + j w R C)| over all w [ohm].

    With x = w^2 the square is (R^2 + L^2 x) / ((1 - L C x)^2 + R^2 C^2 x); where its slope is
    zero, L^2 (L C)^2 x^2 + 2 R^2 (L C)^2 x = L^2 + 2 R^2 L C - R^4 C^2.

    >>> source_peak_ohm(2.0, 0.0, 1e-3)
    2.0
    >>> round(source_peak_ohm(2.0, 1e-3, 1e-5), 1)
    51.0
    """
    lc = l * c
    right = l * l + 2 * r * r * lc - (r * r * c) ** 2
    if l == 0 or right <= 0:
        return r
    half = r * r / (l * l)
    x = -half + sqrt(half * half + right / (l * lc) ** 2)
    return sqrt((r * r + l * l * x) / ((1 - lc * x) ** 2 + (r * c) ** 2 * x))


def _greatest(about: Linear, least: float) -> float | None:
    """The capacitor [F] above which the slowest motion grows."""
    low = max(about.c, 2 * least)
    if about.growth(low).real >= 0:
        low = max(1e-6, 2 * least)
        if about.growth(low).real >= 0:
            return None
    high = low
    while about.growth(high).real < 0:
        low, high = high, high * 2
        if high > MOST_F:
            return None
    for _ in range(40):
        middle = sqrt(low * high)
        low, high = (middle, high) if about.growth(middle).real < 0 else (low, middle)
    return low


def start_threshold_v(source_ohm: float, in_w: float, stop_v: float) -> float:
    """Least start threshold [V] from which in_w [W] can be drawn without hunting when the
    pace rises slowly: the EMF then is the start voltage E, and the running point
    E/2 + sqrt(E^2/4 - R P) must exist and stand above stop_v.

    >>> round(start_threshold_v(2.0, 3.0, 3.0), 3)
    5.0
    >>> round(start_threshold_v(2.0, 3.0, 1.0), 3)
    4.899
    """
    if in_w <= 0:
        return stop_v
    fold = 2 * sqrt(source_ohm * in_w)
    # with E just at the fold it would run at E / 2
    return fold if fold / 2 >= stop_v else stop_v + source_ohm * in_w / stop_v


def hiccup_s(emf_v: float, ohm: float, farad: float, in_w: float, start_v: float,
             stop_v: float, draws_s: float = 0.0) -> tuple[float, float]:
    """(seconds on, seconds off) of one hiccup: C dv/dt = (E - v)/R - draws v - P/v from
    start_v down to stop_v, and up again without P. No drops, no soft start, a steady EMF.
    inf where it does not get there.

    >>> on, off = hiccup_s(7.0, 2.0, 1e-3, 8.0, 6.5, 5.9)
    >>> round(off * 1e3, 2)  # R C ln((E - stop) / (E - start))
    1.58
    """
    v = np.linspace(stop_v, start_v, 2001)
    fills = (emf_v - v) / ohm - draws_s * v
    times = []
    for rate in (in_w / v - fills, fills):
        if (rate <= 0).any():
            times.append(inf)
            continue
        f = farad / rate
        times.append(float(((f[1:] + f[:-1]) / 2).sum() * (v[1] - v[0])))
    return times[0], times[1]


def full_w(rig: Rig) -> float | None:
    """Watts that the running converter takes for the full load at its set point; None for a
    linear regulator, which takes a current, and where nothing is drawn.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> round(full_w(read_rig(example_path("lakeside-hut"))), 2)  # 5.1 V x 0.5 A and losses
    2.89
    """
    out = Output(rig)
    if out.kind == "linear" or not out.set_a:
        return None
    out_w, amps = out.set_v * out.set_a, out.set_a
    for _ in range(30):  # the coil's current is the input's where that is the larger
        coil = out.set_a
        if out.kind != "buck":
            # more than its limit it does not take, however much it loses
            in_a = min(amps * out.set_v / rig.converter.start_v, rig.converter.in_limit_a)
            coil = in_a if out.kind == "boost" else max(in_a, out.set_a)
        taken = out_w + float(out.lost(np.asarray(coil)))
        amps = taken / out.set_v
    return taken


def mean_effort_nm(rig: Rig, pace_tpm: float) -> float:
    """Mean torque at the handle [N m] in the steady state at pace_tpm [turns/min]; nan where
    there is none.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> round(mean_effort_nm(read_rig(example_path("lakeside-hut")), 60), 2)
    0.91
    """
    parts = Parts(rig, 0.001)
    return float(operate(rig, [pace_tpm], winding_c=parts.air_c).crank_nm[0])


def closed_ripple_v(rig: Rig, pace_tpm: float, farad: float | None = None) -> float | None:
    """Peak to peak [V] of the bus for the arm's ripple twice a turn at pace_tpm [turns/min], in
    small signals: None where there is no running point. farad: another bus capacitor [F].

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(closed_ripple_v(hut, 60), 2), round(closed_ripple_v(hut, 60, 0.1), 2)
    (1.2, 0.11)
    """
    about = linear(rig, pace_tpm)[3]
    if about is None:
        return None
    torque = rig.arm.ripple * mean_effort_nm(rig, pace_tpm)
    return 2 * about.ripple_v(torque, 2 * pace_tpm * RPM, farad)
