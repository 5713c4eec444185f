"""Two machines side by side: what the change brings, and what else must change with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

import numpy as np
from steadyturn_fw import patterns

from steadyturn.circuit.checks import Finding, findings
from steadyturn.circuit.values import design
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.model import arm, gears
from steadyturn.model.band import Band, find_band
from steadyturn.model.point import operate
from steadyturn.model.remedies import ENOUGH_TPM, Remedy, remedies
from steadyturn.model.thermal import settled_c
from steadyturn.rig import sensors
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.sizing.weigh import weigh

SAFE = 0.95  # of the sensor's range, as settings.thresholds
NARROWED = 0.6  # of the old band's width: from there on other gears are worth a look
MOST_REMEDIES = 3
# what `bench` measures of a motor, and the keys that tell it
CONSTANTS = {"volts per turn": ("emf_v_per_krpm", "no_load_rpm"),
             "ohms": ("terminal_ohm",), "idle current": ("no_load_a",),
             "brush drop": ("brush_drop_v",)}


@dataclass(frozen=True)
class Machine:
    """One of the two. motors: how many of which; beat_per_min: of the lamp's `faster`,
    flashes_per_turn at the target; the figures at the target with the winding at 20 degC, None
    where there is no band. works_share: of builds within the ranges of what is measured, given
    and assumed; sure_...: the paces that work for 95 % of them, arm_w_per_w_range: of those that
    work, 2.5 to 97.5 %; None: none. most_a: into the converter anywhere in the band, range_a:
    what the sensor reads with its shunt."""

    motors: str
    ratio: float
    efficiency: float
    converter: str
    start_v: float
    window_v: tuple[float, float]
    low_tpm: float | None
    target_tpm: float | None
    high_tpm: float | None
    low_limit: str
    high_limit: str
    open_circuit_v: float
    open_at_target_v: float | None
    bus_v: float | None
    motor_a: float | None
    bus_a: float | None
    crank_nm: float | None
    force_n: float | None
    arm_w: float | None
    out_w: float | None
    arm_w_per_w: float | None
    works_share: float
    sure_low_tpm: float | None
    sure_high_tpm: float | None
    arm_w_per_w_range: tuple[float, float] | None
    beat_per_min: float | None
    flashes_per_turn: float | None
    most_a: float | None
    range_a: float
    assumed_count: int

    @property
    def width_tpm(self) -> float:
        return 0.0 if self.low_tpm is None or self.high_tpm is None else (
            self.high_tpm - self.low_tpm)


@dataclass(frozen=True)
class Must:
    """Something that has to change, or be made anew, by hand. before, after: in words, "" where
    there is nothing to set beside; how: what to do."""

    what: str
    before: str
    after: str
    why: str
    how: str


@dataclass(frozen=True)
class Compared:
    """musts: what has to change with it. remedies: where the new band is empty or poor, what
    makes one, mildest first. hazards: of the new machine; hazards_before: of the old one;
    new_hazards: names of those that it had not. dangerous: one of them makes `check` refuse the
    rig. circuit: calculations of the power path that hold no longer. unsettable: why no board can
    be set to the new machine, how_settable: what to do; "" where it can. settings_...: what a
    board gets, None where none can be made."""

    before: Machine
    after: Machine
    musts: tuple[Must, ...]
    remedies: tuple[Remedy, ...]
    clash: tuple[str, str] | None
    hazards: tuple[Hazard, ...]
    hazards_before: tuple[Hazard, ...]
    new_hazards: tuple[str, ...]
    dangerous: bool
    circuit: tuple[Finding, ...]
    unsettable: str
    how_settable: str
    settings_before: Mapping[str, int | str] | None
    settings_after: Mapping[str, int | str] | None


def compare(old: Rig, new: Rig, band: Band) -> Compared:
    """band: of the new one. A few seconds where its band is empty or poor."""
    was = find_band(old, deep=False)
    before, after = machine(old, was), machine(new, band)
    hazards, hazards_before = hazards_of(new, band), hazards_of(old, was)
    known = {h.name for h in hazards_before}
    poor = after.width_tpm < max(ENOUGH_TPM, NARROWED * before.width_tpm)
    helps = tuple(r for r in remedies(new) if r.high_tpm - r.low_tpm > after.width_tpm) if (
        poor) else ()
    settings, unsettable, how = _settings(new, band)
    return Compared(
        before, after, tuple(_musts(old, new, before, after)), helps[:MOST_REMEDIES], band.clash,
        hazards, hazards_before, tuple(h.name for h in hazards if h.name not in known),
        any(h.refuses for h in hazards), _circuit(old, was, new, band), unsettable, how,
        _settings(old, was)[0], settings)


def another_motor(old: Rig, new: Rig) -> bool:
    """Whether it is another one, and not the same measured anew."""
    return any(getattr(old.motor, name) != getattr(new.motor, name)
               for name in ("name", "rated_v", "no_load_rad_s", "max_rad_s", "max_a"))


def machine(rig: Rig, band: Band) -> Machine:
    """The figures of a rig and its band."""
    at, target, high = band.at_target, band.target_tpm, band.high_tpm
    low_limit, high_limit = band.clash or ("", "")
    if band.low_tpm is not None and high is not None:
        low_limit, high_limit = (next(
            (x.name for x in band.limits if x.side == side and abs(x.pace_tpm - edge) < 1e-3), "")
            for side, edge in (("low", band.low_tpm), ("high", high)))
    beat_ms = None if target is None else patterns.beat_ms(round(10 * target))
    figures = {name: None if at is None else float(getattr(at, name))
               for name in ("bus_v", "motor_a", "bus_a", "crank_nm", "arm_w", "out_w")}
    out_w, arm_w = figures["out_w"], figures["arm_w"]
    (builds,) = weigh(rig, ())
    least, _, most = builds.arm_w_per_w
    return Machine(
        motors=_motors(rig), ratio=gears.ratio(rig.stages),
        efficiency=gears.efficiency(rig.stages), converter=rig.converter.kind,
        start_v=rig.converter.start_v, window_v=band.window_v,
        low_tpm=band.low_tpm, target_tpm=target, high_tpm=high,
        low_limit=low_limit, high_limit=high_limit, open_circuit_v=band.open_circuit_v,
        open_at_target_v=None if at is None else float(at.idle_v),
        force_n=None if at is None else float(arm.force_n(rig, at.crank_nm)),
        arm_w_per_w=arm_w / out_w if arm_w and out_w else None,
        works_share=builds.works_share, sure_low_tpm=builds.sure_low_tpm,
        sure_high_tpm=builds.sure_high_tpm,
        arm_w_per_w_range=(least, most) if isfinite(least) and isfinite(most) else None,
        beat_per_min=None if beat_ms is None else 60_000 / beat_ms,
        flashes_per_turn=None if beat_ms is None or target is None else 60_000 / target / beat_ms,
        most_a=_most_a(rig, band), range_a=sensors.full_scale_v(rig.sensor) / rig.sensor.shunt_ohm,
        assumed_count=sum(o.kind == "assumed" for o in rig.origins.values()), **figures)


def _motors(rig: Rig) -> str:
    series, parallel, name = rig.bank.series, rig.bank.parallel, rig.motor.name
    if series * parallel == 1:
        return f"1 x {name}"
    joined = ("in series" if parallel == 1 else "in parallel" if series == 1 else
              f"{parallel} rows of {series}")
    return f"{series * parallel} x {name}, {joined}"


def _most_a(rig: Rig, band: Band) -> float | None:
    """The most that flows into the converter in the band [A], hot or cold."""
    if band.low_tpm is None or band.high_tpm is None:
        return None
    pace = np.linspace(band.low_tpm, band.high_tpm, 25)
    windings = (settled_c(rig, pace, rig.air.hot_c)[0], np.full(25, rig.air.cold_c))
    return float(max(np.nanmax(operate(rig, pace, winding_c=c).bus_a) for c in windings))


def _settings(rig: Rig, band: Band) -> tuple[Mapping[str, int | str] | None, str, str]:
    """What a board gets; or why it cannot be set, and what to do."""
    try:
        return build(rig, band), "", ""
    except Failed as failed:
        return None, failed.what, failed.how
    except WrongInput as wrong:
        return None, "; ".join(f"{p.key} {p.value}: {p.right}" for p in wrong.problems), (
            wrong.problems[0].how)


def _circuit(old: Rig, was: Band, new: Rig, band: Band) -> tuple[Finding, ...]:
    """Calculations of the power path that held before and no longer do."""
    held = {one.name for one in findings(old, design(old, was.low_tpm, was.high_tpm)) if one.ok}
    return tuple(one for one in findings(new, design(new, band.low_tpm, band.high_tpm))
                 if not one.ok and one.name in held)


# ------------------------------------------------------------------ what else must change


def _musts(old: Rig, new: Rig, before: Machine, after: Machine) -> list[Must]:
    found = [*_shunt(new, after), *_lamp(before, after)]
    if another_motor(old, new) or new.bank.series * new.bank.parallel != (
            old.bank.series * old.bank.parallel):
        found.append(Must("pinion and mount", before.motors, after.motors,
                          "each motor has its own shaft, screws and place at the wheel",
                          "'steadyturn gears' prints them; measure shaft and can with calipers "
                          "into [gears]"))
    if gears.ratio(new.stages) != gears.ratio(old.stages):
        found.append(Must("gear train", f"1:{before.ratio:.4g}", f"1:{after.ratio:.4g}",
                          "the wheels make the ratio", "'steadyturn gears' finds and prints it"))
        if any(key.endswith("efficiency") and o.kind == "measured"
               for key, o in new.origins.items() if key.startswith("stage[")):
            found.append(Must("gears' efficiency", f"{before.efficiency:.2f}", "",
                              "it was measured with the old wheels and is taken over",
                              "measure it anew: 'steadyturn bench RIG'"))
    if new.converter != old.converter:
        found.append(Must(
            "converter", _window(before), _window(after), "its thresholds are those of the new "
            "one's data sheet or class", "set its output, and measure where it starts and stops, "
            "before a phone is connected (hardware/README.md)"))
    guessed = [words for words, keys in CONSTANTS.items() if _guessed(new, keys)]
    if guessed and another_motor(old, new):
        found.append(Must(
            "the motor's constants", "", f"{', '.join(guessed)} assumed",
            "a typical class or a gap in the file is a guess: the band may lie elsewhere",
            "'steadyturn bench --motor NAME' measures them with a multimeter"))
    return found


def _window(one: Machine) -> str:
    low, high = one.window_v
    return f"{one.converter.replace('_', '-')}, starts at {one.start_v:.1f} V, window " \
           f"{low:.1f}-{high:.1f} V"


def _guessed(rig: Rig, keys: tuple[str, ...]) -> bool:
    """Whether none of what tells a constant was given or measured."""
    origins = [rig.origins.get(f"motor.{key}") for key in keys]
    return all(one is None or one.kind == "assumed" for one in origins)


def _shunt(rig: Rig, after: Machine) -> list[Must]:
    if after.most_a is None or SAFE * after.range_a >= 1.05 * after.most_a:
        return []
    most_mohm = 770 * SAFE * sensors.full_scale_v(rig.sensor) / after.most_a
    return [Must("shunt", f"{1000 * rig.sensor.shunt_ohm:.0f} mohm, reads to "
                 f"{after.range_a:.2f} A", f"at most {most_mohm:.0f} mohm",
                 f"in the band the converter draws up to {after.most_a:.2f} A",
                 "fit it, write it as shunt_mohm in [sensor], then retune")]


def _lamp(before: Machine, after: Machine) -> list[Must]:
    if not before.flashes_per_turn or not after.flashes_per_turn:
        return []
    old, new = round(before.flashes_per_turn, 1), round(after.flashes_per_turn, 1)
    if old == new:
        return []
    return [Must("the lamp's beat", _beat(old), _beat(new),
                 f"{after.target_tpm:.0f} turns/min need another rhythm than "
                 f"{before.target_tpm:.0f}", "tell whoever cranks; the board does it by itself")]


def _beat(per_turn: float) -> str:
    return {0.5: "a flash every other turn", 1.0: "a flash a turn",
            2.0: "two flashes a turn"}.get(per_turn, f"{per_turn:g} flashes a turn")
