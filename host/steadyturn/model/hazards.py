"""What an open circuit and a converter that only passes can do to each rating.

Releasing a load raises the bus, an arm speeds up when the load goes, and a phone
that is full lets go by itself: every part is held against the open-circuit volts
of a cold machine. What the firmware would do does not count here. Equations in
hazards.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model import bank
from steadyturn.model.converter import passes_when_off
from steadyturn.model.motor import PEAK_OVER_MEAN
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

Floats = NDArray[np.float64]

FASTEST_TPM = 150.0  # a hand whose load has gone
SPEED_UP = 1.3
# one more part has to fail first: shown, but the machine may be used as it stands
AFTER_A_FAULT = ("open_circuit_device_fault",)
SENSOR_MAX_V = {"ina226": 36.0, "ina219": 26.0, "ina3221": 26.0,
                # an amplifier over the shunt, of the common kind: from memory
                "adc": 26.0}  # bus pin; data sheets
# an ADC's pin reads up to its own supply and bears little more: data sheets of RP2040, RP2350,
# ESP32-S3 and -C3 (3.3 V, and 0.3 to 0.5 V more where the current is limited)
ADC_MAX_V = 3.3


@dataclass(frozen=True)
class Hazard:
    """A rating that is broken: volts it would see, what it bears [V], and why."""

    name: str
    volts: float
    rating: float
    reason: str


@dataclass(frozen=True)
class Rating:
    """seen: volts at this part for open-circuit bus volts (peak), shaped alike."""

    name: str
    rating_v: float
    seen: Callable[[Floats], Floats]
    reason: str


def let_go_tpm(high_tpm: ArrayLike) -> Floats:
    """Pace [turns/min] an arm may reach from high_tpm when the load goes.

    >>> float(let_go_tpm(90)), float(let_go_tpm(200))
    (150.0, 260.0)
    """
    return np.maximum(SPEED_UP * np.asarray(high_tpm, dtype=float), FASTEST_TPM)


def open_circuit_v(rig: Rig, pace_tpm: ArrayLike) -> Floats:
    """Highest bus volts [V] of the cold machine with nothing connected: the peaks of
    the EMF, which a diode and a capacitor hold. No clamp is counted.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(float(open_circuit_v(hut, 150.0)), 1)
    24.8
    """
    per_tpm = bank.emf_v_per_tpm(rig, rig.air.cold_c)
    return PEAK_OVER_MEAN * per_tpm * np.asarray(pace_tpm, dtype=float)


def clamp_w(rig: Rig, open_v: Floats) -> Floats:
    """Power [W] in the bus clamp with nothing else connected; 0 without a clamp.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from dataclasses import replace
    >>> clamped = replace(hut, protection=replace(hut.protection, bus_clamp_v=15.0))
    >>> clamp_w(clamped, np.array([10.0, 20.0])).round(1).tolist()
    [0.0, 29.7]
    """
    clamp = rig.protection.bus_clamp_v
    if clamp is None:
        return np.zeros_like(open_v)
    amps = np.maximum(open_v - clamp, 0.0) / bank.source_ohm(rig, rig.air.cold_c)
    return clamp * amps


def _bus(rig: Rig, open_v: Floats) -> Floats:
    """The bus, held by its clamp as far as that bears the power."""
    clamp, bears = rig.protection.bus_clamp_v, rig.protection.bus_clamp_w
    if clamp is None or bears is None:
        return open_v
    return np.where(clamp_w(rig, open_v) <= bears, np.minimum(open_v, clamp), open_v)


def _converter_in(rig: Rig, open_v: Floats) -> Floats:
    """The converter's input: behind a bus switch that hardware opens at bus_cut_v."""
    volts, cut = _bus(rig, open_v), rig.protection.bus_cut_v
    if cut is not None and rig.switch.place == "bus_switch":
        volts = np.minimum(volts, cut)
    return volts


def _passed(rig: Rig, open_v: Floats, drop_v: float) -> Floats:
    """The device, when the converter passes its input less drop_v."""
    volts, cut = _converter_in(rig, open_v), rig.protection.bus_cut_v
    isolates = rig.switch.place == "output_switch" or (
        rig.switch.place == "enable" and not passes_when_off(rig.converter))
    if cut is not None and isolates:
        volts = np.minimum(volts, cut)
    passed = np.maximum(volts - drop_v, rig.converter.out_v)
    if rig.protection.output_cut_v is not None:
        passed = np.minimum(passed, rig.protection.output_cut_v)
    return passed


def reservoir_divider(rig: Rig) -> float:
    """Reservoir volts over those at its ADC pin; inf where no pin sees it.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> reservoir_divider(read_rig(example_path("lakeside-hut")))
    3.0
    """
    pins = all_pins(rig.board.kind, rig.board.pins)
    return pins["supply_permille"] / 1000 if pins["supply_adc_pin"] >= 0 else math.inf


def _sensor(rig: Rig) -> str:
    if rig.sensor.chip == "adc":
        return "amplifier over the shunt"
    return f"{rig.sensor.chip.upper()}'s bus pin"


def ratings(rig: Rig) -> list[Rating]:
    """Everything that sees the open-circuit volts, with what it bears.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> sorted(rating.name for rating in ratings(hut))[:2]
    ['open_circuit_adc', 'open_circuit_capacitor']
    """
    found = [
        Rating("open_circuit_capacitor", rig.bus.capacitor_max_v, lambda v: _bus(rig, v),
               "the bus capacitor sees the open-circuit volts"),
        Rating("open_circuit_sensor", SENSOR_MAX_V[rig.sensor.chip], lambda v: _bus(rig, v),
               f"the {_sensor(rig)} sees the open-circuit volts"),
        Rating("open_circuit_converter", rig.converter.max_in_v,
               lambda v: _converter_in(rig, v),
               "the converter's input sees them when the device lets go"),
    ]
    if all_pins(rig.board.kind, rig.board.pins)["bus_adc_pin"] >= 0:
        found.append(Rating("open_circuit_adc", ADC_MAX_V,
                            lambda v: _bus(rig, v) / rig.sensor.divider,
                            "the board's ADC pin sees them through the divider"))
    if rig.rectifier.kind != "none":
        found.append(Rating("open_circuit_rectifier", rig.rectifier.max_v,
                            lambda v: _bus(rig, v),
                            "the diode blocks the bus when the handle stops or turns back"))
    if rig.switch.place == "bus_switch":
        found.append(Rating("open_circuit_switch", rig.switch.max_v, lambda v: _bus(rig, v),
                            "the open bus switch blocks the open-circuit volts"))
    if rig.converter.kind == "boost":
        drop = rig.converter.pass_drop_v
        why = ("a boost cannot hold its output down when its input rises above it: the "
               "device sees the generator")
        if rig.switch.place == "enable" and not rig.converter.isolates:
            why += ", and switching the converter off does not part them"
        found.append(Rating("open_circuit_device", rig.load.max_v,
                            lambda v: _passed(rig, v, drop), why))
        if rig.switch.place == "output_switch":
            found.append(Rating("open_circuit_switch", rig.switch.max_v,
                                lambda v: np.maximum(_converter_in(rig, v) - drop, 0.0),
                                "the open output switch blocks what the boost passes"))
    elif rig.load.kind != "none":
        found.append(Rating("open_circuit_device_fault", rig.load.max_v,
                            lambda v: _passed(rig, v, 0.0),
                            "if the converter's transistor fails shorted, the device sees "
                            "the generator; an output cut in hardware parts them"))
    return found


def harms_without_firmware(rig: Rig, high_tpm: float | None) -> bool:
    """Whether a rating is broken while the firmware looks away, as in a flash erase; high_tpm
    [turns/min] as for `hazards`.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> [harms_without_firmware(read_rig(example_path(name)), 90.0)
    ...  for name in ("lakeside-hut", "dangerous-barn")]
    [False, True]
    """
    return any(h.name not in AFTER_A_FAULT for h in hazards(rig, high_tpm))


def hazards(rig: Rig, high_tpm: float | None) -> list[Hazard]:
    """Every rating that is broken at the pace an arm may reach from high_tpm
    [turns/min] (None: no band; the fastest hand alone), worst first.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> barn = read_rig(example_path("dangerous-barn"))
    >>> [hazard.name for hazard in hazards(barn, None)]
    ['open_circuit_device']
    """
    pace = let_go_tpm(0.0 if high_tpm is None else high_tpm)
    open_v = open_circuit_v(rig, pace)
    found = []
    if rig.load.kind != "none" and rig.converter.out_v > rig.load.max_v:
        found.append(Hazard("set_point", rig.converter.out_v, rig.load.max_v,
                            "the converter is set above what the device bears"))
    full_v = rig.supply.reservoir_max_v / reservoir_divider(rig)
    if rig.supply.feed == "crank" and full_v > ADC_MAX_V:
        found.append(Hazard("reservoir_adc", full_v, ADC_MAX_V,
                            "the board's ADC pin sees the full reservoir through its divider"))
    for rating in ratings(rig):
        volts = float(rating.seen(open_v))
        if volts > rating.rating_v:
            found.append(Hazard(rating.name, volts, rating.rating_v,
                                f"{rating.reason} ({float(pace):.0f} turns/min, cold)"))
    clamp, bears = rig.protection.bus_clamp_v, rig.protection.bus_clamp_w
    power = float(clamp_w(rig, open_v))
    if clamp is not None and (bears is None or power > bears):
        can = "its power is not stated" if bears is None else f"it bears {bears:.1f} W"
        found.append(Hazard("clamp_power", float(open_v), clamp,
                            f"the bus clamp would take {power:.1f} W and {can}: it is not "
                            "counted on"))
    return sorted(found, key=lambda h: -h.volts / h.rating)
