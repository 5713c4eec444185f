"""The calculations of the power path, held against what a rig's parts bear: one line each."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from steadyturn.circuit import clamp as clamps
from steadyturn.circuit.references import PIN_MAX_A, REF_V
from steadyturn.circuit.source import USUAL_WRITE_S, WORST_WRITE_S
from steadyturn.circuit.surroundings import isolates
from steadyturn.circuit.values import Design, advertised
from steadyturn.model.hazards import ADC_MAX_V
from steadyturn.rig.types import Rig

SET_SHARE = 0.02  # how far a converter's set point is off: data sheets, from memory
RIPPLE_V = 0.03  # peak of its ripple and of a step of the load: engineering judgement
HOLD_S = (0.1, 0.15)  # firmware/states.md
PULSE_A = 60.0  # for 50 us, what the load switch is asked to bear in parts.toml


@dataclass(frozen=True)
class Finding:
    """value against limit, in unit; at_least: the limit is the least, not the most. ok: it
    holds; where not, words say what is wrong and what to fit."""

    name: str
    value: float
    limit: float
    unit: str
    words: str
    at_least: bool = False
    ok: bool = field(init=False)

    def __post_init__(self) -> None:
        holds = self.value >= self.limit if self.at_least else self.value <= self.limit
        object.__setattr__(self, "ok", holds)


def findings(rig: Rig, made: Design) -> tuple[Finding, ...]:
    """All checks of a rig.

    >>> from steadyturn.circuit.values import design
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> [one.name for one in findings(hut, design(hut, 50.0, 90.0)) if not one.ok]
    []
    """
    return (*_source(rig, made), *_clamp(rig, made), *_cuts(rig, made), *_board(rig, made))


def _source(rig: Rig, made: Design) -> list[Finding]:
    at = made.source
    return [
        Finding("diode", at.diode_v, rig.rectifier.max_v, "V",
                "volts across the rectifier when the handle is turned backwards at speed: fit "
                "one of more volts and say so in [rectifier] max_v"),
        Finding("fuse", at.fuse_a, rig.motor.max_a * rig.bank.parallel * 2, "A",
                "a fuse that carries the band's current lets twice the motors' rated current "
                "through: mind their heat after a short"),
        Finding("fuse_blows", at.arm_a, at.blows_a, "A",
                "an arm cannot blow the fuse: after a short the handle turns heavily, and only "
                "that tells", at_least=True),
        Finding("inrush", at.inrush_a, PULSE_A, "A",
                "inrush into the converter as the load switch closes: a larger C9"),
    ]


def _clamp(rig: Rig, made: Design) -> list[Finding]:
    at = made.clamp
    return [
        Finding("clamp_volts", at.trip.high_v, clamps.lowest_rating_v(rig), "V",
                "the clamp at its latest, against the least that the bus's parts bear"),
        Finding("clamp_steady", made.far.open_v, at.trip.low_v, "V",
                "the fastest credible hand drives the clamp for good: parts that bear more"),
        Finding("clamp_resistor", at.resistor_c, rig.air.hot_c + clamps.RESISTOR_RISE_K, "degC",
                "R5 after ten seconds of a hand a third faster still: more watts"),
        Finding("clamp_transistor", at.transistor_c, clamps.TRANSISTOR_MAX_C, "degC",
                "Q1's junction after the same: a larger sink"),
    ]


def _cuts(rig: Rig, made: Design) -> list[Finding]:
    most_v = rig.converter.out_v * (1 + SET_SHARE) + RIPPLE_V
    found = [
        Finding("cut_latest", made.cut.high_v, rig.load.max_v, "V",
                "the output cut at its latest is above what the device bears"),
        Finding("cut_earliest", made.cut.low_v, most_v, "V",
                "the output cut at its earliest acts on a healthy converter: a lower set point",
                at_least=True),
        Finding("reference_pin", 1e3 * _pin_a(made), 1e3 * PIN_MAX_A, "mA",
                "current into the pin of the cut's reference when the open-circuit volts stand "
                "at it"),
        Finding("told", advertised(rig), _gives_a(rig), "A",
                "the socket tells the device more than the machine gives: [load] advertised_a"),
    ]
    if not isolates(rig):
        found.append(Finding("bus_cut", 0.0, 1.0, "", "releasing does not part the device from "
                             "the generator: a bus_switch or output_switch", at_least=True))
    return found


def _pin_a(made: Design) -> float:
    volts = min(made.far.beyond_v, made.clamp.trip.high_v)
    return (volts - REF_V) / made.cut.upper_ohm


def _gives_a(rig: Rig) -> float:
    """What the converter can give; the default of USB, 0.5 A, is never too much to tell."""
    return max(rig.converter.out_limit_a, 0.5)


def _board(rig: Rig, made: Design) -> list[Finding]:
    at, bus_v = made.hold, min(made.far.open_v, made.clamp.trip.high_v)
    found = [
        Finding("hold_shortest", 1e3 * at.shortest_s, 1e3 * HOLD_S[0], "ms",
                "the hold time, every tolerance at its worst, is too short for a typical erase: "
                "[switch] hold_ms", at_least=True),
        Finding("hold_longest", 1e3 * at.longest_s, 1e3 * HOLD_S[1], "ms",
                "a hung board holds the load too long: [switch] hold_ms"),
        Finding("divider", bus_v / rig.sensor.divider, ADC_MAX_V, "V",
                "the ADC's pin at the open-circuit volts: a larger [sensor] divider"),
    ]
    if rig.supply.feed == "crank":
        found += [
            Finding("write_at_fade", 1e3 * made.reservoir.fade_s, 1e3 * WORST_WRITE_S, "ms",
                    "the reservoir, from fade_v down, is too small for one worst flash write. "
                    f"Fit and name {_needed(made)} or more", at_least=True),
            Finding("write_at_forbid", 1e3 * made.reservoir.forbid_s, 1e3 * USUAL_WRITE_S, "ms",
                    "a usual flash write begun just above forbid_v is cut short. Fit and name "
                    f"{_needed(made)} or more", at_least=True),
        ]
    return found


def _needed(made: Design) -> str:
    return f"[supply] reservoir_uf = {1000 * math.ceil(1e3 * made.reservoir.needed_f)}"
