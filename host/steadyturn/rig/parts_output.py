"""Parts of a rig from the bus to the phone. See rig.types."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.rig.spec import MEMORY, PRACTICE, choice, flag, number, whole


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
    second_load_ohm: float | None = number(
        "second_load_ohm", "ohm", 0.5, 1000, optional=True,
        how="A resistor across the converter's input, behind the sensor, that the board's "
        "second_load_pin connects for a sixth of a second: so it sees the motors' resistance.")


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
    ntc_at: str = choice("ntc_at", ("none", "converter", "switch", "mount"), default="none")
    ntc_ohm: int = whole("ntc_ohm", 100, 1_000_000, default=10_000, unit="ohm", source=PRACTICE,
                         how="Printed on the thermistor or in its data sheet: ohms at 25 degC.")
    ntc_beta_k: int = whole("ntc_beta_k", 2000, 6000, default=3950, unit="K", source=PRACTICE,
                            how="In the thermistor's data sheet, often as B25/85.")
    ntc_series_ohm: int = whole(
        "ntc_series_ohm", 100, 1_000_000, default=10_000, unit="ohm", source=PRACTICE,
        how="The resistor from 3.3 V to the pin; the thermistor goes from the pin to ground.")
    ntc_limit_c: int = whole("ntc_limit_c", 30, 120, default=70, unit="degC", source=PRACTICE,
                             how="What the part bears, less 10; at a mount what softens: PLA 55.")


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
                                typical=(10_000, 22_000, 47_000), source=PRACTICE,
                                how="The label; 22 mF carry one longest write of the flash.")
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
