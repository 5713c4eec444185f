"""Reading a rig file: all of it, or every problem at once with its line."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steadyturn.errors import Problem, WrongInput
from steadyturn.rig import nearmiss, person, rules, values, which_file
from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.lines import Path as KeyPath
from steadyturn.rig.pins import read_pins
from steadyturn.rig.toml_text import dotted, load, read_text
from steadyturn.rig.types import (
    PARTS,
    Arm,
    Board,
    Converter,
    EfficiencyPoint,
    Origin,
    Rig,
    Spec,
    Stage,
    specs,
)

MOST_STAGES = 8
MOST_POINTS = 100


@dataclass(frozen=True)
class Reading:
    """A rig and where its keys stand: key as in `Rig.origins` -> "FILE:LINE"."""

    rig: Rig
    where: Mapping[str, str]


def read_rig(path: str | Path) -> Rig:
    """The rig in a file; WrongInput with every problem there is."""
    return read(path).rig


def read_rig_text(text: str, name: str) -> Rig:
    """The rig in a TOML text; `name` stands for the file in problems."""
    return read_text_of(text, name).rig


def read(path: str | Path) -> Reading:
    """Like `read_rig`, with the lines."""
    return read_text_of(read_text(Path(path)), str(path))


def read_text_of(text: str, name: str) -> Reading:
    """Like `read_rig_text`, with the lines."""
    got = load(text, name)
    if got.tree is None:
        raise WrongInput(*sorted(got.problems, key=_line))
    which_file.refuse_other(got.tree, name, which_file.RIG)
    lost = {dotted(path) for path, line in got.found.lines.items() if line in got.lost}
    walk = Walk(name, got.found.lines, lost, headless=got.headless)
    rig = walk.rig(got.tree)
    problems = got.problems + walk.problems
    for fault in rules.faults(rig):
        if not got.headless and not any(walk.is_doubtful(key) for key in fault.keys):
            problems.append(Problem(walk.where(_path(fault.keys[0])), fault.keys[0],
                                    fault.value, fault.right, fault.how))
    if problems:
        raise WrongInput(*sorted(dict.fromkeys(problems), key=_line))
    where = {dotted(path): walk.where(path) for path in got.found.lines}
    return Reading(rig, FrozenMap(where))


def _line(problem: Problem) -> int:
    tail = problem.where.rpartition(":")[2]
    return int(tail) if tail.isdigit() else 0


def _path(key: str) -> KeyPath:
    """"stage[1].ratio" -> ("stage", 0, "ratio")."""
    path: list[str | int] = []
    for part in key.split("."):
        indexed = re.fullmatch(r"(\w+)\[(\d+)\]", part)
        path += [indexed[1], int(indexed[2]) - 1] if indexed else [part]
    return tuple(path)


class Walk:
    """Goes through the tree by the parts' specs. A value that cannot be used is
    reported and replaced by a plausible one, and its key is doubtful: rules that
    compare values do not speak about it."""

    def __init__(
        self, name: str, lines: Mapping[KeyPath, int], lost: set[str], *, headless: bool,
        sections: Mapping[str, Mapping[str, Spec]] = nearmiss.SECTIONS,
        arrays: tuple[str, ...] = nearmiss.ARRAYS,
    ) -> None:
        self.name = name
        self.sections, self.arrays = sections, arrays  # what the file may say
        self.lines = lines
        self.headless = headless  # which sections there are is not known: none is missing
        self.problems: list[Problem] = []
        self.doubtful = set(lost)
        self.origins: dict[str, Origin] = {}

    def where(self, path: KeyPath) -> str:
        """FILE:LINE of a path, or of the nearest thing around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return f"{self.name}:{self.lines.get(path, 1)}"

    def problem(self, path: KeyPath, value: str, right: str, how: str = "") -> None:
        key = dotted(path)
        self.problems.append(Problem(self.where(path), key, value, right, how))
        self.doubtful.add(key)

    def is_doubtful(self, key: str) -> bool:
        """Whether the key or the section it stands in could not be read."""
        return any(key == d or key.startswith((d + ".", d + "[")) for d in self.doubtful)

    # ------------------------------------------------------------------- the tree

    def rig(self, tree: dict[str, Any]) -> Rig:
        self.unknown_sections(tree)
        texts = self.head(tree)
        parts = {name: self.part(name, cls, tree) for name, cls in PARTS.items()}
        stages = self.elements(tree, ("stage",), Stage, MOST_STAGES)
        parts["arm"] = self.armed(parts["arm"])
        return Rig(name=texts["name"], note=texts["note"], stages=stages,
                   origins=FrozenMap(self.origins), **parts)

    def armed(self, arm: Arm) -> Arm:
        """The arm with the power of its age and arms, where the file leaves it out."""
        if self.origins.get("arm.power_w") != values.assumed(specs(Arm)["power_w"]):
            return arm
        power = self.origins["arm.power_w"] = person.assumed_power(arm)
        return dataclasses.replace(arm, power_w=power.value)

    def unknown_sections(self, tree: dict[str, Any]) -> None:
        for name, raw in tree.items():
            if name not in self.sections or "." in name:
                right, how, meant = nearmiss.for_section(name, raw, self.sections, self.arrays)
                self.problem((name,), "" if isinstance(raw, dict | list) else values.shown(raw),
                             right, how)
                if meant:
                    self.doubtful.add(meant)

    def head(self, tree: dict[str, Any]) -> dict[str, str]:
        """Name and note of [rig]."""
        head = self.table(tree, "rig")
        default_name = re.sub(r"[^ -~]", "_", Path(self.name).stem)[:48] or "rig"
        texts = {"name": default_name, "note": ""}
        for key in head:
            if key in texts:
                value, _, faults = values.read(nearmiss.RIG_KEYS[key], head[key])
                self._faults(("rig", key), faults, head[key])
                texts[key] = value or texts[key]
            else:
                self._unknown("rig", ("rig", key), head[key])
        return texts

    def table(self, tree: dict[str, Any], name: str) -> dict[str, Any]:
        raw = tree.get(name, {})
        if isinstance(raw, dict):
            return raw
        right = f"a section: write [{name}] on a line of its own, and its keys below."
        how = ""
        if isinstance(raw, list):
            right = f"there is just one [{name}]: single brackets."
            if name in ("motor", "converter"):
                how = "Several to choose from make a parts file, for 'steadyturn size FILE'."
        self.problem((name,), "" if isinstance(raw, list) else values.shown(raw), right, how)
        return {}

    def part(self, name: str, cls: type[Any], tree: dict[str, Any]) -> Any:
        needed = [s.key for f, s in specs(cls).items() if _required(cls, f)]
        if name not in tree and needed and not self.headless and not self.is_doubtful(name):
            self.problem((name,), "", f"the section [{name}] is missing; it needs at least "
                         f"{', '.join(needed)}.", "'steadyturn new FILE' writes a whole file.")
        raw = self.table(tree, name)
        part = self.fields(cls, raw, (name,), name)
        if cls is Converter:
            points = self.elements(raw, (name, "points"), EfficiencyPoint, MOST_POINTS)
            return dataclasses.replace(part, points=points)
        if cls is Board and ("pins" in raw or part.kind == "other"):
            pins, faults = read_pins(part.kind, raw.get("pins", {}))
            for pin, value, right, how in faults:
                self.problem((name, "pins", *pin), value, right, how)
            return dataclasses.replace(part, pins=FrozenMap(pins))
        return dataclasses.replace(part, pins=FrozenMap({})) if cls is Board else part

    def elements(
        self, table: dict[str, Any], path: KeyPath, cls: type[Any], most: int
    ) -> tuple[Any, ...]:
        """An array of tables, each element checked like a part."""
        raw = table.get(str(path[-1]), [])
        section = ".".join(str(p) for p in path)
        if isinstance(raw, dict):
            self.problem(path, "", f"write [[{section}]] with double brackets, once for each.")
            raw = []
        elif not isinstance(raw, list) or not all(isinstance(r, dict) for r in raw):
            self.problem(path, values.shown(raw), f"tables: write [[{section}]] for each.")
            raw = []
        elif len(raw) > most:
            self.problem(path, str(len(raw)), f"at most {most} of them.")
            raw = raw[:most]
        return tuple(self.fields(cls, r, (*path, i), section) for i, r in enumerate(raw))

    # --------------------------------------------------------------------- fields

    def fields(self, cls: type[Any], raw: dict[str, Any], path: KeyPath, section: str) -> Any:
        of_key = {spec.key: field for field, spec in specs(cls).items()}
        extra = "points" if issubclass(cls, Converter) else "pins" if cls is Board else ""
        got: dict[str, Any] = {}
        meant: set[str] = set()
        for key, value in raw.items():
            if key in of_key:
                field, spec = of_key[key], specs(cls)[of_key[key]]
                got[field], origin, faults = values.read(spec, value)
                self._faults((*path, key), faults, value)
                if origin is not None:
                    self.origins[dotted((*path, key))] = origin
                if faults:
                    got[field] = _stand_in(spec)
            elif key != extra:
                meant.add(self._unknown(section, (*path, key), value))
        for field, spec in specs(cls).items():
            if field not in got:
                self._left_out(cls, field, spec, path, got, meant)
        return cls(**got)

    def _left_out(
        self, cls: type[Any], field: str, spec: Spec, path: KeyPath, got: dict[str, Any],
        meant: set[str],
    ) -> None:
        key = (*path, spec.key)
        origin = values.assumed(spec)
        if origin is not None:
            self.origins[dotted(key)] = origin
        if spec.key in meant:
            self.doubtful.add(dotted(key))
        if not _required(cls, field):
            return
        got[field] = _stand_in(spec)
        if spec.key in meant or self.is_doubtful(dotted(key)):
            return
        self.doubtful.add(dotted(key))
        if not self.headless:
            self.problem(key, "", f"this key is missing: {_expected(spec)}.", spec.how)

    def _faults(self, path: KeyPath, faults: list[values.Fault], raw: Any) -> None:
        for fault in faults:
            at = (*path, fault.sub) if fault.sub else path
            self.problem(at, fault.value or values.shown(raw), fault.right, fault.how)
            self.doubtful.add(dotted(path))

    def _unknown(self, section: str, path: KeyPath, raw: Any) -> str:
        right, how, meant = nearmiss.for_key(section, str(path[-1]), raw, self.sections)
        self.problem(path, values.shown(raw), right, how)
        return meant


def _required(cls: type[Any], field: str) -> bool:
    of = {f.name: f for f in dataclasses.fields(cls)}[field]
    return of.default is dataclasses.MISSING and of.default_factory is dataclasses.MISSING


def _expected(spec: Spec) -> str:
    if spec.type in ("number", "whole"):
        return values.range_text(spec)
    if spec.type == "choice":
        return "one of " + ", ".join(f'"{c}"' for c in spec.choices)
    return {"text": "text in quotes", "flag": "true or false"}[spec.type]


def _stand_in(spec: Spec) -> Any:
    """Something of the right type in place of a value that cannot be used."""
    if spec.type == "number":
        return (spec.typical[1] if spec.typical else (spec.low * spec.high) ** 0.5) * spec.scale
    if spec.type == "whole":
        return spec.default if spec.default is not None else int(spec.low)
    if spec.type == "choice":
        return spec.default or spec.choices[0]
    return spec.default
