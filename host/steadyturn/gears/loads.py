"""What a train has to bear: running, a blocked handle, a short circuit. See README.md."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from steadyturn.model import arm, gears, motor, thermal
from steadyturn.model.band import Band
from steadyturn.model.hazards import let_go_tpm
from steadyturn.rig.types import RPM, Arm, Crank, Rig

# What a cross hand does to a crank that is stuck: the push of one arm at elbow height, which 95
# of 100 men reach or pass (150-200 N by posture): arm strength tables of MIL-STD-1472, from memory
BLOCKED_N = 150.0


@dataclass(frozen=True)
class Loads:
    """Torques at the handle's axle [N m]. running_nm: at the target pace (without a band: what
    the arm keeps), at pace_tpm; blocked_nm: an arm against a train that is stuck; short_nm: the
    motors' terminals shorted at the top of the band (short_tpm), windings cold; short_a: one
    motor's current then; both nothing where no motor is known. case_c: of a motor after
    cranking for hours in hot air, None where nothing runs."""

    running_nm: float
    pace_tpm: float
    blocked_nm: float
    short_nm: float
    short_tpm: float
    short_a: float
    case_c: float | None

    @property
    def overload_nm(self) -> float:
        return max(self.blocked_nm, self.short_nm)

    @property
    def overload(self) -> str:
        return "blocked" if self.blocked_nm >= self.short_nm else "short"


def short_circuit(rig: Rig, pace_tpm: float, winding_c: float) -> tuple[float, float]:
    """Current of one motor [A] and torque at the handle [N m] with the motors' terminals
    shorted while the handle goes on at pace_tpm: each motor drives its EMF, less its brushes'
    drop, through its own resistance alone.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> amps, torque = short_circuit(hut, 90.0, 20.0)
    >>> round(amps, 2), round(torque, 1)
    (5.0, 9.6)
    """
    speed = pace_tpm * RPM * gears.ratio(rig.stages)
    emf = float(motor.emf_constant_at(rig.motor, winding_c)) * speed
    ohm = float(motor.ohm_at(rig.motor, winding_c))
    amps = max(0.0, emf - rig.motor.brush_drop_v) / ohm
    each = float(motor.shaft_nm(rig.motor, speed, amps, winding_c))
    return amps, float(arm.crank_nm(rig, each * rig.bank.series * rig.bank.parallel))


def _kept(person: Arm, radius_m: float) -> tuple[float, float]:
    """Torque [N m] and pace [turns/min] that an arm keeps for ten minutes where nothing else says
    what it does: its force, as fast as its power goes."""
    torque = person.force_n * radius_m
    return torque, min(person.comfort_high_tpm, person.power_w / torque / RPM)


def loads_alone() -> Loads:
    """Without a rig: what an arm does to a usual crank; nothing is known of a motor.

    >>> loads_alone().blocked_nm, loads_alone().short_nm
    (16.5, 0.0)
    """
    radius, person = Crank().radius_m, Arm()
    running, pace = _kept(person, radius)
    return Loads(running_nm=running, pace_tpm=pace,
                 blocked_nm=BLOCKED_N * radius, short_nm=0.0, short_tpm=0.0, short_a=0.0,
                 case_c=None)


def loads_of(rig: Rig, band: Band) -> Loads:
    """What the train of `rig` has to bear.

    >>> from steadyturn.model.band import find_band
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> found = loads_of(hut, find_band(hut, deep=False))
    >>> found.blocked_nm, found.overload
    (16.5, 'blocked')
    """
    high = band.high_tpm if band.high_tpm is not None else float(let_go_tpm(0.0))
    amps, short = short_circuit(rig, high, rig.air.cold_c)
    (running, pace), case = _kept(rig.arm, rig.crank.radius_m), None
    if band.at_target is not None and band.target_tpm is not None:
        running, pace = float(band.at_target.crank_nm), band.target_tpm
        _, cases = thermal.settled_c(rig, np.array([pace]), rig.air.hot_c)
        case = float(cases[0]) if cases[0] < inf else None
    return Loads(running_nm=running, pace_tpm=pace, blocked_nm=BLOCKED_N * rig.crank.radius_m,
                 short_nm=short, short_tpm=high, short_a=amps, case_c=case)
