"""What would make a drawer work: one change at a time, each the whole search run again.

Changes are ordered by what they ask of a maker: something set or chosen, something printed,
something bought; within a kind the mildest that works. Nothing here is a rule of thumb.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from typing import Any

from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.types import RPM, Origin
from steadyturn.sizing.drawer import MOST_MOTORS, Drawer, Item
from steadyturn.sizing.search import Row, search

KINDS = ("choose", "print", "buy")
LONGEST_M = 0.25  # a handle beyond which an arm's circle is too wide
PETG_C = 75.0  # where PETG begins to soften, from memory
SLOW_PORTS_A = (0.5, 0.1)  # USB 2.0: five unit loads, and one
MOST_PAIRS = 6  # of changes made together


@dataclass(frozen=True)
class Change:
    """One way to change a drawer. kind: of KINDS; says: the change in a maker's words, which
    may depend on the machine that comes of it."""

    kind: str
    says: Callable[[Row], str]
    drawer: Drawer


@dataclass(frozen=True)
class Suggestion:
    """change: what to do; row: the best machine that comes of it; drawer: the one it is of."""

    kind: str
    change: str
    row: Row
    drawer: Drawer


Ranked = list[tuple[tuple[Any, ...], Suggestion]]  # what it sorts by, and the suggestion
Family = list[Callable[[Drawer], Change | None]]


def suggest(drawer: Drawer, shipped: Drawer,
            progress: Callable[[int, int], None] | None = None) -> list[Suggestion]:
    """What makes a machine work that is not dangerous as built, nearest first; where no
    single change does, two together, and where only dangerous machines come, those.
    shipped: the typical parts, as what can be bought."""
    families = _families(drawer, shipped)
    found: Ranked = []
    for at, family in enumerate(families):
        if progress is not None:
            progress(at, len(families))
        found += _first_that_works(drawer, [(step, change) for step, change in
                                            enumerate(family)])
    if not any(not s.row.unsafe for _, s in found):
        found += _pairs(drawer, families, progress)
    if any(not s.row.unsafe for _, s in found):
        found = [(key, s) for key, s in found if not s.row.unsafe]
    return [s for _, s in sorted(found, key=lambda pair: pair[0])]


def _first_that_works(drawer: Drawer,
                      steps: list[tuple[int, Callable[[Drawer], Change | None]]]) -> Ranked:
    spare: Ranked = []
    for step, make in steps:
        change = make(drawer)
        if change is None:
            continue
        rows = search(change.drawer).rows
        if not rows:
            continue
        row = rows[0]
        made = ((row.unsafe, KINDS.index(change.kind), step, *row.costs()),
                Suggestion(change.kind, change.says(row), row, change.drawer))
        if not row.unsafe:
            return [made]
        spare = spare or [made]
    return spare


def _pairs(drawer: Drawer, families: list[Family],
           progress: Callable[[int, int], None] | None) -> Ranked:
    """Two changes of different families together: the strongest of each shows whether a pair
    works at all, then the mildest that does is sought."""
    found: Ranked = []
    pairs = list(combinations(families, 2))
    for at, (first, second) in enumerate(pairs):
        if progress is not None:
            progress(at, len(pairs))
        if not _both(drawer, first[-1], second[-1]):
            continue
        steps = sorted(((i + j, a, b) for i, a in enumerate(first) for j, b in enumerate(second)),
                       key=lambda step: step[0])
        for step, a, b in steps:
            made = _both(drawer, a, b)
            if made is not None:
                key = (made.row.unsafe, KINDS.index(made.kind), step, *made.row.costs())
                found.append((key, made))
                break
        if len(found) >= MOST_PAIRS:
            break
    return found


def _both(drawer: Drawer, first: Callable[[Drawer], Change | None],
          second: Callable[[Drawer], Change | None]) -> Suggestion | None:
    """A safe machine by both changes, or None."""
    one = first(drawer)
    two = None if one is None else second(one.drawer)
    if one is None or two is None:
        return None
    rows = search(two.drawer).rows
    if not rows or rows[0].unsafe:
        return None
    kind = KINDS[max(KINDS.index(one.kind), KINDS.index(two.kind))]
    return Suggestion(kind, f"{one.says(rows[0])}, and {two.says(rows[0])}", rows[0], two.drawer)


# ------------------------------------------------------------------------- changes


def _families(drawer: Drawer, shipped: Drawer) -> list[Family]:
    """Each a list of changes of one sort, the mildest first."""
    found: list[Family] = [
        [partial(_draw, amps=amps) for amps in _draws(drawer)],
        [partial(_handle, factor=factor) for factor in (1.25, 1.5, 2.0)],
        [partial(_wheels, factor=factor) for factor in (1.25, 1.5, 2.0)],
        [partial(_stages, more=more) for more in (1, 2)],
        [_mount],
        [partial(_motors, more=more) for more in (1, 2, 4, 8)],
    ]
    kinds = {item.part.kind for item in drawer.converters if item.count}
    found += [[partial(_converter, item=item)] for item in shipped.converters
              if item.part.kind not in kinds]
    names = {item.name for item in drawer.motors if item.count}
    found += [[partial(_class, item=item)] for item in shipped.motors
              if item.name not in names]
    return found


def _set(drawer: Drawer, section: str, field: str, key: str, value: float, scale: float) -> Drawer:
    """The drawer with one value of a part that all machines share (SI), its text beside it."""
    parts = dict(drawer.parts)
    parts[section] = replace(parts[section], **{field: value})
    origins = {**drawer.origins, f"{section}.{key}": Origin("given", value, value, value)}
    raw = {**drawer.raw, section: {**drawer.raw.get(section, {}), key: value / scale}}
    return replace(drawer, parts=FrozenMap[Any](parts), origins=FrozenMap(origins), raw=raw)


def _draws(drawer: Drawer) -> list[float]:
    """Currents below what the device draws, the highest first: shares of it, and what a slow
    USB port gives."""
    now = drawer.parts["load"].draw_a
    shares = [round(now * share, 3) for share in (0.8, 0.6, 0.4, 0.25)]
    return sorted({*shares, *(amps for amps in SLOW_PORTS_A if amps < now)}, reverse=True)


def _draw(drawer: Drawer, amps: float) -> Change | None:
    load = drawer.parts["load"]
    if load.kind == "resistor":
        return None
    return Change("choose", lambda row: f"a device (or cable) that draws {amps:.2f} A in place of "
                  f"{load.draw_a:.2f}", _set(drawer, "load", "draw_a", "draw_a", amps, 1.0))


def _handle(drawer: Drawer, factor: float) -> Change | None:
    now = drawer.parts["crank"].radius_m
    radius = round(now * factor, 3)
    if radius > LONGEST_M:
        return None
    longer = _set(drawer, "crank", "radius_m", "radius_mm", radius, 1e-3)
    return Change("print", lambda row: f"a handle of {radius * 1000:.0f} mm in place of "
                  f"{now * 1000:.0f}", longer)


def _wheels(drawer: Drawer, factor: float) -> Change | None:
    limits = drawer.limits
    teeth, ratio = round(limits.max_teeth * factor), limits.max_stage_ratio * factor
    if teeth > 400 or ratio > 20:
        return None

    def says(row: Row) -> str:
        most = max(driver / driven for driver, driven in row.build.teeth)
        more = f", {most:.2g}:1 a stage" if most > limits.max_stage_ratio else ""
        return f"wheels of up to {teeth} teeth in place of {limits.max_teeth}{more}"

    return Change("print", says, replace(drawer, limits=replace(
        limits, max_teeth=teeth, max_stage_ratio=ratio)))


def _stages(drawer: Drawer, more: int) -> Change | None:
    stages = drawer.limits.max_stages + more
    if stages > 6:
        return None
    return Change("print", lambda row: f"{len(row.build.teeth)} gear stages in place of at most "
                  f"{drawer.limits.max_stages}",
                  replace(drawer, limits=replace(drawer.limits, max_stages=stages)))


def _mount(drawer: Drawer) -> Change | None:
    if drawer.parts["bank"].mount_max_c >= PETG_C:
        return None
    return Change("print", lambda row: f"a mount that bears {PETG_C:.0f} degC (PETG)",
                  _set(drawer, "bank", "mount_max_c", "mount_max_c", PETG_C, 1.0))


def _motors(drawer: Drawer, more: int) -> Change | None:
    """More of whichever motor does it."""
    old = drawer.motors

    def says(row: Row) -> str:
        item = old[row.build.motor]
        have = min(item.count, drawer.limits.max_motors)
        missing = row.motors - item.count
        if missing <= 0:  # only the limit forbade it
            return f"{row.motors} of {item.name} on one handle in place of at most {have}"
        return f"{missing} more of {item.name} ({row.motors} in all)"

    limits = replace(drawer.limits, max_motors=min(drawer.limits.max_motors + more, MOST_MOTORS))
    if limits.max_motors == drawer.limits.max_motors:
        return None
    return Change("buy", says, replace(drawer, limits=limits, motors=tuple(
        replace(item, count=item.count + more) if item.count else item for item in old)))


def _converter(drawer: Drawer, item: Item) -> Change | None:
    part = item.part
    if item.name in {c.name for c in drawer.converters}:
        return None
    return Change("buy", lambda row: f"a {item.name} (window about {part.stop_v:.1f}-"
                  f"{part.max_in_v:.0f} V)", replace(
                      drawer, converters=(*drawer.converters, replace(item, typical=True))))


def _class(drawer: Drawer, item: Item) -> Change | None:
    part = item.part
    rpm = (part.no_load_rad_s or 0.0) / RPM

    def says(row: Row) -> str:
        return (f"{row.motors} of another motor: {item.name} (typical: {part.rated_v:.0f} V, "
                f"{rpm:.0f} rpm, {part.terminal_ohm:.1f} ohm)")

    return Change("buy", says, replace(drawer, motors=(*drawer.motors,
                                                       replace(item, typical=True))))

