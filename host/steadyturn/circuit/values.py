"""Every number that the parts table asks for by name, calculated for one rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from steadyturn.circuit import joining, references, standard
from steadyturn.circuit.clamp import SINK_K_W, Clamp, clamp
from steadyturn.circuit.hold import Hold, hold
from steadyturn.circuit.source import Reservoir, Source, divider_ohm, gate_v, reservoir, source
from steadyturn.circuit.surroundings import Reach, reach
from steadyturn.model.hazards import SENSOR_MAX_V
from steadyturn.rig.types import Rig

# of the references and dividers of both cuts; a lower arm that keeps the reference's pin
# below 7 mA when the open-circuit volts stand there
REF_SHARE, ARM_SHARE, LOWER_OHM = 0.005, 0.001, 4500.0
CUT_BELOW_V = 0.05  # a rig that names no cut: so far below what the device bears
SPARE = 1.1  # spare over the volts a part sees: common practice
NAMES = {"boost": "step-up converter", "buck": "step-down converter",
         "buck_boost": "step-up-down converter", "linear": "linear regulator"}
# resistor to VBUS on each CC pin of a C socket, by what is told: USB Type-C
CC_OHM = ((3.0, 10e3), (1.5, 22e3), (0.0, 56e3))


@dataclass(frozen=True)
class Design:
    """All calculations for a rig. cut, trip: output cut and bus cut."""

    far: Reach
    clamp: Clamp
    cut: references.Trip
    trip: references.Trip
    hold: Hold
    source: Source
    reservoir: Reservoir


def design(rig: Rig, low_tpm: float | None, high_tpm: float | None) -> Design:
    """For a rig and its band (None: there is none)."""
    far = reach(rig, low_tpm, high_tpm)
    made = clamp(rig, far)
    p, most_v = rig.protection, rig.load.max_v - CUT_BELOW_V
    cut, trip = (references.below(volts, REF_SHARE, ARM_SHARE, about_ohm=LOWER_OHM)
                 for volts in (p.output_cut_v or most_v, p.bus_cut_v or most_v))
    return Design(far, made, cut, trip, hold(rig),
                  source(rig, far, made.trip.high_v), reservoir(rig))


def advertised(rig: Rig) -> float:
    """What the socket tells the phone [A]: 0.5 unless the rig says more.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> advertised(read_rig(example_path("lakeside-hut")))
    0.5
    """
    return rig.load.advertised_a or 0.5


def _joined(rig: Rig) -> dict[str, str]:
    """What the parts of the source say of several motors; nothing for one."""
    said = joining.rig_words(rig)
    return {"joined": f"; {said}" if said else "",
            "across": "; one across each motor" if said else "",
            "own_diode": "; one for each row of motors"
            if joining.own_diodes(rig.bank) else ""}


def values(rig: Rig, made: Design) -> dict[str, Any]:
    """Name -> number or words, as parts.toml asks for them."""
    bus_v = min(made.far.open_v, made.clamp.trip.high_v)
    far_v = SPARE * min(made.far.beyond_v, made.clamp.trip.high_v)
    upper, lower = divider_ohm(rig)
    told = advertised(rig)
    strings = rig.bank.parallel if rig.bank.diode_each else 1
    return {
        "motor_name": rig.motor.name, "motors": rig.bank.series * rig.bank.parallel,
        "diodes": strings, **_joined(rig),
        "diode_v": max(standard.rating(made.source.diode_v, standard.DIODE_V),
                       rig.rectifier.max_v),
        "diode_a": standard.rating(made.source.blows_a, standard.AMPS),
        "fuse_a": made.source.fuse_a, "dc_v": standard.rating(bus_v, standard.CAPACITOR_V),
        "bus_f": rig.bus.capacitor_f, "capacitor_v": rig.bus.capacitor_max_v,
        "bleed_part_ohm": made.source.bleed_part_ohm,
        "bleed_w": standard.rating(2 * made.source.bleed_w, standard.WATTS),
        "clamp_v": made.clamp.trip.nominal_v, "clamp_upper_ohm": made.clamp.trip.upper_ohm,
        "clamp_lower_ohm": made.clamp.trip.lower_ohm, "clamp_load_ohm": made.clamp.load_ohm,
        "clamp_load_w": made.clamp.load_w, "sink_k_w": SINK_K_W,
        "transistor_v": standard.rating(SPARE * made.clamp.trip.high_v,
                                        standard.TRANSISTOR_V),
        "shunt_ohm": rig.sensor.shunt_ohm, "shunt_mohm": 1e3 * rig.sensor.shunt_ohm,
        "sensor_name": rig.sensor.chip.upper(), "sensor_v": SENSOR_MAX_V[rig.sensor.chip],
        "amplifier_gain": rig.sensor.amplifier or 0.0,
        "divider_upper_ohm": upper, "divider_lower_ohm": lower,
        "hold_part_ohm": made.hold.part_ohm,
        "trip_v": made.trip.nominal_v, "trip_upper_ohm": made.trip.upper_ohm,
        "trip_lower_ohm": made.trip.lower_ohm,
        "on_mohm": 1e3 * rig.switch.on_ohm,
        "switch_v": max(rig.switch.max_v, standard.rating(far_v, standard.TRANSISTOR_V)),
        "gate_v": gate_v(rig), "inrush_a": made.source.inrush_a,
        "converter_name": NAMES[rig.converter.kind], "out_v": rig.converter.out_v,
        "converter_v": rig.converter.max_in_v, "out_f": rig.converter.out_capacitor_f,
        "output_rating_v": standard.rating(bus_v, standard.CAPACITOR_V),
        "cut_v": made.cut.nominal_v, "cut_high_v": made.cut.high_v,
        "cut_upper_ohm": made.cut.upper_ohm, "cut_lower_ohm": made.cut.lower_ohm,
        "cut_rating_v": standard.rating(far_v, standard.TRANSISTOR_V),
        "advertised_a": told, "cc_ohm": next(ohm for amps, ohm in CC_OHM if told >= amps),
        "socket_name": "A or C",
        "supply_v": standard.rating(far_v, standard.REGULATOR_V),
        "reservoir_v": rig.supply.reservoir_max_v, "reservoir_f": rig.supply.reservoir_f,
        "reservoir_rating_v": max(standard.rating(rig.supply.reservoir_max_v,
                                                  standard.CAPACITOR_V), 6.3),
        "reservoir_ms": 1e3 * made.reservoir.fade_s,
    }
