"""Points of board and meter from a file: all of them, or every problem at once with its line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steadyturn.bench.correction import Point
from steadyturn.bench.readings import Meter
from steadyturn.errors import Problem, WrongInput
from steadyturn.rig.file import Walk
from steadyturn.rig.spec import PRACTICE, flag, number, specs
from steadyturn.rig.toml_text import dotted, load, read_text

MOST = 50  # points of a quantity
NEW = "'steadyturn calibrate --new points.toml' writes one to fill in."


@dataclass(frozen=True, kw_only=True)
class Volts:
    """board: as the board showed it; scatter: how much that wandered."""

    board: float = number("board", "V", -1, 120)
    meter: float = number("meter", "V", -200_000, 200_000)
    scatter: float = number("wandered", "V", 0, 10, typical=(0, 0, 1), source="as shown")


@dataclass(frozen=True, kw_only=True)
class Amps:
    """meter: amperes; or volts across a resistor of resistor_ohm that carries the current; or
    nothing = true: nothing was connected."""

    board: float = number("board", "A", -65, 65)
    meter: float | None = number("meter", "A", -100_000, 100_000, optional=True)
    across_v: float | None = number("across_v", "V", -200_000, 200_000, optional=True)
    resistor_ohm: float | None = number("resistor_ohm", "ohm", 0.05, 100_000, optional=True)
    resistor: float = number("resistor_percent", "%", 0, 20, scale=0.01, typical=(0.5, 1, 5),
                             source=PRACTICE)
    nothing: bool = flag("nothing", default=False)
    scatter: float = number("wandered", "A", 0, 10, typical=(0, 0, 1), source="as shown")


KINDS: dict[str, type[Any]] = {"volts": Volts, "amps": Amps, "out_volts": Volts,
                               "out_amps": Amps}
SECTIONS = {name: {s.key: s for s in specs(cls).values()}
            for name, cls in {"meter": Meter, **KINDS}.items()}
Points = dict[str, tuple[Point, ...]]


def read_points(path: str | Path) -> tuple[Meter, Points]:
    """The meter's class and the points in a file; WrongInput with every problem there is."""
    return read_points_text(read_text(Path(path), "file of points", NEW), str(path))


def read_points_text(text: str, name: str) -> tuple[Meter, Points]:
    got = load(text, name, tuple(KINDS))
    if got.tree is None:
        raise WrongInput(*got.problems)
    lost = {dotted(path) for path, line in got.found.lines.items() if line in got.lost}
    walk = Walk(name, got.found.lines, lost, headless=got.headless, sections=SECTIONS,
                arrays=tuple(KINDS))
    tree: dict[str, Any] = got.tree
    walk.unknown_sections(tree)
    meter = walk.part("meter", Meter, tree)
    found: Points = {}
    for kind, cls in KINDS.items():
        points = []
        for i, one in enumerate(walk.elements(tree, (kind,), cls, MOST)):
            if cls is Volts:
                points.append(Point(board=one.board, meter=one.meter, scatter=one.scatter))
                continue
            resistor = one.across_v is not None and one.resistor_ohm is not None
            ways = (one.meter is not None) + resistor + one.nothing
            if ways != 1 or (one.across_v is None) != (one.resistor_ohm is None):
                walk.problem((kind, i), "", "what the current was, in one way: meter, or across_v "
                             "and resistor_ohm, or nothing = true.")
                continue
            points.append(Point(
                board=one.board, scatter=one.scatter, nothing=one.nothing, ohm=one.resistor_ohm,
                ohm_share=one.resistor,
                meter=_meter(one)))
        if points:
            found[kind] = tuple(points)
    problems = got.problems + walk.problems
    if not problems and not found:
        problems.append(Problem(f"{name}:1", "", "", "there is no point in it.", NEW))
    if problems:
        raise WrongInput(*dict.fromkeys(problems))
    return meter, found


def _meter(one: Any) -> float:
    if one.nothing:
        return 0.0
    return float(one.across_v if one.meter is None else one.meter)
