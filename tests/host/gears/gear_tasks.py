"""Tasks for the tests: an example rig, with parts of [gears] replaced."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from steadyturn.gears.given import given_of
from steadyturn.gears.loads import BLOCKED_N, loads_of
from steadyturn.gears.search import Task
from steadyturn.model import gears
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig


@cache
def _example(name: str):
    rig = read_rig(example_path(name))
    return rig, loads_of(rig, find_band(rig, deep=False))


def task(name: str = "lakeside-hut", *, ratio: float | None = None, counts=(1, 2, 3),
         tolerance: float = 0.02, motors: int | None = None, radius_m: float | None = None,
         **printing) -> Task:
    rig, loads = _example(name)
    rig = replace(rig, gears=replace(rig.gears, **{"material": "petg", **printing}))
    if radius_m is not None:
        rig = replace(rig, crank=replace(rig.crank, radius_m=radius_m))
        loads = replace(loads, blocked_nm=BLOCKED_N * radius_m)
    if motors is not None:
        rig = replace(rig, bank=replace(rig.bank, series=motors, parallel=1))
    return Task(ratio=gears.ratio(rig.stages) if ratio is None else ratio, tolerance=tolerance,
                counts=counts, given=given_of(rig), loads=loads,
                warm_c=(rig.air.hot_c, loads.case_c or 40.0))
