"""The parts of a rig as frozen dataclasses (source and output parts in files of their own).

Values are held in SI units (paces in turns per minute, temperatures in degC, as
their names say). Each field's metadata carries a `Spec`: its key and unit in the
rig file, the range that is accepted there, what is assumed when it is left out
and why, and how a person can measure it. `rig.file` reads and checks by these
specs; nothing else repeats a range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from steadyturn.rig.parts_band import Kept
from steadyturn.rig.parts_output import (
    Bus,
    Converter,
    EfficiencyPoint,
    Load,
    Protection,
    Supply,
    Switch,
)
from steadyturn.rig.parts_source import Bank, Crank, Motor, Rectifier, Stage
from steadyturn.rig.parts_train import Gears
from steadyturn.rig.spec import (
    MEMORY,
    PRACTICE,
    RPM,
    Kind,
    Origin,
    Spec,
    choice,
    color,
    flag,
    number,
    specs,
    text,
    whole,
)

__all__ = [
    "PARTS", "RPM", "Air", "Arm", "Bank", "Board", "Bus", "Converter", "Crank", "EfficiencyPoint",
    "Gears", "Kept", "Kind", "Load", "Motor", "Origin", "Protection", "Rectifier", "Rig", "Sensor",
    "Spec", "Stage", "Supply", "Switch", "specs",
]

# ------------------------------------------------------------- the person, the place


@dataclass(frozen=True, kw_only=True)
class Arm:
    """`power_w`: kept for ten minutes. Left out, `arms` and `age_years` scale what is assumed."""

    power_w: float = number("power_w", "W", 2, 300, typical=(10, 20, 30), source="10-30 W for "
                            "minutes, one hand, untrained: engineering judgement, " + MEMORY,
                            how="Crank ten minutes under load, as much as you would do again at "
                            "once; 'steadyturn predict RIG --pace N' says what that was.")
    arms: str = choice("arms", ("one", "two"), default="one")
    age_years: float | None = number("age_years", "years", 10, 95, optional=True, source="Krendel")
    force_n: float = number("force_n", "N", 2, 200, typical=(22, 35, 45),
                            source="crank of 12.5-20 cm: 22-45 N; Ivergard & Hunt 5.3.4")
    comfort_low_tpm: float = number("comfort_low_tpm", "turns/min", 5, 200, typical=(30, 40, 50),
                                    source=PRACTICE, how="Crank for ten minutes under load: the "
                                    "slowest pace that still feels round.")
    comfort_high_tpm: float = number(
        "comfort_high_tpm", "turns/min", 10, 300, typical=(80, 90, 100),
        source="freely chosen near 80: pmid 17454538; 70-80 best: Smith, Price & Doherty 2001",
        how="Crank for ten minutes under load: the fastest pace you would keep up.")
    droop_nm_s: float = number("droop_nm_per_rad_s", "N m per rad/s", 0.01, 20,
                               typical=(0.3, 0.8, 2), source="assumption")
    ripple: float = number("ripple_percent", "%", 0, 100, scale=0.01, typical=(10, 25, 50),
                           source="assumption")
    reaction_s: float = number("reaction_ms", "ms", 50, 3000, scale=1e-3,
                               typical=(200, 400, 700), source="assumption")


@dataclass(frozen=True, kw_only=True)
class Air:
    cold_c: float = number("cold_c", "degC", -40, 40, typical=(-10, 5, 15), source=PRACTICE,
                          how="The coldest place you will crank in.")
    hot_c: float = number("hot_c", "degC", 0, 60, typical=(25, 30, 40), source=PRACTICE,
                         how="The warmest place you will crank in.")


# ------------------------------------------------------------------------ the board


@dataclass(frozen=True, kw_only=True)
class Sensor:
    chip: str = choice("chip", ("ina226", "ina219", "ina3221", "adc"), default="ina226")
    address: int = whole("address", 0x08, 0x77, default=0x40)
    shunt_ohm: float = number("shunt_mohm", "mohm", 0.5, 1000, scale=1e-3,
                              typical=(50, 50, 50), source=PRACTICE,
                              how="Printed on the shunt: R050 is 50 mohm, R100 is 100.")
    out_shunt_ohm: float | None = number(
        "out_shunt_mohm", "mohm", 0.5, 1000, scale=1e-3, optional=True,
        how="The shunt of an INA3221's second channel, between the converter's output and all "
        "that follows: then what goes out is measured.")
    amplifier: float | None = number(
        "amplifier_gain", "", 1, 500, optional=True,
        how="Volts out per volt over the shunt, from its data sheet (often 20, 50, 100 or 200).")
    amplifier_zero_v: float | None = number(
        "amplifier_zero_v", "V", 0, 3, optional=True,
        how="What the amplifier gives without current; left out: nothing.")
    alert: bool = flag("alert_wired", default=False)
    turn_pulses: int | None = whole(
        "turn_pulses", 1, 24, optional=True,
        how="Magnets on the handle's shaft that pass a reed contact or Hall switch at the "
        "board's turn_pin; left out: there is none, and the pace comes from the volts alone.")
    divider: float = number("divider", "", 1, 100, typical=(11, 11, 11), source=PRACTICE,
                            how="(R_top + R_bottom) / R_bottom of the two resistors to the ADC.")


@dataclass(frozen=True, kw_only=True)
class Board:
    kind: str = choice("kind", ("pico", "pico_w", "pico2", "esp32_s3", "esp32_c3", "other"),
                       default="pico")
    label: str = text("label", 24, default="")
    lamp: str = choice("lamp", ("led", "two_led", "rgb", "piezo", "vibration"), default="led")
    brightness: float = number("lamp_percent", "%", 1, 100, scale=0.01, typical=(60, 60, 60),
                               source=PRACTICE)
    lamp_active_low: bool = flag("lamp_active_low", default=False)
    more_rgb: int = color("more_rgb", 0x002B72)
    enough_rgb: int = color("enough_rgb", 0x00572C)
    much_rgb: int = color("much_rgb", 0xCA5800)
    danger_rgb: int = color("danger_rgb", 0xAA1D00)
    wrong_rgb: int = color("wrong_rgb", 0x808080)
    watchdog: bool = flag("watchdog", default=True)
    pins: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Rig:
    """The whole machine. `origins` maps "part.key" (a stage: "stage[1].key", from 1;
    keys as in the file) to where that number comes from."""

    name: str
    motor: Motor
    bank: Bank
    stages: tuple[Stage, ...]
    crank: Crank
    rectifier: Rectifier
    bus: Bus
    converter: Converter
    switch: Switch
    protection: Protection
    supply: Supply
    load: Load
    arm: Arm
    air: Air
    sensor: Sensor
    board: Board
    gears: Gears = field(default_factory=Gears)
    band: Kept = field(default_factory=Kept)
    note: str = ""
    origins: Mapping[str, Origin] = field(default_factory=dict)


# section in the file -> part class; `stage` is an array of tables, `converter.points` another
PARTS: dict[str, type[Any]] = {
    "motor": Motor, "bank": Bank, "crank": Crank, "rectifier": Rectifier, "bus": Bus,
    "converter": Converter, "switch": Switch, "protection": Protection, "supply": Supply,
    "load": Load, "arm": Arm, "air": Air, "sensor": Sensor, "board": Board,
    "gears": Gears, "band": Kept,
}
