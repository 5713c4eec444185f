"""Reading a parts file: all of it, or every problem at once with its line.

The tables are a rig file's, read by the rig file's reader: [[motor]] and [[converter]] once
for each kind at hand, the others once for every machine alike. The format is in parts.md.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from steadyturn.errors import Problem, WrongInput
from steadyturn.rig import rules, which_file
from steadyturn.rig.file import MOST_POINTS, Walk
from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.toml_text import dotted, load, read_text
from steadyturn.rig.types import Bank, Converter, EfficiencyPoint, Motor, Origin, Stage
from steadyturn.rig.values import shown
from steadyturn.sizing.drawer import (
    ARRAYS,
    DRAWER_PARTS,
    SECTIONS,
    Build,
    Drawer,
    DrawerConverter,
    DrawerMotor,
    Item,
    Limits,
    Mesh,
    rig_of,
    stripped,
)

FOLDER = Path(__file__).parent
TYPICAL = FOLDER / "typical.toml"
EXAMPLES = FOLDER / "examples"
MOST_ITEMS = 200  # motors, and converters, in one file
NEW = "'steadyturn size --new drawer.toml' writes a parts file to fill in."
PLACE = "bus_switch"  # of the load switch, where the file does not say; as `new` writes it
_ONE_PAIR = ((12, 12),)


def example_names() -> list[str]:
    return sorted(p.stem for p in EXAMPLES.glob("*.toml"))


def example_path(name: str) -> Path | None:
    """The example drawer called `name` (with or without .toml), or None."""
    stem = name.removesuffix(".toml")
    return EXAMPLES / f"{stem}.toml" if stem in example_names() else None


def read_drawer(path: str | Path | None, *, typical: bool = False) -> Drawer:
    """The drawer in a file; with `typical` the typical classes stand beside what is in it,
    and without a path alone. WrongInput with every problem there is."""
    shipped = read_drawer_text(TYPICAL.read_text(encoding="utf-8"), str(TYPICAL))
    if path is None:
        own = dataclasses.replace(shipped, motors=(), converters=())
    else:
        text = read_text(Path(path), "parts file", NEW)
        own = read_drawer_text(text, str(path), beside=shipped if typical else None)
    return _with_typical(own, shipped) if typical else own


def read_drawer_text(text: str, name: str, *, beside: Drawer | None = None) -> Drawer:
    """The drawer in a TOML text; `name` stands for the file in problems. beside: what is
    added later, so that it may have no motors or no converters of its own."""
    got = load(text, name, ARRAYS)
    if got.tree is None:
        raise WrongInput(*sorted(got.problems, key=_line))
    which_file.refuse_other(got.tree, name, which_file.PARTS)
    lost = {dotted(path) for path, line in got.found.lines.items() if line in got.lost}
    walk = _Walk(name, got.found.lines, lost, headless=got.headless, sections=SECTIONS,
                 arrays=ARRAYS)
    drawer = walk.drawer(got.tree)
    problems = got.problems + walk.problems
    if not got.headless:
        problems += walk.unfit(drawer, beside)
    if problems:
        raise WrongInput(*sorted(dict.fromkeys(problems), key=_line))
    return drawer


def _line(problem: Problem) -> int:
    tail = problem.where.rpartition(":")[2]
    return int(tail) if tail.isdigit() else 0


class _Walk(Walk):
    """The rig file's walk, over a tree with arrays of motors and converters."""

    def drawer(self, tree: dict[str, Any]) -> Drawer:
        self.unknown_sections(tree)
        self._searched(tree, "bank", ("series", "parallel"),
                       "max_series, max_parallel and max_motors in [limits] bound it.")
        self._searched(tree, "stage", ("driver_teeth", "driven_teeth", "ratio"),
                       "min_teeth, max_teeth and max_stage_ratio in [limits] bound it.")
        if isinstance(tree.setdefault("switch", {}), dict):
            tree["switch"].setdefault("place", PLACE)
        texts = self.head(tree)
        motors = self.items(tree, "motor", DrawerMotor, Motor)
        converters = self.items(tree, "converter", DrawerConverter, Converter)
        parts = {name: self.part(name, cls, tree) for name, cls in DRAWER_PARTS.items()
                 if name not in ("motor", "converter")}
        parts["arm"] = self.armed(parts["arm"])
        limits: Limits = parts.pop("limits")
        mesh: Mesh = parts.pop("stage")
        rows = parts["bank"]
        parts["bank"] = Bank(spread=rows.spread, diode_each=rows.diode_each,
                             mount_max_c=rows.mount_max_c)
        origins = {key: origin for key, origin in self.origins.items()
                   if not key.startswith(("motor[", "converter[", "limits."))}
        raw = {name: table for name, table in tree.items()
               if name in parts or name in ("stage", "rig")}
        return Drawer(texts["name"], texts["note"], motors, converters, limits,
                      Stage(efficiency=mesh.efficiency), FrozenMap[Any](parts), FrozenMap(origins),
                      raw)

    def _searched(self, tree: dict[str, Any], section: str, keys: tuple[str, ...],
                  how: str) -> None:
        """What a rig file says and a parts file leaves open."""
        table = tree.get(section)
        if not isinstance(table, dict):
            return
        for key in keys:
            if key in table:
                self.problem((section, key), shown(table.pop(key)),
                             "that is what is searched for: leave it out.", how)

    def items(self, tree: dict[str, Any], section: str, cls: type[Any],
              plain: type[Any]) -> tuple[Item, ...]:
        read = self.elements(tree, (section,), cls, MOST_ITEMS)
        found: list[Item] = []
        for i, one in enumerate(read):
            raw = dict(tree[section][i])
            part = stripped(one, plain)
            if plain is Converter:
                points = self.elements(raw, (section, i, "points"), EfficiencyPoint, MOST_POINTS)
                part = dataclasses.replace(part, points=points)
            name = raw["name"] if isinstance(raw.get("name"), str) else ""
            name = self._own_name(name or f"{section} {i + 1}", found)
            if plain is Motor:
                part = dataclasses.replace(part, name=name)
                raw["name"] = name
            else:
                raw.pop("name", None)
            raw.pop("count", None)
            prefix = f"{section}[{i + 1}]."
            origins = {f"{section}.{key.removeprefix(prefix)}": origin
                       for key, origin in self.origins.items() if key.startswith(prefix)}
            found.append(Item(name, part, one.count, FrozenMap[Origin](origins), raw))
        return tuple(found)

    @staticmethod
    def _own_name(name: str, others: list[Item]) -> str:
        """Two of one name are told apart by a number."""
        taken = {item.name for item in others}
        if name not in taken:
            return name
        return next(n for n in (f"{name[:44]} {k}" for k in range(2, MOST_ITEMS + 2))
                    if n not in taken)

    # ------------------------------------------------------ what must hold together

    def unfit(self, drawer: Drawer, beside: Drawer | None) -> Iterator[Problem]:
        """What is missing, and what the rules of a rig forbid of any of its machines."""
        limits = drawer.limits
        if limits.min_teeth > limits.max_teeth:
            yield self._wrong("limits.min_teeth", str(limits.min_teeth),
                              f"must not be above max_teeth ({limits.max_teeth}).")
        if drawer.parts["load"].kind == "none":
            yield self._wrong("load.kind", '"none"', "a machine is sized for something to charge.",
                              'For example kind = "phone".')
        for section, items in (("motor", drawer.motors), ("converter", drawer.converters)):
            if beside or self.is_doubtful(section) or any(item.count for item in items):
                continue
            if items:
                yield self._wrong(f"{section}[1].count", "0", f"every {section} has a count of 0.",
                                  "count is how many of them there are.")
            else:
                yield Problem(f"{self.name}:1", section, "", f"there is no {section}: write "
                              f"[[{section}]] for each kind at hand.",
                              f"--typical adds typical ones. {NEW}")
        yield from dict.fromkeys(self._broken_rules(drawer, beside))

    def _broken_rules(self, drawer: Drawer, beside: Drawer | None) -> Iterator[Problem]:
        missing = tuple(section for section in ("motor", "converter")
                        if not getattr(drawer, section + "s"))
        if beside is not None:
            drawer = dataclasses.replace(drawer, motors=drawer.motors or beside.motors[:1],
                                         converters=drawer.converters or beside.converters[:1])
        for build in _each_once(drawer):
            for fault in rules.faults(rig_of(drawer, build)):
                if fault.keys[0].startswith(missing):
                    continue
                keys = [_of_item(key, build) for key in fault.keys]
                if not any(self.is_doubtful(key) for key in keys):
                    yield self._wrong(keys[0], fault.value, fault.right, fault.how)

    def _wrong(self, key: str, value: str, right: str, how: str = "") -> Problem:
        path: list[str | int] = []
        for part in key.split("."):
            indexed = re.fullmatch(r"(\w+)\[(\d+)\]", part)
            path += [indexed[1], int(indexed[2]) - 1] if indexed else [part]
        return Problem(self.where(tuple(path)), key, value, right, how)


def _of_item(key: str, build: Build) -> str:
    """"motor.max_a" of a rig -> "motor[3].max_a" of the file."""
    section, dot, rest = key.partition(".")
    if section not in ("motor", "converter"):
        return key
    return f"{section}[{getattr(build, section) + 1}]{dot}{rest}"


def _each_once(drawer: Drawer) -> Iterator[Build]:
    """Machines that together have every motor and every converter."""
    for i in range(max(len(drawer.motors), len(drawer.converters))):
        if drawer.motors and drawer.converters:
            yield Build(min(i, len(drawer.motors) - 1), min(i, len(drawer.converters) - 1), 1, 1,
                        _ONE_PAIR)


def _with_typical(own: Drawer, shipped: Drawer) -> Drawer:
    """`own` with the typical classes that go with the rest of it."""
    typical = {
        section: tuple(dataclasses.replace(item, typical=True)
                       for item in getattr(shipped, section))
        for section in ("motors", "converters")}
    taken = {item.name for item in (*own.motors, *own.converters)}
    both = dataclasses.replace(
        own,
        motors=(*own.motors, *(m for m in typical["motors"] if m.name not in taken)),
        converters=(*own.converters, *(c for c in typical["converters"] if c.name not in taken)))
    bad_motors, bad_converters = set(), set()
    for build in _each_once(both):
        for fault in rules.faults(rig_of(both, build)):
            if fault.keys[0].startswith("motor."):
                bad_motors.add(build.motor)
            if any(key.startswith("converter.") for key in fault.keys):
                bad_converters.add(build.converter)
    return dataclasses.replace(
        both, motors=_fit(both.motors, bad_motors), converters=_fit(both.converters,
                                                                    bad_converters))


def _fit(items: tuple[Item, ...], bad: set[int]) -> tuple[Item, ...]:
    return tuple(item for i, item in enumerate(items) if not item.typical or i not in bad)


