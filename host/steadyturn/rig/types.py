"""The parts of a rig as frozen dataclasses.

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

from steadyturn.rig.spec import (
    MEMORY,
    PRACTICE,
    RPM,
    Kind,
    Origin,
    Spec,
    choice,
    flag,
    number,
    specs,
    text,
    whole,
)

__all__ = [
    "PARTS", "RPM", "Air", "Arm", "Bank", "Board", "Bus", "Converter", "Crank", "EfficiencyPoint",
    "Kind", "Load", "Motor", "Origin", "Protection", "Rectifier", "Rig", "Sensor", "Spec",
    "Stage", "Supply", "Switch", "specs",
]

# ---------------------------------------------------------------- making volts

_NAMEPLATE = "Read the nameplate or the seller's data, or measure it: run the motor from a supply."
_OHM = (
    "Hold the shaft still, read the ohms at several shaft positions, and subtract what the "
    "meter shows with its leads touching."
)


@dataclass(frozen=True, kw_only=True)
class Motor:
    """One brushed permanent-magnet motor, from its nameplate or from measured constants.

    Either `rated_v` and `no_load_rad_s`, or `emf_v_s` is needed; with both, the
    measured EMF constant wins and the nameplate is only compared with it.
    """

    name: str = text("name", 48, default="motor")
    rated_v: float | None = number("rated_v", "V", 0.5, 60, optional=True, how=_NAMEPLATE)
    no_load_rad_s: float | None = number(
        "no_load_rpm", "rpm", 100, 60_000, scale=RPM, optional=True, how=_NAMEPLATE
    )
    no_load_a: float = number(
        "no_load_a", "A", 0.001, 10, typical=(0.02, 0.1, 0.4), source=MEMORY,
        how="Run the motor with nothing on its shaft and read the current.",
    )
    terminal_ohm: float = number("terminal_ohm", "ohm", 0.05, 300, how=_OHM)
    emf_v_s: float | None = number(
        "emf_v_per_krpm", "V per 1000 rpm", 0.05, 200, scale=1 / (1000 * RPM), optional=True,
        how="Spin the shaft with a drill of known speed, nothing connected, and read the volts.",
    )
    brush_drop_v: float = number(
        "brush_drop_v", "V", 0, 2.5, typical=(0.05, 0.2, 1.0), source=MEMORY,
        how="Both brushes together. At one steady pace read the volts at several currents and "
        "draw them: where the straight part, drawn on to no current, stands below the "
        "unloaded volts, that is the drop.",
    )
    brush_knee_a: float = number(
        "brush_knee_a", "A", 0.001, 1, typical=(0.005, 0.02, 0.1), source=PRACTICE
    )
    drag_nm_s: float = number(
        "drag_unm_per_rad_s", "uN m per rad/s", 0, 1000, scale=1e-6, typical=(0, 0, 5),
        source=PRACTICE,
    )
    inductance_h: float = number(
        "inductance_mh", "mH", 0, 100, scale=1e-3, typical=(0.2, 1.0, 5.0), source=PRACTICE
    )
    inertia_kg_m2: float = number(
        "inertia_gcm2", "g cm2", 0.01, 10_000, scale=1e-7, typical=(5, 20, 100), source=PRACTICE
    )
    max_rad_s: float = number(
        "max_rpm", "rpm", 100, 100_000, scale=RPM, typical=(8_000, 15_000, 25_000),
        source=PRACTICE, how="Stay below about 1.3 times the no-load speed at the rated voltage.",
    )
    max_a: float = number(
        "max_a", "A", 0.01, 100, typical=(0.5, 1.5, 5), source=PRACTICE,
        how="The rated load current on the nameplate; about a fifth of the stall current.",
    )
    max_winding_c: float = number(
        "max_winding_c", "degC", 40, 200, typical=(80, 100, 155), source=PRACTICE
    )
    winding_case_k_w: float = number(
        "winding_to_case_k_per_w", "K/W", 0.1, 100, typical=(3, 7, 15), source=PRACTICE,
        how="Warm the motor with a steady current: the rise of its ohms tells the winding's heat "
        "(0.39 % per K), a thermometer the case's.",
    )
    case_air_k_w: float = number(
        "case_to_air_k_per_w", "K/W", 0.5, 200, typical=(8, 15, 30), source=PRACTICE,
        how="Hold the shaft, feed about 2 W for half an hour, and divide the case's rise over the "
        "air by those watts.",
    )
    winding_j_k: float = number(
        "winding_j_per_k", "J/K", 0.1, 1000, typical=(3, 10, 40), source=PRACTICE
    )


@dataclass(frozen=True, kw_only=True)
class Bank:
    """Equal motors on one gear."""

    series: int = whole("series", 1, 12, default=1)
    parallel: int = whole("parallel", 1, 12, default=1)
    spread: float = number(
        "spread_percent", "%", 0, 30, scale=0.01, typical=(2, 5, 10), source=PRACTICE,
        how="How far the volts of two of these motors on one gear differ.",
    )
    diode_each: bool = flag("diode_each", default=False)
    mount_max_c: float = number(
        "mount_max_c", "degC", 30, 200, typical=(50, 55, 60), source="PLA; " + MEMORY,
        how="PLA softens near 55 degC, PETG near 75; a metal plate bears more.",
    )


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One gear mesh, handle side first: teeth, or a plain ratio driver/driven."""

    driver_teeth: int | None = whole("driver_teeth", 6, 400, optional=True)
    driven_teeth: int | None = whole("driven_teeth", 6, 400, optional=True)
    ratio: float | None = number("ratio", "", 0.05, 100, optional=True)
    efficiency: float = number(
        "efficiency", "", 0.3, 1, typical=(0.75, 0.85, 0.95),
        source="plastic kit stage about 0.85, varies widely: MIT 2.007 course page",
        how="All stages together: with a resistor as load find the weight at the handle that "
        "keeps it turning; the motors' volts times amps and their own losses, over that "
        "weight's power, is their product.",
    )


@dataclass(frozen=True, kw_only=True)
class Crank:
    radius_m: float = number("radius_mm", "mm", 20, 500, scale=1e-3, typical=(80, 110, 150),
                             source=PRACTICE, how="From the axle's middle to the grip's middle.")
    friction_nm: float = number("friction_nm", "N m", 0, 5, typical=(0.02, 0.05, 0.2),
                                source=PRACTICE, how="Weight that just turns the empty handle "
                                "times the radius times 9.81.")
    inertia_kg_m2: float = number("inertia_gm2", "g m2", 0.01, 1000, scale=1e-3,
                                  typical=(0.5, 2, 10), source=PRACTICE)


@dataclass(frozen=True, kw_only=True)
class Rectifier:
    """Between motors and bus; drop_v and knee_a are of one diode."""

    kind: str = choice("kind", ("schottky", "bridge", "none"), default="schottky")
    drop_v: float = number("drop_v", "V", 0, 1.5, typical=(0.3, 0.35, 0.5),
                           source="Schottky data sheets, " + MEMORY)
    knee_a: float = number("knee_a", "A", 0.001, 1, typical=(0.005, 0.02, 0.1), source=PRACTICE)
    max_v: float = number("max_v", "V", 5, 1000, typical=(20, 40, 60), source=PRACTICE)


# ------------------------------------------------------- from the bus to the phone


@dataclass(frozen=True, kw_only=True)
class Bus:
    capacitor_f: float = number("capacitor_uf", "uF", 1, 100_000, scale=1e-6,
                                typical=(220, 1000, 4700), source=PRACTICE)
    capacitor_max_v: float = number("capacitor_max_v", "V", 2, 200, typical=(16, 25, 50),
                                    source=PRACTICE, how="Printed on the capacitor.")
    bleed_ohm: float = number("bleed_kohm", "kohm", 0.1, 1000, scale=1e3,
                              typical=(2.2, 4.7, 22), source=PRACTICE,
                              how="The divider to the board's ADC and any resistor across the "
                              "bus capacitor, together.")


@dataclass(frozen=True, kw_only=True)
class EfficiencyPoint:
    in_v: float = number("in_v", "V", 0.5, 100)
    out_a: float = number("out_a", "A", 0.001, 20)
    efficiency: float = number("efficiency", "", 0.05, 1)


@dataclass(frozen=True, kw_only=True)
class Converter:
    """Losses follow the coil's current i (boost: input current, buck: output current,
    buck-boost: the larger): loss_w + loss_v * i + loss_ohm * i**2; or they are fitted
    to `points`. A linear regulator loses its headroom and `loss_w`."""

    kind: str = choice("kind", ("boost", "buck", "buck_boost", "linear"))
    out_v: float = number("out_v", "V", 0.8, 60, how="Measure the output with nothing connected.")
    loss_w: float = number("loss_w", "W", 0, 5, typical=(0.01, 0.04, 0.2), source=PRACTICE,
                           how="Volts times amps into the converter with nothing at its output.")
    loss_v: float = number("loss_v", "V", 0, 3, typical=(0.1, 0.25, 0.6), source=PRACTICE,
                           how="Volts and amps at both ends of the converter at three loads; "
                           "write them as [[converter.points]].")
    loss_ohm: float = number("loss_ohm", "ohm", 0, 10, typical=(0.05, 0.15, 0.4), source=PRACTICE)
    points: tuple[EfficiencyPoint, ...] = ()
    start_v: float = number("start_v", "V", 0.3, 60, how="Raise the input slowly until the "
                            "output appears.")
    stop_v: float = number("stop_v", "V", 0.2, 60, how="Lower the input slowly under load until "
                           "the output goes.")
    max_in_v: float = number("max_in_v", "V", 1, 120, how="The data sheet's recommended maximum.")
    in_limit_a: float = number("input_limit_a", "A", 0.05, 50, typical=(1.5, 2, 4),
                               source=PRACTICE)
    out_limit_a: float = number("output_limit_a", "A", 0.05, 50, typical=(1, 1.5, 3),
                                source=PRACTICE)
    headroom_v: float = number("headroom_v", "V", 0, 5, typical=(0.2, 0.5, 2), source=PRACTICE,
                               how="Buck and linear: how far the input must stand above the "
                               "output at full load.")
    pass_drop_v: float = number("pass_drop_v", "V", 0, 2, typical=(0.05, 0.4, 0.8),
                                source="coil and diode; TI SLVAFO4 table 2-1",
                                how="Boost: input less output when the input is above the set "
                                "point.")
    isolates: bool = flag("disconnects_when_disabled", default=False)
    soft_start_s: float = number("soft_start_ms", "ms", 0, 500, scale=1e-3, typical=(1, 5, 20),
                                 source=PRACTICE)
    out_capacitor_f: float = number("output_capacitor_uf", "uF", 1, 50_000, scale=1e-6,
                                    typical=(22, 100, 470), source=PRACTICE)


@dataclass(frozen=True, kw_only=True)
class Switch:
    """The load switch: its place decides what it protects."""

    place: str = choice("place", ("enable", "bus_switch", "output_switch"))
    on_ohm: float = number("on_ohm", "ohm", 0, 2, typical=(0.01, 0.05, 0.2), source=PRACTICE)
    max_v: float = number("max_v", "V", 2, 200, typical=(20, 30, 60), source=PRACTICE)
    hold_s: float = number("hold_ms", "ms", 20, 1000, scale=1e-3, typical=(100, 120, 150),
                           source="design: rides through a typical flash erase, no longer")


@dataclass(frozen=True, kw_only=True)
class Protection:
    """Hardware that acts without the firmware; left out means not fitted."""

    bus_clamp_v: float | None = number("bus_clamp_v", "V", 2, 100, optional=True)
    bus_clamp_w: float | None = number("bus_clamp_w", "W", 0.1, 500, optional=True)
    bus_cut_v: float | None = number("bus_cut_v", "V", 2, 100, optional=True)
    output_cut_v: float | None = number("output_cut_v", "V", 4, 30, optional=True)


@dataclass(frozen=True, kw_only=True)
class Supply:
    """How the board is fed."""

    feed: str = choice("feed", ("crank", "cell", "usb"), default="crank")
    power_w: float = number("power_mw", "mW", 1, 5000, scale=1e-3, typical=(80, 120, 250),
                            source=PRACTICE, how="Volts times amps into the board's regulator.")
    wake_v: float = number("wake_v", "V", 1, 40, typical=(3.2, 3.6, 5), source=PRACTICE,
                           how="Bus volts at which the board starts.")
    drop_v: float = number("drop_v", "V", 0, 2, typical=(0.2, 0.3, 0.5), source=PRACTICE)
    reservoir_f: float = number("reservoir_uf", "uF", 1, 1e7, scale=1e-6,
                                typical=(4_700, 10_000, 47_000), source=PRACTICE)
    reservoir_max_v: float = number("reservoir_max_v", "V", 2, 100, typical=(5, 5.2, 5.5),
                                    source=PRACTICE, how="Volts at which the reservoir is full "
                                    "(what its regulator gives).")
    fade_v: float = number("fade_v", "V", 1, 40, typical=(3.4, 4.0, 4.5), source=PRACTICE)
    forbid_v: float = number("forbid_v", "V", 1, 40, typical=(2.9, 3.1, 3.3), source=PRACTICE)
    off_v: float = number("off_v", "V", 0.8, 40, typical=(1.8, 2.2, 2.7), source=PRACTICE,
                          how="Reservoir volts below which the board stops.")


@dataclass(frozen=True, kw_only=True)
class Load:
    """What is charged. A USB device draws draw_a while its input stays above sag_v,
    less below, nothing below min_v."""

    kind: str = choice("kind", ("phone", "power_bank", "lantern", "resistor", "none"),
                       default="phone")
    draw_a: float = number("draw_a", "A", 0.01, 10, typical=(0.4, 0.5, 1.0),
                           source="USB 2.0: five unit loads of 100 mA")
    sag_v: float = number("sag_v", "V", 1, 60, typical=(4.4, 4.6, 4.75),
                          source="USB 2.0 port limits 4.75 V, low-power 4.4 V")
    min_v: float = number("min_v", "V", 0.5, 60, typical=(3.67, 4.1, 4.4),
                          source="USB Type-C vSinkDisconnect 3.67 V; device minimum 4.4 V")
    max_v: float = number("max_v", "V", 4, 60, typical=(5.25, 5.5, 5.5),
                          source="USB Type-C vSafe5V 4.75-5.5 V")
    resistance_ohm: float | None = number("resistance_ohm", "ohm", 0.1, 10_000, optional=True)
    capacity_j: float | None = number("capacity_wh", "Wh", 0.1, 2000, scale=3600, optional=True,
                                      how="Printed on the cell; mAh times 3.85 V / 1000.")
    charge_efficiency: float = number("charge_efficiency", "", 0.3, 1, typical=(0.7, 0.85, 0.93),
                                      source="USB to cell, IC data sheets, " + MEMORY,
                                      how="Wh into the cell over those a USB meter counts.")
    self_use_w: float = number("self_use_w", "W", 0, 10, typical=(0, 0.05, 1.5), source=PRACTICE,
                               how="Unplugged: percent lost in an hour times capacity_wh / 100.")
    taper_from: float = number("taper_from_percent", "%", 50, 100, scale=0.01,
                               typical=(85, 94, 99), source="5-10 h to fill, " + MEMORY,
                               how="The battery's percent from which the current falls.")
    advertised_a: float | None = number(
        "advertised_a", "A", 0.1, 5, optional=True, source="USB 0.5 or 0.9, BC 1.2 1.5, Type-C 3",
        how="0.5 unless resistors on the CC pins or joined data lines say more.")
    cable_m: float = number("cable_m", "m", 0, 5, typical=(0.3, 1.0, 2.0), source=PRACTICE)
    cable_awg: float = number("cable_awg", "AWG", 18, 32, typical=(24, 28, 30), source=PRACTICE,
                              how="Printed on the cable's jacket.")


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
    chip: str = choice("chip", ("ina226", "ina219"), default="ina226")
    address: int = whole("address", 0x08, 0x77, default=0x40)
    shunt_ohm: float = number("shunt_mohm", "mohm", 0.5, 1000, scale=1e-3,
                              typical=(50, 50, 50), source=PRACTICE,
                              how="Printed on the shunt: R050 is 50 mohm, R100 is 100.")
    alert: bool = flag("alert_wired", default=False)
    divider: float = number("divider", "", 1, 100, typical=(11, 11, 11), source=PRACTICE,
                            how="(R_top + R_bottom) / R_bottom of the two resistors to the ADC.")


@dataclass(frozen=True, kw_only=True)
class Board:
    kind: str = choice("kind", ("pico", "pico_w", "pico2", "esp32_s3", "esp32_c3"),
                       default="pico")
    label: str = text("label", 24, default="")
    lamp: str = choice("lamp", ("led", "two_led", "rgb", "piezo", "vibration"), default="led")
    brightness: float = number("lamp_percent", "%", 1, 100, scale=0.01, typical=(60, 60, 60),
                               source=PRACTICE)
    lamp_active_low: bool = flag("lamp_active_low", default=False)
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
    note: str = ""
    origins: Mapping[str, Origin] = field(default_factory=dict)


# section in the file -> part class; `stage` is an array of tables, `converter.points` another
PARTS: dict[str, type[Any]] = {
    "motor": Motor, "bank": Bank, "crank": Crank, "rectifier": Rectifier, "bus": Bus,
    "converter": Converter, "switch": Switch, "protection": Protection, "supply": Supply,
    "load": Load, "arm": Arm, "air": Air, "sensor": Sensor, "board": Board,
}
