"""The bus clamp: its volts, and what an unloaded over-speed puts into it; circuit.md."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.circuit import references, standard
from steadyturn.circuit.surroundings import UNTIL_LET_GO_S, Reach
from steadyturn.model import gears
from steadyturn.model.hazards import ratings
from steadyturn.rig.types import RPM, Rig

SPARE = 0.97  # the clamp at its latest, of the lowest rating behind it: design
REF_SHARE, ARM_SHARE, LOWER_OHM = 0.005, 0.001, 2300.0
SATURATED_V = 2.0  # PNP Darlington at some ampere: data sheets, from memory
# a wire-wound resistor bears five times its watts for 5 s, and two and a half times for 10:
# data sheets of metal-clad ones, from memory
OVERLOAD = 2.5
RESISTOR_J_K_W = 1.2  # J/K for each watt of its rating: some 30 g at 25 W, from memory
JUNCTION_K_W = 1.5  # to the sink, pad included: TO-220 and TO-247 sheets, from memory
SINK_K_W, SINK_J_K = 10.0, 25.0  # 28 g of aluminium at 0.9 J/gK
TRANSISTOR_MAX_C = 150.0
RESISTOR_RISE_K = 200.0  # bears 250 degC and more: from memory


@dataclass(frozen=True)
class Clamp:
    """trip: its volts. load_ohm: of its resistor; amps: what a hand beyond the fastest
    credible drives through it; spin_j: energy of everything that turns above the pace at
    which it begins; cranked_j: what the hand adds until it lets go; resistor_w, load_w: peak
    and rating; resistor_c, transistor_c: hottest [degC]; transistor_w: worst."""

    trip: references.Trip
    load_ohm: float
    amps: float
    spin_j: float
    cranked_j: float
    resistor_w: float
    load_w: float
    resistor_c: float
    transistor_w: float
    transistor_c: float
    needed: bool


def lowest_rating_v(rig: Rig) -> float:
    """The least that anything on the bus bears, in volts of the bus."""
    on_bus = ("capacitor", "sensor", "converter", "adc", "switch", "rectifier")
    bears = []
    for one in ratings(rig):
        name = one.name.removeprefix("open_circuit_")
        if name == "switch" and rig.switch.place != "bus_switch":
            continue
        if name in on_bus:
            bears.append(one.rating_v * (rig.sensor.divider if name == "adc" else 1.0))
    return min(bears)


def clamp(rig: Rig, far: Reach) -> Clamp:
    """The clamp for a rig: at the volts its file names, else just below what the bus bears."""
    most_v = SPARE * lowest_rating_v(rig)
    if rig.protection.bus_clamp_v is not None:
        most_v = rig.protection.bus_clamp_v
    most_v = min(most_v, references.CATHODE_MAX_V - references.SPARE_V)
    found = references.below(most_v, REF_SHARE, ARM_SHARE, about_ohm=LOWER_OHM)
    volts = found.low_v
    amps = max(far.beyond_v - volts, 0.0) / far.source_ohm
    steady_a = max(far.open_v - volts, 0.0) / far.source_ohm
    load_ohm = standard.at_most((volts - SATURATED_V) / max(amps, 1.0), standard.E6)
    resistor_w = amps**2 * load_ohm
    transistor_w = _transistor_w(volts, amps, load_ohm)
    load_w = standard.rating(max(resistor_w / OVERLOAD, steady_a**2 * load_ohm, 5.0),
                             standard.WATTS)
    seconds = UNTIL_LET_GO_S
    return Clamp(
        found, load_ohm, amps, _spin_j(rig, volts, far), volts * amps * seconds, resistor_w,
        load_w, rig.air.hot_c + resistor_w * seconds / (RESISTOR_J_K_W * load_w), transistor_w,
        rig.air.hot_c + transistor_w * (JUNCTION_K_W + seconds / SINK_J_K), amps > 0.0)


def _transistor_w(volts: float, amps: float, load_ohm: float) -> float:
    """The worst on the way up to amps: half of the volts over it, if it comes to that."""
    half = volts / (2 * load_ohm)
    at = min(half, amps)
    return at * (volts - at * load_ohm)


def inertia_kg_m2(rig: Rig) -> float:
    """Everything that turns, at the handle."""
    motors = rig.bank.series * rig.bank.parallel
    return rig.crank.inertia_kg_m2 + motors * rig.motor.inertia_kg_m2 * gears.ratio(
        rig.stages) ** 2


def _spin_j(rig: Rig, volts: float, far: Reach) -> float:
    begins = min(far.beyond_tpm, far.beyond_tpm * volts / far.beyond_v)
    return 0.5 * inertia_kg_m2(rig) * RPM**2 * (far.beyond_tpm**2 - begins**2)
