"""What the power path has to do with: the volts and ampere a rig can bring; circuit.md."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.model import bank, gears
from steadyturn.model.converter import passes_when_off
from steadyturn.model.hazards import let_go_tpm, open_circuit_v
from steadyturn.model.motor import emf_constant
from steadyturn.model.point import operate
from steadyturn.rig.types import Rig

# two hands on a free handle reach some 200 turns/min, a third above what `hazards` reckons
# with: engineering judgement, as in model/hazards.md
BEYOND = 4 / 3
BURST_W = 200.0  # an arm for ten seconds, trained: Marais 1999, 237 W at most
UNTIL_LET_GO_S = 10.0  # somebody cranks on against a stop lamp: engineering judgement


@dataclass(frozen=True)
class Reach:
    """pace_tpm: the fastest credible hand whose load has gone; beyond_tpm: a third more.
    open_v, beyond_v: the bus of the cold machine there, with nothing connected [V].
    source_ohm: of the bank, cold. short_a: bus current of a short at pace_tpm; arm_short_a:
    what an arm at its best keeps up into a short; most_a: bus current at the band's low end,
    where it is highest (without a band: the converter's limit) [A]."""

    pace_tpm: float
    beyond_tpm: float
    open_v: float
    beyond_v: float
    source_ohm: float
    short_a: float
    arm_short_a: float
    most_a: float


def reach(rig: Rig, low_tpm: float | None, high_tpm: float | None) -> Reach:
    """From a band of low_tpm to high_tpm (None: there is none).

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = reach(read_rig(example_path("lakeside-hut")), 59.0, 90.0)
    >>> round(hut.open_v, 1), round(hut.beyond_v, 1), round(hut.short_a, 1)
    (24.8, 33.1, 9.8)
    """
    pace = float(let_go_tpm(high_tpm or 0.0))
    open_v = float(open_circuit_v(rig, pace))
    ohm = bank.source_ohm(rig, rig.air.cold_c)
    most_a = rig.converter.in_limit_a
    if low_tpm is not None:
        most_a = min(most_a, float(operate(rig, low_tpm).bus_a))
    return Reach(pace, BEYOND * pace, open_v, BEYOND * open_v, ohm, open_v / ohm,
                 _arm_short_a(rig, ohm), most_a)


def _arm_short_a(rig: Rig, ohm: float) -> float:
    """The arm's power, less the gears' losses, all goes into the windings."""
    watts = BURST_W * gears.efficiency(rig.stages)
    return float((watts / ohm) ** 0.5)


def torque_a(rig: Rig, torque_nm: float) -> float:
    """Bus current [A] that a torque at the handle [N m] drives through a short.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> round(torque_a(read_rig(example_path("lakeside-hut")), 5.0), 2)
    2.62
    """
    left = max(torque_nm - rig.crank.friction_nm, 0.0) * gears.efficiency(rig.stages)
    per_motor = emf_constant(rig.motor) * gears.ratio(rig.stages)
    return left / per_motor / rig.bank.series


def isolates(rig: Rig) -> bool:
    """Does releasing the load part the phone from the generator?"""
    return rig.switch.place != "enable" or not passes_when_off(rig.converter)
