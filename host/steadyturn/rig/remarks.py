"""What is worth a second look in a rig that can be used as it stands."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from steadyturn.rig import sensors
from steadyturn.rig.likely import GEARED_RPM
from steadyturn.rig.types import PARTS, RPM, Rig, Stage, specs
from steadyturn.rig.units import plain

# where values of small motors and gears lie that have no typical one; file units.
# Common practice, no source.
_LIKELY: dict[str, tuple[float, float]] = {
    "motor.terminal_ohm": (0.3, 50), "motor.rated_v": (1.5, 48),
    "motor.no_load_rpm": (500, 25_000), "motor.emf_v_per_krpm": (0.15, 40),
    "load.capacity_wh": (1, 500), "stage.ratio": (0.2, 15),
}


@dataclass(frozen=True, slots=True)
class Remark:
    """key: as in the file; text: what was noticed; how: what can be done."""

    key: str
    text: str
    how: str = ""


def remarks(rig: Rig) -> list[Remark]:
    """Everything worth a second look, in the order of the file."""
    return [remark for rule in RULES for remark in rule(rig)]


def unit_slips(rig: Rig) -> Iterator[Remark]:
    """A value far from its class that would fit in the next larger or smaller unit."""
    rows = [(f"{name}.{s.key}", name, s) for name, cls in PARTS.items()
            for s in specs(cls).values()]
    rows += [(f"stage[{i}].{s.key}", "stage", s) for i in range(1, len(rig.stages) + 1)
             for s in specs(Stage).values()]
    for key, section, spec in rows:
        origin = rig.origins.get(key)
        likely = _LIKELY.get(f"{section}.{spec.key}")
        if likely is None and spec.typical is not None:
            likely = (spec.typical[0] / 5, spec.typical[2] * 5)
        if origin is None or origin.kind == "assumed" or likely is None or not spec.unit:
            continue
        value = origin.value / spec.scale
        if value <= 0 or likely[0] <= value <= likely[1]:
            continue
        for factor in (1000, 0.001):
            if likely[0] <= value * factor <= likely[1]:
                yield Remark(
                    key, f"{plain(value)} {spec.unit} is unusual (most have {plain(likely[0])} "
                    f"to {plain(likely[1])}); {plain(value * factor)} {spec.unit} would fit.",
                    spec.how or "Mind the unit the meter shows.")
                break


def two_constants(rig: Rig) -> Iterator[Remark]:
    m = rig.motor
    if m.emf_v_s is None or m.rated_v is None or m.no_load_rad_s is None:
        return
    plate = (m.rated_v - m.no_load_a * m.terminal_ohm - m.brush_drop_v) / m.no_load_rad_s
    apart = m.emf_v_s / plate - 1
    if abs(apart) > 0.25:
        per_krpm = 1000 * 2 * math.pi / 60
        yield Remark(
            "motor.emf_v_per_krpm",
            f"{m.emf_v_s * per_krpm:.3g} V per 1000 rpm, but the nameplate says "
            f"{plate * per_krpm:.3g}: {abs(apart):.0%} {'more' if apart > 0 else 'less'}. "
            "The measured one is used.",
            "Check the drill's speed under load and the nameplate's no-load speed.")


def gearbox(rig: Rig) -> Iterator[Remark]:
    """A motor with a gearbox of its own: slow at its shaft, or called so."""
    m = rig.motor
    slow = m.no_load_rad_s is not None and m.no_load_rad_s < GEARED_RPM * RPM
    if not slow and "gear" not in m.name.lower():
        return
    key = "motor.no_load_rpm" if slow else "motor.name"
    yield Remark(
        key, "a motor with a gearbox: turned from its shaft it may go hard or not at all (a worm "
        "gear never does), and then it rubs far more than no_load_a tells. max_rpm is of the "
        "gearbox's shaft.",
        "Turn that shaft by hand first. Then, nothing connected: the weight at the grip that "
        "keeps the handle turning, times radius and 9.81, is friction_nm in [crank].")


def unequal_motors(rig: Rig) -> Iterator[Remark]:
    if rig.bank.parallel > 1 and not rig.bank.diode_each:
        yield Remark("bank.diode_each", "motors in parallel that are not quite equal drive "
                     "current round each other even with nothing connected.",
                     "Give each its own diode: diode_each = true")


def enable_only(rig: Rig) -> Iterator[Remark]:
    if rig.switch.place == "enable":
        beside = ("" if rig.converter.isolates else
                  " This one does not: its output follows its input when it is released.")
        yield Remark("switch.place", "enable isolates only a converter that truly disconnects "
                     f"when disabled.{beside}",
                     "A switch of its own, bus_switch or output_switch, disconnects any.")


def sensor_range(rig: Rig) -> Iterator[Remark]:
    s, c = rig.sensor, rig.converter
    full_v = sensors.full_scale_v(s)
    most_a = full_v / s.shunt_ohm
    origin = rig.origins.get("converter.input_limit_a")
    guessed = origin is not None and origin.kind == "assumed" and origin.low <= most_a
    if most_a < c.in_limit_a and not guessed:  # a guess alone is no reason for another shunt
        yield Remark(
            "sensor.shunt_mohm",
            f"the {sensors.name(s)} reads to {most_a:.3g} A with this shunt; the converter may "
            f"take {c.in_limit_a:.3g} A (input_limit_a). Above that the current is a bound.",
            f"A shunt of {1000 * full_v / c.in_limit_a:.3g} mohm or less reads "
            "all of it.")
    elif most_a > 40 * c.in_limit_a:
        yield Remark("sensor.shunt_mohm", f"with this shunt the sensor reads to {most_a:.3g} A; "
                     f"{c.in_limit_a:.3g} A uses little of it, so currents are coarse.",
                     "A larger shunt reads finer.")


def alert(rig: Rig) -> Iterator[Remark]:
    if rig.sensor.chip == "ina226" and not rig.sensor.alert:
        yield Remark("sensor.alert_wired", "the INA226's alert pin can release the load without "
                     "the firmware; it is not wired.",
                     "One wire from ALERT to the alert pin and the switch.")


def clamp_power(rig: Rig) -> Iterator[Remark]:
    p = rig.protection
    if p.bus_clamp_v is not None and p.bus_clamp_w is None:
        yield Remark("protection.bus_clamp_v", "how many watts the clamp bears is not said "
                     "(bus_clamp_w).", "Printed on it or in its data sheet; a Zener alone has "
                     "0.5-5 W, with a transistor more.")


def device_headroom(rig: Rig) -> Iterator[Remark]:
    load, c = rig.load, rig.converter
    if load.kind in ("phone", "power_bank", "lantern") and c.out_v < load.sag_v:
        yield Remark("converter.out_v", f"below load.sag_v ({plain(load.sag_v)} V) the "
                     f"{load.kind} draws less than draw_a even before the cable.",
                     "Set the converter to 5.0-5.2 V with nothing connected.")


RULES: tuple[Callable[[Rig], Iterator[Remark]], ...] = (
    unit_slips, two_constants, gearbox, unequal_motors, enable_only, sensor_range, alert,
    clamp_power, device_headroom,
)
