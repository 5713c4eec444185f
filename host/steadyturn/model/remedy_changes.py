"""What could be changed on a rig that has no band, each change on its own.

Figures of parts one could buy are typical classes (common practice, no source); the motors'
are those of sizing/typical.toml, a test compares them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from steadyturn.model.change import with_value
from steadyturn.model.motor import emf_constant
from steadyturn.rig.types import RPM, Motor, Rig

# what a change asks for, cheapest first
REWIRE, PRINT, SMALL_PART, BUY = range(4)

PETG_C = 75.0  # where PETG begins to soften, from memory
STRONGER = 1.5  # a motor is offered as a stronger one from so many times the strength on
OVERSPEED = 1.3  # times the no-load speed: the fastest that a motor is counted on

# thresholds of small converter boards for a 5 V output, common practice, no source
KINDS: dict[str, dict[str, Any]] = {
    "boost": {"start_v": 2.6, "stop_v": 2.0, "max_in_v": 5.5},
    "buck": {"start_v": 6.5, "stop_v": 4.5, "max_in_v": 24.0},
    "buck_boost": {"start_v": 3.0, "stop_v": 2.4, "max_in_v": 16.0},
}
KIND_WORDS = {"boost": "a step-up (boost)", "buck": "a step-down (buck)",
              "buck_boost": "a step-up/down (buck-boost)"}

# name: rated_v, no_load_rpm, no_load_a, terminal_ohm, max_rpm, max_a
MOTORS: dict[str, tuple[float, float, float, float, float, float]] = {
    "5xx can, 12 V": (12, 6000, 0.2, 2.5, 9000, 1.2),
    "printer motor, 24 V": (24, 5000, 0.08, 4, 7000, 1.0),
    "7xx can, 12 V": (12, 4500, 0.6, 0.7, 8000, 3),
    "servo motor of a big printer, 36 V": (36, 4000, 0.1, 4, 6000, 1.5),
}


@dataclass(frozen=True)
class Change:
    """words: for a maker; cost: REWIRE to BUY; rig: with the change made."""

    words: str
    cost: float
    rig: Rig


def strength(motor: Motor) -> float:
    """E**2 / (4 R) [W] at the fastest it may turn: what a motor can give at most, whatever its
    gears. A low resistance for its EMF constant counts, not volts on a nameplate.

    >>> round(strength(typical("printer motor, 24 V"))), round(strength(typical("5xx can, 12 V")))
    (58, 22)
    """
    k = emf_constant(motor)
    volts, rad_s = motor.rated_v, motor.no_load_rad_s
    free_rad_s = rad_s if rad_s is not None else (volts or k * motor.max_rad_s) / k
    return float((k * min(motor.max_rad_s, OVERSPEED * free_rad_s)) ** 2
                 / (4 * motor.terminal_ohm))


def typical(name: str) -> Motor:
    """A motor of a typical class, see MOTORS.

    >>> typical("7xx can, 12 V").terminal_ohm
    0.7
    """
    volts, rpm, idle_a, ohm, max_rpm, max_a = MOTORS[name]
    return Motor(name=name, rated_v=volts, no_load_rad_s=rpm * RPM, no_load_a=idle_a,
                 terminal_ohm=ohm, max_rad_s=max_rpm * RPM, max_a=max_a)


def groups(rig: Rig) -> list[list[Change]]:
    """Changes that do the same job together, the mildest of each first.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> toy = read_rig(example_path("toy-motor"))
    >>> [group[0].words for group in groups(toy)][0]
    'one motor more in series'
    """
    found = (_motors(rig), _bigger(rig), _draws(rig), _converters(rig), _handles(rig),
             _mount(rig), _diode(rig), _cable(rig))
    return [group for changes in found if (group := list(changes))]


def whole_head(rig: Rig) -> Iterator[Change]:
    """Motors and converter changed together: what remains where nothing less helps.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> toy = read_rig(example_path("toy-motor"))
    >>> next(whole_head(toy)).words
    'one motor more in series, with a step-down (buck) converter, window 4.5-24.0 V'
    """
    for change in (*_motors(rig), *_bigger(rig)):
        for other in _converters(change.rig):
            yield Change(f"{change.words}, with {other.words}", BUY + 1, other.rig)


def _motors(rig: Rig) -> Iterator[Change]:
    bank = rig.bank
    for series, parallel in ((bank.series + 1, bank.parallel), (bank.series, bank.parallel + 1)):
        words = "one motor more in series" if series > bank.series else (
            "one motor more in parallel")
        if (series - bank.series) * bank.parallel > 1 or (parallel - bank.parallel) * series > 1:
            words += " (a whole row)"
        yield Change(words, BUY, replace(rig, bank=replace(bank, series=series,
                                                           parallel=parallel)))
    if bank.series != bank.parallel:
        words = f"the same motors as {bank.parallel} in series, {bank.series} in parallel"
        if bank.parallel == 1:
            words = f"the same {bank.series} motors in parallel, not in series"
        elif bank.series == 1:
            words = f"the same {bank.parallel} motors in series, not in parallel"
        yield Change(words, REWIRE, replace(rig, bank=replace(bank, series=bank.parallel,
                                                              parallel=bank.series)))


def _bigger(rig: Rig) -> Iterator[Change]:
    """Classes that are stronger than the rig's motor, the weakest of them first."""
    least = STRONGER * strength(rig.motor)
    for motor in sorted(map(typical, MOTORS), key=strength):
        if strength(motor) < least:
            continue
        _, rpm, idle_a, ohm, *_ = MOTORS[motor.name]
        words = (f"a stronger motor, such as a {motor.name} ({rpm:g} rpm, {idle_a:g} A idle, "
                 f"{ohm:g} ohm)")
        yield Change(words, BUY, replace(rig, motor=motor))
        if rig.bank.mount_max_c < PETG_C:
            cooler = replace(rig.bank, mount_max_c=PETG_C)
            yield Change(f"{words} on a mount that bears {PETG_C:.0f} degC (PETG)", BUY,
                         replace(rig, motor=motor, bank=cooler))


def _draws(rig: Rig) -> Iterator[Change]:
    if rig.load.kind in ("resistor", "none"):
        return
    for share in (0.8, 0.6, 0.4):  # the less it draws, the longer one has to turn
        amps = rig.load.draw_a * share
        yield Change(f"a device (or cable) that draws {amps:.2f} A in place of "
                     f"{rig.load.draw_a:.2f}", SMALL_PART + 4 * (1 - share),
                     with_value(rig, "load.draw_a", amps))


def _converters(rig: Rig) -> Iterator[Change]:
    for kind, values in KINDS.items():
        if kind != rig.converter.kind:
            part = replace(rig.converter, kind=kind, points=(), **values)
            yield Change(f"{KIND_WORDS[kind]} converter, window {values['stop_v']:.1f}-"
                         f"{values['max_in_v']:.1f} V", BUY, replace(rig, converter=part))


def _handles(rig: Rig) -> Iterator[Change]:
    for longer in (1.25, 1.5, 2.0):
        radius = rig.crank.radius_m * longer
        if radius <= 0.25:
            yield Change(f"a handle of {radius * 1000:.0f} mm in place of "
                         f"{rig.crank.radius_m * 1000:.0f}", PRINT,
                         with_value(rig, "crank.radius_mm", radius))


def _mount(rig: Rig) -> Iterator[Change]:
    if rig.bank.mount_max_c < PETG_C:
        yield Change(f"a mount that bears {PETG_C:.0f} degC (PETG)", PRINT,
                     with_value(rig, "bank.mount_max_c", PETG_C))


def _diode(rig: Rig) -> Iterator[Change]:
    if rig.rectifier.kind == "bridge":
        yield Change("one Schottky diode in place of the bridge (cranking one way only)",
                     SMALL_PART, replace(rig, rectifier=replace(rig.rectifier, kind="schottky")))


def _cable(rig: Rig) -> Iterator[Change]:
    if rig.load.cable_m > 0.3 or rig.load.cable_awg > 24:
        shorter = replace(rig.load, cable_m=min(rig.load.cable_m, 0.3),
                          cable_awg=min(rig.load.cable_awg, 24.0))
        yield Change("a short, thick USB cable (0.3 m, AWG 24)", SMALL_PART,
                     replace(rig, load=shorter))
