"""How well a board's sensor reads, by its data sheet, its shunt and the correction in force.

Limits of a data sheet are half-widths of an even distribution, whose standard deviation is
the half-width over the root of 3; all are combined as the root of their squares and 1.96 of
the sum's deviations hold 95 %. Source: JCGM 100:2008 (GUM) 4.3.7, 5.1.2 and G.6 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import hypot, nan
from typing import Any

from steadyturn.rig import sensors
from steadyturn.rig.sensors import EVEN, WIDE
from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Rig

DAY_0 = date(2000, 1, 1)  # corrections are dated from it: fields.MAY_MISS
SOURCES = {"ina226": "TI SBOS547B", "ina219": "TI SBOS448F, grade A", "ina3221": "TI SBOS576",
           "adc": "common parts, from memory"}
# a corrected sensor whose settings do not say how well it reads is as good as the hand meter it
# was compared with: share, V; share, A
METER_V, METER_A = (0.005, 0.010), (0.015, 0.005)  # 3 1/2 digits; common practice, no source
CLOCK = 100e-6  # twice the 50 ppm of an ordinary crystal; common practice, no source


@dataclass(frozen=True, slots=True)
class Accuracy:
    """95 % half-widths of what the sensor reads: of a reading (gain) in percent, and besides
    (offset and step) in mV and mA.

    corrected: a correction is in force; bus_gain_ppm ... amps_offset_ma: that correction;
    volts_corrected_on, amps_corrected_on: its days as YYYY-MM-DD, "" where none is known.
    other_boots: boots of those shown that had another correction.
    source: where the figures come from; "" where nothing is known.
    """

    chip: str
    volts_percent: float
    volts_mv: float
    amps_percent: float
    amps_ma: float
    corrected: bool
    bus_gain_ppm: int
    bus_offset_mv: int
    amps_gain_ppm: int
    amps_offset_ma: int
    source: str
    volts_corrected_on: str = ""
    amps_corrected_on: str = ""
    other_boots: int = 0

    @property
    def known(self) -> bool:
        return bool(self.source)

    def energy_j(self, energy_j: float, charge_c: float, volt_seconds: float) -> float:
        """95 % half-width [J] of an energy measured by it: of all its readings at once, because
        an error of gain or offset is the same in each. volt_seconds: volts over the time [V s]."""
        return hypot(energy_j * self.volts_percent / 100, energy_j * self.amps_percent / 100,
                     energy_j * WIDE * CLOCK / EVEN, charge_c * self.volts_mv / 1000,
                     volt_seconds * self.amps_ma / 1000)

    def charge_c(self, charge_c: float, seconds: float) -> float:
        """95 % half-width [C] of a charge measured over so many seconds."""
        return hypot(charge_c * self.amps_percent / 100, charge_c * WIDE * CLOCK / EVEN,
                     seconds * self.amps_ma / 1000)

    def volts_v(self, volts: float) -> float:
        """95 % half-width [V] of a mean of many readings."""
        return hypot(volts * self.volts_percent / 100, self.volts_mv / 1000)


UNKNOWN = Accuracy("", nan, nan, nan, nan, False, 1_000_000, 0, 1_000_000, 0, "")


CORRECTION = ("bus_gain_ppm", "bus_offset_mv", "amps_gain_ppm", "amps_offset_ma")


def accuracy(
    settings: Mapping[str, Any], rig: Rig | None = None, *, out: bool = False,
    of_boots: Mapping[int, Mapping[str, Any]] | None = None,
) -> Accuracy:
    """Of the sensor in these settings (as the board's settings file names them); `UNKNOWN`
    without them. rig: tells the shunt's tolerance. out: the INA3221's second channel. of_boots:
    the settings of single boots, where they are known."""
    begin = "out_" if out else ""
    names = [f"{begin}{name}" for name in (*CORRECTION, "shunt_uohm")]
    chip = settings.get("chip")
    found = [int(settings.get(name) or 0) for name in names]
    bus_gain, bus_offset, amps_gain, amps_offset, shunt_uohm = found
    if chip not in SOURCES or not (shunt_uohm and bus_gain and amps_gain):
        return UNKNOWN
    amplifier = settings.get("amplifier_permille", 1000) / 1000
    volts_sheet = sensors.volts_sheet(chip, settings.get("divider_permille", 1000) / 1000)
    amps_sheet = sensors.amps_sheet(chip, shunt_uohm * 1e-6, amplifier, _shunt_share(rig, out))
    volts_on, volts = _meter(settings, f"{begin}bus", "uv", METER_V, volts_sheet)
    amps_on, amps = _meter(settings, f"{begin}amps", "ua", METER_A, amps_sheet)
    corrected_v = bool(volts_on) or (bus_gain, bus_offset) != (1_000_000, 0)
    corrected_a = bool(amps_on) or (amps_gain, amps_offset) != (1_000_000, 0)
    if not corrected_v:
        volts = _wide(volts_sheet.share, volts_sheet.offset, volts_sheet.step)
    if not corrected_a:
        amps = _wide(amps_sheet.share, amps_sheet.offset, amps_sheet.step)
    source = SOURCES[chip]
    if not corrected_a:
        source += "; shunt"
    if corrected_v or corrected_a:
        source += "; the meter it was corrected with"
    other = sum(any(one.get(name) != settings.get(name) for name in names[:4])
                for one in (of_boots or {}).values())
    return Accuracy(
        chip, 100 * volts[0], 1000 * volts[1], 100 * amps[0], 1000 * amps[1],
        corrected_v or corrected_a, bus_gain, bus_offset, amps_gain, amps_offset, source,
        volts_on, amps_on, other)


def _wide(share: float, offset: float, step: float) -> tuple[float, float]:
    """95 % half-widths of errors that are spread evenly: share, and offset with half a step."""
    return WIDE / EVEN * share, WIDE / EVEN * hypot(offset, step / 2)


def _meter(settings: Mapping[str, Any], begin: str, micro: str, usual: tuple[float, float],
           sheet: sensors.Sheet) -> tuple[str, tuple[float, float]]:
    """(day, 95 % half-widths) of a correction: what `calibrate` left in the settings, or those
    of a usual hand meter."""
    day = settings.get(f"{begin}_corrected_day")
    on = (DAY_0 + timedelta(days=day)).isoformat() if isinstance(day, int) and day > 0 else ""
    share, offset = (settings.get(f"{begin}_within_{unit}") for unit in ("ppm", micro))
    if not (on and isinstance(share, int) and isinstance(offset, int)):
        return on, _wide(*usual, sheet.step)
    return on, (share / 1e6, hypot(offset / 1e6, WIDE / EVEN * sheet.step / 2))


def _shunt_share(rig: Rig | None, out: bool) -> float:
    """The shunt's tolerance: of the rig's own value where that says one, else of its kind."""
    key = "sensor.out_shunt_mohm" if out else "sensor.shunt_mohm"
    origin = rig.origins.get(key) if rig is not None else None
    if origin is not None and origin.tolerance is not None:
        return origin.tolerance
    if origin is not None and origin.kind == "measured":
        return (origin.high - origin.low) / 2 / origin.value
    return tolerance_of(key).share
