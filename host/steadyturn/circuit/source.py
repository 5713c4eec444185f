"""Diode, fuse, inrush, bleed and the board's reservoir of a rig; circuit.md."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.circuit import standard
from steadyturn.circuit.surroundings import Reach, torque_a
from steadyturn.rig.types import Rig

FUSE_OVER = 1.35  # a fuse carries some three quarters of its rating for good: common practice
FUSE_BLOWS = 2.0  # a slow one within some two minutes: IEC 60127, from memory
BURST_FORCE = 3.0  # what an arm pushes for a moment, over force_n: engineering judgement
# a converter's module, and a P-channel MOSFET that begins to conduct: from memory
INPUT_F, GATE_V = 47e-6, 2.0
SLOPE_OHM, SLOPE_F, OFF_OHM = 4700.0, 6.8e-9, 33e3  # R26, C9, R25
RESERVOIR_OHM = 10.0  # R39
PATH_OHM = 0.15  # capacitors, shunt, wires: engineering judgement
# one flush of the journal: the longest erase, and two usual ones; and what the flash takes
# meanwhile, beside the board: firmware/journal.md
WORST_WRITE_S, USUAL_WRITE_S, FLASH_W = 0.414, 0.104, 25e-3 * 3.3


@dataclass(frozen=True)
class Source:
    """diode_v: backwards; bridge: bus and a drop, single: EMF and bus. fuse_a: its rating;
    blows_a: what blows it; arm_a: what an arm drives into a short for a moment. inrush_a into
    the converter when the switch closes at the open-circuit volts. bleed_s: until the bus has
    fallen to a tenth; bleed_w: in R1."""

    diode_v: float
    fuse_a: float
    blows_a: float
    arm_a: float
    inrush_a: float
    bleed_part_ohm: float
    bleed_s: float
    bleed_w: float


def source(rig: Rig, far: Reach, clamp_high_v: float) -> Source:
    """far: what the rig can bring; clamp_high_v: the clamp at its latest [V]."""
    bus_v = min(far.open_v, clamp_high_v)
    back_v = bus_v + (far.open_v if rig.rectifier.kind == "schottky" else rig.rectifier.drop_v)
    fuse_a = standard.rating(FUSE_OVER * far.most_a, standard.FUSE_A)
    arm_nm = BURST_FORCE * rig.arm.force_n * rig.crank.radius_m
    slope = max(bus_v - GATE_V, 0.0) / (SLOPE_OHM * SLOPE_F)
    divider = sum(divider_ohm(rig))
    rest = 1 / max(1 / rig.bus.bleed_ohm - 1 / divider, 1e-6)
    part = standard.nearest(rest)
    return Source(back_v, fuse_a, FUSE_BLOWS * fuse_a, torque_a(rig, arm_nm),
                  min(INPUT_F * slope, bus_v / PATH_OHM), part,
                  2.303 * rig.bus.capacitor_f * rig.bus.bleed_ohm, bus_v**2 / part)


def gate_v(rig: Rig) -> float:
    """What the load switch's gate gets [V] at the least volts it has to be on at.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> round(gate_v(read_rig(example_path("lakeside-hut"))), 1)
    2.7
    """
    least_v = rig.converter.out_v if rig.switch.place == "output_switch" else rig.converter.stop_v
    return least_v * OFF_OHM / (OFF_OHM + SLOPE_OHM)


def divider_ohm(rig: Rig) -> tuple[float, float]:
    """Upper and lower arm of the ADC's divider [ohm]; the upper has 10 kohm or more.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> divider_ohm(read_rig(example_path("lakeside-hut")))
    (100000.0, 10000.0)
    """
    lower = 10e3
    return standard.nearest(lower * max(rig.sensor.divider - 1, 1.0), standard.E96), lower


@dataclass(frozen=True)
class Reservoir:
    """How long it feeds a board that writes [s] with the handle at rest: from fade_v and from
    forbid_v down to where the board stops; needed_f: for a worst write begun at fade_v, where
    the board saves, and a usual one begun just above forbid_v. fill_s: until nine tenths full
    through R39."""

    fade_s: float
    forbid_s: float
    needed_f: float
    fill_s: float


def reservoir(rig: Rig) -> Reservoir:
    """Constant power out of a capacitor: C (V1^2 - V2^2) / 2 = P t."""
    s = rig.supply
    power_w = s.power_w + FLASH_W
    from_fade, from_forbid = (0.5 * max(v**2 - s.off_v**2, 1e-3) / power_w
                              for v in (s.fade_v, s.forbid_v))
    needed = max(WORST_WRITE_S / from_fade, USUAL_WRITE_S / from_forbid)
    return Reservoir(s.reservoir_f * from_fade, s.reservoir_f * from_forbid, needed,
                     2.303 * RESERVOIR_OHM * s.reservoir_f)
