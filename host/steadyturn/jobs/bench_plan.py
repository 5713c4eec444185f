"""What a board is asked for at a bench: which paces, with which loads, in which order."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn_fw import bench_frames as layout

from steadyturn.model.band import Band
from steadyturn.rig.types import Rig

# a turn to a flash: the lamp doubles or halves other paces (steadyturn_fw.cadence), and who has to
# halve a beat in the head does so wrongly now and then
EVEN_TPM = (54.0, 108.0)
SWAYS = 0.07  # of the pace: so far from the band's ends, where a hand that sways or a k that is
# somewhat more than meant would have the board release the load; engineering judgement
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
    low, high = band.low_tpm * (1 + SWAYS), band.high_tpm * (1 - SWAYS)
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


def orders(rig: Rig, band: Band) -> tuple[Order, ...]:
    """Open circuit first, then loaded paces, then the steps."""
    low, middle, high = paces(band, bool(rig.sensor.turn_pulses))
    found = [Order("plateau", middle, "none"), Order("plateau", high, "none")]
    second = rig.bus.second_load_ohm is not None
    if second and rig.switch.place != "bus_switch":
        found += [Order("plateau", low, "second"), Order("plateau", high, "second")]
    found += [Order("plateau", pace, "device") for pace in (low, middle, high)]
    if second:
        found += [Order("plateau", middle, "both"), Order("plateau", high, "both")]
        found += [Order("step", middle, "device")] * STEPS
    else:
        found.append(Order("plateau", (low + high) / 2, "device"))
    return tuple(found)
