"""Reading a file of readings: all of it, or every problem at once with its line.

The tables are [bench], [meter], [sensor] and one array of tables for each kind of reading; values
are read by the rig file's reader, so that its hints (units, decimal commas, near misses) hold here
too.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from steadyturn.bench.readings import KINDS, TURNING, Bench, Meter, Readings, Sensor
from steadyturn.errors import Problem, WrongInput
from steadyturn.rig import which_file
from steadyturn.rig.file import Walk
from steadyturn.rig.spec import specs
from steadyturn.rig.toml_text import dotted, load, read_text

MOST = 500  # readings of a kind
SECTIONS = {name: {s.key: s for s in specs(cls).values()}
            for name, cls in {"bench": Bench, "meter": Meter, "sensor": Sensor, **KINDS}.items()}
NEW = "'steadyturn bench --new readings.toml' writes one to fill in."


def read_readings(path: str | Path) -> Readings:
    """The readings in a file; WrongInput with every problem there is."""
    return read_readings_text(read_text(Path(path), "file of readings", NEW), str(path))


def read_readings_text(text: str, name: str) -> Readings:
    """The readings in a TOML text; `name` stands for the file in problems."""
    got = load(text, name, tuple(KINDS))
    if got.tree is None:
        raise WrongInput(*sorted(got.problems, key=_line))
    which_file.refuse_other(got.tree, name, which_file.READINGS)
    lost = {dotted(path) for path, line in got.found.lines.items() if line in got.lost}
    walk = Walk(name, got.found.lines, lost, headless=got.headless, sections=SECTIONS,
                arrays=tuple(KINDS))
    tree: dict[str, Any] = got.tree
    walk.unknown_sections(tree)
    bench = walk.part("bench", Bench, tree)
    meter = walk.part("meter", Meter, tree)
    sensor = walk.part("sensor", Sensor, tree)
    found: list[tuple[int, int, str, Any, str]] = []
    for kind, cls in KINDS.items():
        for i, one in enumerate(walk.elements(tree, (kind,), cls, MOST)):
            where = walk.where((kind, i))
            found.append((_number(where), i, kind, one, where))
            if kind in TURNING:
                _pace(walk, kind, i, one)
    if bench.on and not re.fullmatch(r"\d{4}-\d\d-\d\d", bench.on):
        walk.problem(("bench", "on"), f'"{bench.on}"', "a date.", 'Write on = "2026-03-01"')
    problems = got.problems + walk.problems
    if not problems and not found:
        problems.append(Problem(f"{name}:1", "", "", "there is no reading in it.", NEW))
    if problems:
        raise WrongInput(*sorted(dict.fromkeys(problems), key=_line))
    found.sort(key=lambda row: row[:2])
    return Readings(bench, meter, tuple((kind, one) for _, _, kind, one, _ in found),
                    tuple(where for *_, where in found), sensor)


def _pace(walk: Walk, kind: str, i: int, one: Any) -> None:
    """A turning reading says how fast in one way; a free run may leave it out."""
    key = f"{kind}[{i + 1}]"
    if any(walk.is_doubtful(f"{key}.{name}") for name in ("turns", "seconds", "rpm", "pace_tpm")):
        return
    counted = one.turns is not None and one.seconds is not None
    ways = counted + (one.rpm is not None) + (one.pace_tpm is not None)
    if (one.turns is None) != (one.seconds is None):
        missing = "seconds" if one.seconds is None else "turns"
        walk.problem((kind, i, missing), "", "this key is missing: turns and seconds go together.",
                     "Turns counted, and the seconds they took.")
    elif ways > 1 or (ways == 0 and kind != "run"):
        walk.problem((kind, i), "", "how fast it turned, in one way: turns and seconds, or rpm "
                     "(of the motor), or pace_tpm (of the handle).")


def _number(where: str) -> int:
    tail = where.rpartition(":")[2]
    return int(tail) if tail.isdigit() else 0


def _line(problem: Problem) -> int:
    return _number(problem.where)
