"""Gain and offset of the board's volts or amps from a meter beside it.

A corrected reading is gain * r + offset, r being what the sensor reads without correction (one
that is in force is taken out first). The line is fitted to the meter's figures by generalised
least squares: digits and the board's own scatter belong to each point, a range's share of the
reading to all points on that range, so that reading again does not make a better meter. Source:
JCGM 100:2008 (GUM), 5.2 and H.3 (a calibration line), from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import meter as meters
from steadyturn.bench.readings import Meter
from steadyturn.rig.sensors import EVEN, WIDE, Sheet

Floats = NDArray[np.float64]
BOTH, GAIN, OFFSET = "gain and offset", "gain", "offset"
RESISTOR_SHARE = 0.01  # an ordinary metal film resistor; its print
SAME = 0.05  # points nearer than this share of the higher one are one point: practice
CLOSE = 0.4  # and nearer than this too close together to part gain from offset: practice


@dataclass(frozen=True, kw_only=True)
class Point:
    """board: the mean of what it showed [V or A], by the correction in force; scatter: how much
    that wandered while the meter was read, one sigma. meter: what the meter showed [V or A; V
    across `ohm` where a resistor carries the current]. nothing: nothing is connected, so the
    current is none, by no meter. amps, out_v: what the board read beside, where known."""

    board: float
    meter: float
    scatter: float = 0.0
    ohm: float | None = None
    ohm_share: float = RESISTOR_SHARE
    nothing: bool = False
    amps: float | None = None
    out_v: float | None = None

    @property
    def true(self) -> float:
        """What the meter says of the quantity."""
        return self.meter if self.ohm is None else self.meter / self.ohm


@dataclass(frozen=True)
class Line:
    """A correction: gain (a factor) and offset [V or A], and the covariance of their errors."""

    gain: float = 1.0
    offset: float = 0.0
    covariance: tuple[float, float, float] = (0.0, 0.0, 0.0)  # of gain, of both, of offset

    def at(self, read: float) -> float:
        return self.gain * read + self.offset

    def read(self, shown: float) -> float:
        """What the sensor reads where this line shows `shown`."""
        return (shown - self.offset) / self.gain

    def half_width(self, shown: float) -> float:
        """95 %, of a corrected reading."""
        read = self.read(shown)
        gain, both, offset = self.covariance
        return WIDE * math.sqrt(max(read * read * gain + 2 * read * both + offset, 0.0))


@dataclass(frozen=True)
class Found:
    """line: the correction. fitted: BOTH, GAIN or OFFSET; why: why not both, "" (else "one_point",
    "close", "coarse": the meter's last place hides an offset, "zero_only", "gain_coarse": the
    meter knows the gain less well). left: meter less
    line of each point; sigma: of each. chance: that points on a line scatter so much, None with
    none to spare. lowest, highest: of what was read, as shown with the line."""

    line: Line
    fitted: str
    why: str
    left: tuple[float, ...]
    sigma: tuple[float, ...]
    chance: float | None
    lowest: float
    highest: float

    @property
    def gain_half(self) -> float:
        return WIDE * math.sqrt(self.line.covariance[0])

    @property
    def offset_half(self) -> float:
        return WIDE * math.sqrt(self.line.covariance[2])


def fit(points: tuple[Point, ...], unit: str, meter: Meter, sheet: Sheet, in_force: Line) -> Found:
    """The line through the points. sheet: of the sensor, which stands in for what they do not
    tell. in_force: the correction that `board` was shown by; what is not fitted stays as there.

    At least one point; ValueError where all of them say nothing (nothing connected counts).
    """
    read = np.array([in_force.read(p.board) for p in points])
    true = np.array([0.0 if p.nothing else p.true for p in points])
    if not np.all(np.isfinite(np.concatenate([read, true]))):
        raise ValueError("points must be numbers")
    covariance = _covariance(points, read, true, unit, meter, sheet)
    beyond = [i for i, p in enumerate(points) if not p.nothing and read[i] > 0]
    if not beyond:
        line, why = _offset(read, true, covariance, sheet, in_force), "zero_only"
        return _found(line, OFFSET, why, points, read, true, covariance)
    line = _gain(read, true, covariance, sheet, in_force)
    spread = (max(read) - min(read)) / max(read)
    if spread <= SAME:
        return _found(line, GAIN, "one_point", points, read, true, covariance)
    both = _both(read, true, covariance)
    reach = WIDE * math.sqrt(both.covariance[2])
    known = _known_offset(sheet, in_force)
    if reach <= known or abs(both.offset - in_force.offset) > math.hypot(reach, known):
        far, near = WIDE * math.sqrt(both.covariance[0]), _known_gain(sheet, in_force)
        if reach <= known and far > near and abs(both.gain - in_force.gain) <= math.hypot(
                far, near):
            line = _offset(read, true, covariance, sheet, in_force)
            return _found(line, OFFSET, "gain_coarse", points, read, true, covariance)
        return _found(both, BOTH, "", points, read, true, covariance)
    why = "close" if spread < CLOSE else "coarse"
    return _found(line, GAIN, why, points, read, true, covariance)


def _covariance(points: tuple[Point, ...], read: Floats, true: Floats, unit: str, meter: Meter,
                sheet: Sheet) -> Floats:
    """Of the points' errors, all of them moved to the meter's side."""
    count = len(points)
    found = np.zeros((count, count))
    shared: dict[str, Floats] = {}
    for i, p in enumerate(points):
        found[i, i] = p.scatter**2 + sheet.step**2 / 12  # it reads in steps
        if p.nothing:
            continue
        own_unit = "V" if p.ohm is not None else unit
        scale = 1.0 if p.ohm is None else 1 / p.ohm
        found[i, i] += (scale * meters.digit_error(meter, p.meter, own_unit)) ** 2
        share = meter.percent if own_unit == "V" else meter.amp_percent
        names = {f"{meters.full_scale(meter, p.meter, own_unit):g} {own_unit}": share}
        if p.ohm is not None:
            names[f"{p.ohm:g} ohm"] = p.ohm_share
        for name, own in names.items():
            pull = shared.setdefault(name, np.zeros(count))
            pull[i] = true[i] * own / meters.SIGMAS
    for pull in shared.values():
        found += np.outer(pull, pull)
    return found


def _both(read: Floats, true: Floats, covariance: Floats) -> Line:
    design = np.column_stack([read, np.ones(len(read))])
    weight = _inverse(covariance)
    normal = design.T @ weight @ design
    solved = _inverse(normal)
    gain, offset = solved @ design.T @ weight @ true
    return Line(float(gain), float(offset),
                (float(solved[0, 0]), float(solved[0, 1]), float(solved[1, 1])))


def _inverse(matrix: Floats) -> Floats:
    """Of a symmetric one; what figures beyond all sense make singular is left out."""
    return np.asarray(np.linalg.pinv(matrix, hermitian=True), dtype=np.float64)


def _known_offset(sheet: Sheet, in_force: Line) -> float:
    """95 % half-width of the offset before any reading."""
    own = WIDE * math.sqrt(in_force.covariance[2])
    return own or WIDE / EVEN * math.hypot(sheet.offset, sheet.step / 2)


def _gain(read: Floats, true: Floats, covariance: Floats, sheet: Sheet, in_force: Line) -> Line:
    """The offset stays; what is not known of it is an error that all points share."""
    stays = (_known_offset(sheet, in_force) / WIDE) ** 2
    weight = _inverse(covariance + stays)
    own = read @ weight
    pulls = own / (own @ read)  # gain = pulls . (true - offset)
    variance = float(pulls @ (covariance + stays) @ pulls)
    both = -float(pulls.sum()) * stays
    return Line(float(pulls @ (true - in_force.offset)), in_force.offset, (variance, both, stays))


def _known_gain(sheet: Sheet, in_force: Line) -> float:
    """95 % half-width of the gain before any reading."""
    return WIDE * math.sqrt(in_force.covariance[0]) or WIDE / EVEN * sheet.share


def _offset(read: Floats, true: Floats, covariance: Floats, sheet: Sheet, in_force: Line) -> Line:
    """The gain stays; what is not known of it is an error that grows with the reading."""
    stays = (_known_gain(sheet, in_force) / WIDE) ** 2
    wide = covariance + stays * np.outer(read, read)
    pulls = _inverse(wide).sum(axis=0)
    pulls = pulls / pulls.sum()
    return Line(in_force.gain, float(pulls @ (true - in_force.gain * read)),
                (stays, -float(pulls @ read) * stays, float(pulls @ wide @ pulls)))


def _found(line: Line, fitted: str, why: str, points: tuple[Point, ...], read: Floats,
           true: Floats, covariance: Floats) -> Found:
    left = true - np.array([line.at(r) for r in read.tolist()])
    spare = len(points) - (2 if fitted == BOTH else 1)
    chance = None
    if spare > 0:
        from scipy.special import chdtrc

        wide = covariance.copy()
        if fitted == GAIN:
            wide += line.covariance[2]
        elif fitted == OFFSET:
            wide += line.covariance[0] * np.outer(read, read)
        square = float(left @ _inverse(wide) @ left)
        chance = float(chdtrc(spare, square))
    shown = [line.at(r) for r in read.tolist()]
    return Found(line, fitted, why, tuple(map(float, left)),
                 tuple(np.sqrt(np.diag(covariance)).tolist()), chance, min(shown), max(shown))


# ---- as the settings keep it


@dataclass(frozen=True)
class Kept:
    """gain_ppm, offset_milli: whole numbers; within_ppm, within_micro: 95 % half-widths of a
    corrected reading, of it and besides."""

    gain_ppm: int
    offset_milli: int
    within_ppm: int
    within_micro: int

    def half_width(self, shown: float) -> float:
        return math.hypot(self.within_ppm / 1e6 * shown, self.within_micro / 1e6)


def rounded(found: Found, lowest: float, highest: float) -> Kept:
    """In whole numbers: the offset is rounded, the gain then turned so that the line still goes
    through the highest point. What is kept of the interval is nowhere narrower than it, with what
    the rounding moved, from `lowest` to `highest` [V or A, 0 <= lowest < highest]."""
    line = found.line
    offset = round(1000 * line.offset) / 1000
    pivot = line.read(found.highest)
    gain = line.gain
    if found.fitted != OFFSET and pivot > 0:
        gain += (line.offset - offset) / pivot
    kept = replace(line, gain=gain, offset=offset)
    grid = np.linspace(lowest, highest, 9).tolist()
    wide = [line.half_width(v) + abs(kept.at(line.read(v)) - v) for v in grid]
    share, besides = _split(lowest, wide[0], highest, wide[-1])
    most = max(w / max(math.hypot(share * v, besides), 1e-12)
               for v, w in zip(grid, wide, strict=True))
    return Kept(round(1e6 * gain), round(1000 * offset), math.ceil(1e6 * share * most),
                math.ceil(1e6 * besides * most))


def _split(low: float, low_wide: float, high: float, high_wide: float) -> tuple[float, float]:
    """(share, besides) whose root of squares is low_wide at low and high_wide at high."""
    square = (high_wide**2 - low_wide**2) / (high**2 - low**2)
    if square <= 0:
        return 0.0, max(low_wide, high_wide)
    besides = low_wide**2 - square * low**2
    if besides <= 0:
        return max(high_wide / high, low_wide / low if low else 0.0), 0.0
    return math.sqrt(square), math.sqrt(besides)
