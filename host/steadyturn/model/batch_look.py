"""Regulating builds seen from the converter's terminals, where all else is explicit.

Given the volts there, the power balance gives the current, the current the node, the
node the bank's current, that the EMF and the EMF the pace: no root is sought but the
winding's own temperature, which is almost linear. Equations in batch.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch_frame import Frame, board_a
from steadyturn.model.motor import COPPER_PER_K, FERRITE_PER_K, copper, magnets
from steadyturn.model.thermal import HOTTEST_C
from steadyturn.model.view import SPARE
from steadyturn.rig.types import RPM

Floats = NDArray[np.float64]

LEFT = float(np.sqrt(1 - 1 / SPARE))  # of the tangent's EMF, at the collapse margin
LOW, HIGH, EITHER = 0, 1, 2
STEEPEST = 0.95  # share of its own rise that a winding may feed back


@dataclass
class Look:
    """All shaped like in_v, builds last. spare: as a share of the tangent's EMF, above
    what the collapse margin asks; None where nothing can collapse. copper: resistance
    over that at 20 degC. winding_c, case_c: None of a machine whose temperature is given."""

    in_v: Floats
    node_v: Floats
    motor_a: Floats
    copper: Any
    emf_v: Floats
    pace: Floats
    spare: Floats | None
    winding_c: Floats | None
    case_c: Floats | None
    arm_nm: Floats
    arm_w: Floats


def coil_a(frame: Frame, in_v: Floats) -> tuple[Floats, Any]:
    """Current into the regulating converter [A], and loss_v + 2 loss_ohm i where the losses
    follow it; NaN where there is none. in_v: at its terminals [V], builds last.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> amps, _ = coil_a(two, np.array([9.0, 9.0]))  # (2.59 + 0.5 (0.25 + 0.15 x 0.5)) / 9
    >>> amps.round(4).tolist()
    [0.3058, 0.3058]
    """
    if frame.kind == "linear":
        return frame.set_a + frame.base_w / in_v, 0.0
    if frame.kind in ("buck", "buck_boost"):
        lost = frame.set_a * (frame.loss_v + frame.loss_ohm * frame.set_a)
        below = (frame.base_w + lost) / in_v
        if frame.kind == "buck":
            return below, 0.0
    side = in_v - frame.loss_v
    under = side * side - (4 * frame.base_w) * frame.loss_ohm
    in_a = 2 * frame.base_w / (side + np.sqrt(under))
    in_a[side <= 0] = np.nan
    rise = frame.loss_v + 2 * frame.loss_ohm * in_a
    if frame.kind == "buck_boost":
        steps_down = below <= frame.set_a
        in_a = np.where(steps_down, below, in_a)
        rise = np.where(steps_down, 0.0, rise)
    return in_a, rise


def look(frame: Frame, in_v: Floats, air_c: Any, *, heated: bool, rounds: int = 3) -> Look:
    """Regulating builds with in_v [V] at the converter's terminals, builds last. heated: the
    winding settles above air_c [degC] after hours, in so many rounds; else it is at air_c.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> at = look(two, np.array([9.0, 9.0]), 20.0, heated=False)
    >>> from steadyturn.model.point import operate
    >>> back = operate(hut, at.pace[0])
    >>> round(float(at.pace[0]), 1), round(float(back.in_v), 6)
    (69.3, 9.0)
    >>> round(float(at.arm_w[0]), 6) == round(float(back.arm_w), 6)
    True
    """
    in_a, rise = coil_a(frame, in_v)
    node_v = frame.series_ohm * in_a
    node_v += in_v
    amps, by_v = board_a(frame, node_v)
    motor_a = frame.bleed * node_v
    motor_a += in_a
    motor_a += amps
    motor_a /= frame.parallel
    brush = np.tanh(motor_a / frame.brush_knee_a)
    volts = frame.brush_v * brush
    volts += node_v
    diodes = isinstance(frame.diode_v, np.ndarray) or frame.diode_v
    if diodes:
        diode = np.tanh(motor_a / frame.diode_knee_a)
        volts += frame.diode_v * diode
    across = motor_a * frame.ohm
    if heated:
        above, case_c = _settle(frame, motor_a, brush, volts, across, air_c, rounds)
        winding_c = above + 20
        warm = COPPER_PER_K * above
        warm += 1
        flux = FERRITE_PER_K * above
        flux += 1
    else:
        warm, flux, winding_c, case_c = copper(air_c), magnets(air_c), None, None
    across *= warm
    emf_v = np.add(volts, across, out=across)
    pace = emf_v / (frame.emf_tpm * flux)
    spare = None
    if frame.kind != "linear":
        brush *= brush
        np.subtract(1.0, brush, out=brush)
        brush *= frame.brush_v / frame.brush_knee_a
        brush += frame.ohm * warm
        if diodes:
            diode *= diode
            np.subtract(1.0, diode, out=diode)
            diode *= frame.diode_v / frame.diode_knee_a
            brush += diode
        ohm = brush * (frame.bleed + by_v)  # brush: now the slope of the source's volts
        ohm += frame.parallel
        np.divide(brush, ohm, out=ohm)
        ohm += frame.series_ohm
        ohm *= in_a
        spare = in_v - ohm
        spare -= rise
        np.abs(ohm, out=ohm)
        ohm += in_v
        spare /= ohm
        spare -= LEFT
    rad_s = frame.rad_tpm * pace
    rad_s *= frame.drag
    nm = motor_a * (frame.k * flux)
    nm += rad_s
    nm += frame.friction_nm
    nm *= frame.nm_gear
    nm += frame.crank_nm
    return Look(in_v, node_v, motor_a, warm, emf_v, pace, spare, winding_c, case_c, nm,
                nm * pace * RPM)


def _settle(frame: Frame, motor_a: Floats, brush: Floats, volts: Floats, across: Floats,
            air_c: Any, rounds: int) -> tuple[Floats, Floats]:
    """Winding over 20 degC [K] and case [degC] in the steady state.

    The winding's heat is linear in its temperature; the friction's depends on it a little
    through the speed. A few Newton steps settle both.
    """
    wound = motor_a * motor_a
    wound *= frame.motor_ohm
    own = wound * (frame.winding_k_w + frame.case_k_w)  # K at 20 degC
    rest = motor_a * brush
    rest *= frame.motor_brush_v * frame.case_k_w
    rest += own
    rest += air_c - 20
    feeds = np.multiply(own, COPPER_PER_K, out=own)
    cold_v = volts + across
    by_k = across * COPPER_PER_K
    above = rest + 10.0
    above /= 1 - np.minimum(feeds, 0.8)
    rub, drag = frame.case_k_w * frame.friction_nm, frame.case_k_w * frame.drag
    dragged = isinstance(drag, np.ndarray) or drag
    for turn in range(rounds):
        np.minimum(above, HOTTEST_C, out=above)
        flux = FERRITE_PER_K * above
        flux += 1
        emf = by_k * above
        emf += cold_v
        rad_s = emf / flux
        rad_s /= frame.strings
        rubbed = rad_s * rub
        grows: Any = 0.0  # the part that goes with the square of the speed
        if dragged:
            rad_s *= rad_s
            rad_s *= drag
            grows = rad_s
            rubbed += grows
        if turn < 2:  # later steps keep its slope
            slope = by_k / emf
            slope -= FERRITE_PER_K / flux
            slope *= rubbed + grows
            slope += feeds
            np.minimum(slope, STEEPEST, out=slope)
            np.subtract(1.0, slope, out=slope)
        off = feeds * above
        off -= above
        off += rubbed
        off += rest
        off /= slope
        above += off
    np.minimum(above, HOTTEST_C, out=above)
    wound *= frame.winding_k_w
    wound *= 1 + COPPER_PER_K * above
    case_c = above - wound
    case_c += 20
    return above, case_c


def margins(frame: Frame, at: Look) -> list[tuple[str, int, Floats]]:
    """Every limit that moves with the pace: name, side, margin (not below zero where it holds),
    in the order of `limits`. What stands at a fixed voltage of the converter is not among
    them. Side: LOW where more volts only help, HIGH where they only harm, else EITHER.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> at = look(two, np.array([9.0, 9.0]), 20.0, heated=False)
    >>> found = {name: row.round(2).tolist() for name, _, row in margins(two, at)}
    >>> found["collapse_margin"], found["comfort_low"]
    ([0.53, 0.11], [0.73, 1.22])
    """
    found = []
    if frame.live is not None:
        wake = np.maximum(frame.wake_v, frame.live.volts + frame.live.motor_a
                          * (frame.ohm * at.copper))
        found += [("board_wake", LOW, at.emf_v / wake - 1),
                  ("board_fade", LOW, at.node_v / frame.node_low_v - 1)]
    begin = frame.start.volts + frame.start.motor_a * (frame.ohm * at.copper)
    found.append(("start", LOW, at.emf_v / begin - 1))
    if at.spare is not None:
        found.append(("collapse_margin", LOW, at.spare))
    if frame.passing is not None:
        ends = frame.passing.volts + frame.passing.motor_a * (frame.ohm * at.copper)
        # it jumps above its set point: the window is left with it, and named as in `limits`
        found.append(("window_high", HIGH, 1 - at.emf_v / ends))
    if isinstance(frame.node_high_v, np.ndarray) or frame.node_high_v < np.inf:
        found.append(("clamp", HIGH, 1 - at.node_v / frame.node_high_v))
    found.append(("motor_current", EITHER, 1 - at.motor_a / frame.max_a))
    if at.winding_c is not None and at.case_c is not None:
        found += [("winding_temperature", EITHER, (frame.max_winding_c - at.winding_c) / 100),
                  ("mount_temperature", EITHER, (frame.mount_max_c - at.case_c) / 100)]
    return [*found,
            ("arm_force", EITHER, 1 - at.arm_nm / frame.max_nm),
            ("arm_power", EITHER, 1 - at.arm_w / frame.power_w),
            ("comfort_low", LOW, at.pace / frame.slow_tpm - 1),
            ("comfort_high", HIGH, 1 - at.pace / frame.fast_tpm)]


def worst(frame: Frame, at: Look) -> tuple[Floats, Floats]:
    """The smallest margin of those that may limit the low side, and of those for the high side,
    shaped like at.in_v; shares, as in `margins`; -1 where nothing is known.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> low, high = worst(two, look(two, np.array([9.0, 9.0]), 20.0, heated=False))
    >>> low.round(2).tolist(), high.round(2).tolist()
    ([0.53, 0.11], [0.23, 0.01])
    """
    least: dict[int, Floats] = {}
    for _, side, row in margins(frame, at):
        if side in least:
            np.minimum(least[side], row, out=least[side])
        else:
            least[side] = row.copy()
    for side in (LOW, HIGH):
        np.minimum(least[side], least[EITHER], out=least[side])
        least[side][np.isnan(least[side])] = -1.0
    return least[LOW], least[HIGH]
