"""What a board is asked for at a bench: which paces, with which loads, in which order."""

from __future__ import annotations

import math
from dataclasses import dataclass

from steadyturn_fw import bench_frames as layout

from steadyturn.model import bank
from steadyturn.model.band import Band
from steadyturn.model.point import operate
from steadyturn.rig.types import Rig

# a turn to a flash: the lamp doubles or halves other paces (steadyturn_fw.cadence), and who has to
# halve a beat in the head does so wrongly now and then
EVEN_TPM = (54.0, 108.0)
SWAYS = (0.12, 0.07)  # of the pace: so far from the band's low and high end, where a hand that
# sways, more ohms or more k than meant would have the load released; engineering judgement
ABOVE = 1.25  # of the volts that a pace should give: 8 % more k than meant, and a hand's sway up
# to four of its deviations of 4 % (twin/people.py); engineering judgement
MEASURE_S = 12.0  # of a plateau: some thirteen turns
SETTLE_S = 5.0  # until a hand is at a new pace, about; only for what is left
STEPS = 3  # bursts: their arms' pulls differ
STEP_S = 3.0

LOADS = {layout.LOAD_NONE: "none", layout.LOAD_DEVICE: "device", layout.LOAD_BOTH: "both",
         layout.LOAD_SECOND: "second"}


@dataclass(frozen=True)
class Order:
    """kind: "plateau" or "step"; load: "none" (released), "device" (connected), "both" (and the
    second load) or "second" (that alone)."""

    kind: str
    pace_tpm: float
    load: str

    @property
    def code(self) -> int:
        return next(code for code, name in LOADS.items() if name == self.load)

    @property
    def seconds(self) -> float:
        return STEP_S if self.kind == "step" else MEASURE_S + SETTLE_S


def paces(band: Band, turn_sensor: bool) -> tuple[float, float, float]:
    """A low, a middle and a high pace [turns/min], whole ones, all inside the band.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> from steadyturn.model.band import find_band
    >>> found = find_band(read_rig(example_path("lakeside-hut")), deep=False)
    >>> low, middle, high = paces(found, False)
    >>> found.low_tpm <= low < middle < high <= found.high_tpm
    True
    """
    assert band.low_tpm is not None
    assert band.target_tpm is not None
    assert band.high_tpm is not None
    low, high = band.low_tpm * (1 + SWAYS[0]), band.high_tpm * (1 - SWAYS[1])
    if low >= high:
        low, high = band.low_tpm, band.high_tpm
    if not turn_sensor and max(low, EVEN_TPM[0]) < 0.9 * min(high, EVEN_TPM[1]):
        low, high = max(low, EVEN_TPM[0]), min(high, EVEN_TPM[1])
    room = 0.3 * (high - low)
    middle = min(max(band.target_tpm, low + room), high - room)
    rounded = [float(round(pace)) for pace in (low, middle, high)]
    if band.low_tpm <= rounded[0] < rounded[1] < rounded[2] <= band.high_tpm:
        return rounded[0], rounded[1], rounded[2]
    return low, middle, high


def orders(rig: Rig, band: Band, over_v: float = math.inf) -> tuple[Order, ...]:
    """Open circuit first, then loaded paces, then the steps. over_v: where the board protects
    itself; what could come near it with a hand that sways is slower, or left out."""
    low, middle, high = paces(band, bool(rig.sensor.turn_pulses))
    # from one pace to a near one: a pace on its way lets the load go
    wanted = [("none", middle), ("none", high)]
    second = rig.bus.second_load_ohm is not None
    if second and rig.switch.place != "bus_switch":
        wanted += [("second", high), ("second", low)]
        wanted += [("device", pace) for pace in (low, middle, high)]
        wanted += [("both", high), ("both", middle)]
    else:
        wanted += [("device", pace) for pace in (high, middle, low)]
        wanted += [("both", middle), ("both", high)] if second else [
            ("device", (low + high) / 2)]
    found: list[Order] = []
    for load, pace in wanted:
        slow = next((float(p) for p in range(math.ceil(pace), math.floor(low) - 1, -1)
                     if ABOVE * _volts(rig, min(p, pace), load) <= over_v), None)
        if slow is not None:
            found.append(Order("plateau", min(slow, pace), load))
    steps = sorted(one.pace_tpm for one in found if one.load == "device")
    plateaus = tuple(dict.fromkeys(found))
    if not second or not steps:
        return plateaus
    return plateaus + (Order("step", steps[len(steps) // 2], "device"),) * STEPS


def _volts(rig: Rig, pace_tpm: float, load: str) -> float:
    """About what the bus has, by the rig."""
    emf = float(bank.emf_v_per_tpm(rig, 20.0)) * pace_tpm
    if load == "none":
        return emf
    if load == "second":
        ohm = float(bank.source_ohm(rig, 20.0))
        return emf / (1 + ohm / (rig.bus.second_load_ohm or math.inf))
    volts = float(operate(rig, pace_tpm).node_v)
    return volts if math.isfinite(volts) else emf
