"""What a bench by the board says: its constants, and whether it is the machine that was meant."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace
from pathlib import Path

from steadyturn.bench.result import Result
from steadyturn.bench.step import Step
from steadyturn.jobs.bench import BenchAnswer, bench_rig
from steadyturn.jobs.bench_evening import Evening
from steadyturn.jobs.bench_readings import text
from steadyturn.jobs.new import write_whole
from steadyturn.model import gears
from steadyturn.model.motor import emf_constant
from steadyturn.rig.file import read_rig
from steadyturn.rig.spec import specs
from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Motor, Rig

MOST_NAMES = 99


@dataclass(frozen=True)
class Meant:
    """A constant as the rig file has it and as it was measured, in the file's unit, with what 95
    of 100 keep of each. agrees: both may be the same."""

    key: str
    unit: str
    meant: float
    meant_low: float
    meant_high: float
    measured: float
    low: float
    high: float
    agrees: bool

    @property
    def percent(self) -> float:
        return 100 * (self.measured / self.meant - 1)


@dataclass(frozen=True)
class BoardAnswer:
    """bench: as of readings by hand. step: what the bursts say, None without; plateaus: taken;
    skipped: orders that could not be done; minutes: of it all. pace_by: "turn_sensor" or
    "beat"."""

    bench: BenchAnswer
    board: str
    port: str
    meant: tuple[Meant, ...]
    step: Step | None
    step_refused: str
    plateaus: int
    skipped: int
    pace_by: str
    minutes: float


def keep(made: Evening, rig_path: Path) -> Path | None:
    """The readings so far, in a new file of this folder; None where there are none."""
    items = made.items()
    if not items:
        return None
    about = replace(made.about, on=datetime.date.today().isoformat())
    for number in range(1, MOST_NAMES + 1):
        path = Path(f"{rig_path.stem}-board{'' if number == 1 else f'-{number}'}.toml")
        if not path.exists():
            break
    write_whole(path, text(about, made.sensor, items), force=False)
    return path


def answer(made: Evening, rig_path: Path, readings: Path, *, nameplate: bool = False,
           write: bool = False) -> BoardAnswer:
    """The constants from a kept file of readings; write: into the rig file, as measured."""
    rig = read_rig(rig_path)
    found = bench_rig(rig_path, readings, nameplate=nameplate, write=write)
    fitted = made.fitted()
    return BoardAnswer(
        found, made.board, made.port,
        compare(rig, found.result) if found.result is not None else (),
        fitted, "" if fitted is None else fitted.refused, len(made.taken), made.skipped,
        "turn_sensor" if any(one.by == "turn_sensor" for one in made.taken) else "beat",
        made.seconds / 60)


def compare(rig: Rig, result: Result) -> tuple[Meant, ...]:
    """Each measured constant against the rig file's."""
    found = []
    for value in result.values:
        if not value.told:
            continue
        if value.key == "efficiency":
            meant = gears.efficiency(rig.stages)
            share = 0.05 * math.sqrt(len(rig.stages))
            low, high = meant * (1 - share), min(meant * (1 + share), 1.0)
        else:
            spec = next(s for s in specs(Motor).values() if s.key == value.key)
            own = emf_constant(rig.motor) if value.key == "emf_v_per_krpm" else getattr(
                rig.motor, value.name)
            if not own:
                continue
            meant = own / spec.scale
            origin = rig.origins.get(f"motor.{value.key}")
            if origin is not None and 0 < origin.low < origin.high:
                low, high = origin.low / spec.scale, origin.high / spec.scale
            else:
                share = tolerance_of(f"motor.{value.key}").share
                low, high = meant * (1 - share), meant * (1 + share)
        far = abs(math.log(value.value / meant))
        both = math.hypot(math.log(value.high / value.low) / 2,
                          math.log(high / max(low, 1e-12)) / 2)
        found.append(Meant(value.key, value.unit, meant, low, high, value.value, value.low,
                           value.high, far <= both))
    return tuple(found)
