"""Corrections of a board's readings in its settings: reading them, writing them, what may be
written, and taking them along when a board is flashed.

A correction belongs to the board: to its chip, shunt and solder joints. It lives in the settings
on the board and nowhere else; a rig file has none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from steadyturn_fw import fields

from steadyturn.rig import sensors
from steadyturn.settings.file import Settings
from steadyturn.settings.thresholds import OUT_GAIN, OUT_OFFSET_V, OUT_STEP_V, SAFE

DAY_0 = date(2000, 1, 1)
QUANTITIES = ("bus", "amps", "out_bus", "out_amps")
MOST_UNSURE = 0.025  # of over_mv: half of the 5 % that thresholds.SAFE keeps from the ratings
MOST_UNSURE_AMPS = 0.10  # of over_ma, which stands 25 % above what the band draws
_RANGE = {row[0]: (row[1], row[2]) for row in fields.WHOLE}
# what makes it the same sensor; of the board's own ADC its pins and parts too
_CHIP = ("chip", "address")
_OF_ADC = {"bus": ("bus_adc_pin", "divider_permille"),
           "amps": ("amps_adc_pin", "amplifier_permille", "amplifier_zero_mv")}
SENSOR = (*_CHIP, "shunt_uohm", "out_shunt_uohm", *_OF_ADC["bus"], *_OF_ADC["amps"])


@dataclass(frozen=True, slots=True)
class Correction:
    """Of one quantity. offset: mV or mA. day: YYYY-MM-DD, "" where none is kept; within_ppm,
    within_micro: 95 % half-widths of a corrected reading, of it and besides (uV, uA)."""

    gain_ppm: int = 1_000_000
    offset: int = 0
    day: str = ""
    within_ppm: int | None = None
    within_micro: int | None = None

    @property
    def none(self) -> bool:
        return (self.gain_ppm, self.offset, self.day) == (1_000_000, 0, "")

    def half_width(self, value: float) -> float | None:
        """95 % [V or A], None where it is not known."""
        if self.within_ppm is None or self.within_micro is None:
            return None
        return math.hypot(self.within_ppm / 1e6 * value, self.within_micro / 1e6)


NONE = Correction()


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a correction may not be written. code: "gain", "offset" (beyond the board's range),
    "hides" (volts at a limit made too small), "unsure" or "coarse" (known too badly at a limit).
    value, most: of the figure, in the unit that its code has; at: the limit, V or A."""

    code: str
    value: float
    low: float
    most: float
    at: float = 0.0


def keys(quantity: str) -> tuple[str, str, str, str, str]:
    """Its five fields: gain, offset, day, of the reading, besides.

    >>> keys("amps")[:2]
    ('amps_gain_ppm', 'amps_offset_ma')
    """
    milli, micro = ("ma", "ua") if quantity.endswith("amps") else ("mv", "uv")
    return (f"{quantity}_gain_ppm", f"{quantity}_offset_{milli}", f"{quantity}_corrected_day",
            f"{quantity}_within_ppm", f"{quantity}_within_{micro}")


def fitted(settings: Mapping[str, Any]) -> tuple[str, ...]:
    """The quantities that this board measures."""
    out = settings.get("chip") == "ina3221" and settings.get("out_shunt_uohm", 0) >= 500
    return QUANTITIES if out else QUANTITIES[:2]


def read(settings: Mapping[str, Any], quantity: str) -> Correction:
    gain, offset, day, share, besides = (settings.get(key) for key in keys(quantity))
    on = (DAY_0 + timedelta(days=int(day))).isoformat() if day else ""
    return Correction(int(gain or 1_000_000), int(offset or 0), on,
                      share if on else None, besides if on else None)


def put(settings: Mapping[str, int | str], quantity: str, one: Correction) -> Settings:
    """The settings with this correction in place of theirs."""
    gain, offset, day, share, besides = keys(quantity)
    made = {name: value for name, value in settings.items() if name not in (day, share, besides)}
    made |= {gain: one.gain_ppm, offset: one.offset}
    if one.day:
        made[day] = (date.fromisoformat(one.day) - DAY_0).days
        if one.within_ppm is not None and one.within_micro is not None:
            made |= {share: one.within_ppm, besides: one.within_micro}
    return made


def sheet(settings: Mapping[str, Any], quantity: str) -> sensors.Sheet:
    """What the sensor's data sheet allows it to be off, uncorrected."""
    chip = str(settings["chip"])
    if quantity.endswith("bus"):
        return sensors.volts_sheet(chip, int(settings["divider_permille"]) / 1000)
    shunt = "out_shunt_uohm" if quantity.startswith("out") else "shunt_uohm"
    return sensors.amps_sheet(chip, int(settings[shunt]) * 1e-6,
                              int(settings["amplifier_permille"]) / 1000)


def limit(settings: Mapping[str, Any], quantity: str) -> float:
    """Where the firmware releases by this quantity, V or A; 0.0: nowhere."""
    key = {"bus": "over_mv", "amps": "over_ma", "out_bus": "over_out_mv"}.get(quantity)
    return int(settings[key]) / 1000 if key else 0.0


def refusals(settings: Mapping[str, Any], quantity: str, one: Correction) -> tuple[Refusal, ...]:
    """Why this correction may not be written, () where it may: the firmware's limits act on
    corrected readings (firmware/settings.md). One without an interval is held to the data
    sheet's."""
    gain, offset = keys(quantity)[:2]
    found = []
    for code, key, value in (("gain", gain, one.gain_ppm), ("offset", offset, one.offset)):
        low, high = _RANGE[key]
        if not low <= value <= high:
            found.append(Refusal(code, value, low, high))
    at = limit(settings, quantity)
    if found or not at:
        return tuple(found)
    own = sheet(settings, quantity)
    within = one.half_width(at)
    unsure = own.half_width(at) if within is None else within
    if quantity == "amps":
        most = MOST_UNSURE_AMPS * at
    elif quantity == "bus":
        most = max(MOST_UNSURE * at, own.half_width(at))
    else:
        most = OUT_GAIN * at + OUT_OFFSET_V + OUT_STEP_V
    if unsure > most:
        found.append(Refusal("coarse" if quantity == "out_bus" else "unsure", unsure, 0.0, most,
                             at))
    hidden = (at - one.offset / 1000) / (one.gain_ppm / 1e6) - at
    may = own.most(at) + unsure
    if quantity == "bus":
        may = max(may, _spare(settings, at, own))
    if quantity != "amps" and hidden > may:
        found.append(Refusal("hides", hidden, 0.0, may, at))
    return tuple(found)


def _spare(settings: Mapping[str, Any], at: float, own: sensors.Sheet) -> float:
    """How much later than at `at` [V] the firmware may release with a correction that is
    altogether wrong, and still does so below the ratings: they stand 1 / SAFE above `at`, and the
    sensor may read low by its sheet. A true correction releases at `at` itself. None of it for a
    boost, which passes its input on: there `at` may be what the device bears."""
    if settings.get("coil") == "in":
        return 0.0
    return (at / SAFE - own.offset - own.step / 2) / (1 + own.share) - at


# ---- from one settings file to the next


@dataclass(frozen=True, slots=True)
class Taken:
    """A correction that the board had. why: it does not go along, "" where it does: "sensor"
    (another chip, address or part of the ADC), "shunt", or a refusal's code."""

    quantity: str
    correction: Correction
    why: str = ""


def carry(new: Mapping[str, int | str], old: Mapping[str, Any]) -> tuple[Settings,
                                                                          tuple[Taken, ...]]:
    """`new` with the corrections of `old`, as far as they are of the same sensor; and each that
    `old` had, with what became of it. Offset and gain of `new` are overwritten."""
    made: Settings = dict(new)
    seen = []
    for quantity in QUANTITIES:
        one = read(old, quantity)
        made = put(made, quantity, NONE)
        if one.none:
            continue
        why = _another(new, old, quantity)
        if not why and quantity not in fitted(new):
            why = "sensor"
        if not why and (refused := refusals(new, quantity, one)):
            why = refused[0].code
        if not why:
            made = put(made, quantity, one)
        seen.append(Taken(quantity, one, why))
    return made, tuple(seen)


def _another(new: Mapping[str, Any], old: Mapping[str, Any], quantity: str) -> str:
    kind = quantity.removeprefix("out_")
    names = _CHIP + (_OF_ADC[kind] if new.get("chip") == "adc" else ())
    if any(new.get(name) != old.get(name) for name in names):
        return "sensor"
    shunt = "out_shunt_uohm" if quantity.startswith("out") else "shunt_uohm"
    return "shunt" if kind == "amps" and new.get(shunt) != old.get(shunt) else ""
