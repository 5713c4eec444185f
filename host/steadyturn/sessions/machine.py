"""The outings of one machine, each by the few figures that tell how it does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

from steadyturn.sessions.figures import WH
from steadyturn.sessions.rows import OutingRow

MOST = 100  # outings; the library has all


@dataclass(frozen=True, slots=True)
class MachineOuting:
    """One outing: its number and times as in rows.OutingRow. bus_v: mean volts by charge, so
    that what was drawn counts; NaN where nothing was. reviewed: one of those that are shown."""

    outing: int
    begin_s: float | None
    end_s: float | None
    after_s: float | None
    until_s: float | None
    out_wh: float
    bus_v: float
    out_per_turn_j: float
    in_band_percent: float
    faults: int
    reviewed: bool


def of_machine(
    earlier: Sequence[OutingRow], shown: Sequence[OutingRow], rig: str | None,
) -> tuple[MachineOuting, ...]:
    """The last ones with this rig file, oldest first."""
    rows = [(row, False) for row in earlier] + [(row, True) for row in shown]
    return tuple(_of(row, reviewed) for row, reviewed in rows if row.rig == rig)[-MOST:]


def _of(row: OutingRow, reviewed: bool) -> MachineOuting:
    return MachineOuting(
        outing=row.id, begin_s=row.begin_s, end_s=row.end_s, after_s=row.after_s,
        until_s=row.until_s,
        out_wh=row.energy_out_j / WH,
        bus_v=_over(row.energy_in_j, row.charge_c),
        out_per_turn_j=_over(row.energy_out_j, row.turns),
        in_band_percent=min(100.0, 100 * _over(row.band_s, row.turning_s)),
        faults=row.faults, reviewed=reviewed)


def _over(part: float, whole: float) -> float:
    return part / whole if whole > 0 else nan
