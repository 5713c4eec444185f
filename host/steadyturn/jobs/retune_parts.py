"""A motor or a converter by its name or file, for a rig that changes it: from the person's parts
file, the typical classes, another rig file, or a file of readings."""

from __future__ import annotations

import difflib
import functools
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steadyturn.bench.file import SECTIONS as READINGS
from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.bench import bench_motor
from steadyturn.rig.examples import example_names, example_path
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.spec import specs
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import Motor
from steadyturn.sizing import parts_file

# of [gears]: what they say is the motor's, not the train's
MOTOR_IN_GEARS = ("can_mm", "can_length_mm", "shaft_mm", "shaft_length_mm", "shaft_flat_mm",
                  "screw_circle_mm", "boss_mm")
NEAR = 3  # names that are offered
SIGNS = 5  # of a measured figure


@dataclass(frozen=True)
class Source:
    """name: in words; where: "the typical classes" or a file; rows: the section as it is written
    there, origins and all; body: the keys of [gears] that are this motor's."""

    section: str
    name: str
    where: str
    rows: Mapping[str, Any]
    body: Mapping[str, Any]


def find(section: str, given: str, parts: Path | None) -> Source:
    """section: "motor" or "converter"; given: a name or a file; parts: the person's parts file,
    None for none. WrongInput where nothing is called so, with the names that are near."""
    option = f"--{section}"
    if not given.strip() or not given.isprintable():
        raise WrongInput(Problem(option, "", repr(given), "a name or a file.",
                                 f'For example {option} "{_typical(section)[0][0]}"'))
    if os.path.isfile(given) or os.path.isdir(given) or _is_path(given):
        return _of_file(section, given, option)
    own = _drawer_items(section, parts) if parts is not None else []
    for name, rows in own:
        if name == given:
            _once(section, given, parts, option)
            return Source(section, name, _shown(parts), rows, {})
    shipped = _typical(section)
    for name, rows in shipped:
        if name == given:
            return Source(section, name, "the typical classes", rows, {})
    example = example_path(given)
    if example is not None:
        return _of_rig(section, example.read_text(encoding="utf-8"), str(example))
    names = [name for name, _ in (*own, *shipped)]
    near = [name for name in names if given.lower() in name.lower()][:NEAR] or (
        difflib.get_close_matches(given, [*names, *example_names()], n=NEAR, cutoff=0.45))
    where = "the typical classes" if parts is None else f"{_shown(parts)} or the typical classes"
    meant = ("Near it: " if near else "There are: ") + ", ".join(
        f"'{name}'" for name in near or names) + ". "
    raise WrongInput(Problem(
        option, "", given, f"no {section} is called so in {where}, and no file.",
        meant + ("" if parts is not None else "--parts FILE names your own parts file.")))


def _shown(path: Path | None) -> str:
    """An example by its name."""
    return path.stem if path is not None and path.parent == parts_file.EXAMPLES else str(path)


def _is_path(given: str) -> bool:
    return given.endswith(".toml") and example_path(given) is None


@functools.cache
def _typical(section: str) -> list[tuple[str, Mapping[str, Any]]]:
    drawer = parts_file.read_drawer(None, typical=True)
    return [(item.name, item.raw) for item in getattr(drawer, section + "s")]


def _drawer_items(section: str, path: Path) -> list[tuple[str, Mapping[str, Any]]]:
    drawer = parts_file.read_drawer(path, typical=True)
    return [(item.name, item.raw) for item in getattr(drawer, section + "s") if not item.typical]


def _once(section: str, given: str, path: Path | None, option: str) -> None:
    """WrongInput where two entries of the parts file have that name."""
    assert path is not None
    tree = tomllib.loads(read_text(path, "parts file", parts_file.NEW))
    twice = [i for i, one in enumerate(tree.get(section, []), 1) if one.get("name") == given]
    if len(twice) > 1:
        raise WrongInput(Problem(
            option, "", given, f"{path} has {len(twice)} of that name: numbers "
            f"{', '.join(map(str, twice))} of its [[{section}]].",
            "Give each its own name there."))


def _of_file(section: str, given: str, option: str) -> Source:
    path = Path(given)
    text = read_text(path, "file with a " + section)
    try:
        tree = tomllib.loads(text)
    except (ValueError, RecursionError):
        tree = {}
    if isinstance(tree.get("motor"), list) or isinstance(tree.get("converter"), list):
        items = _drawer_items(section, path)
        if len(items) == 1:
            return Source(section, items[0][0], given, items[0][1], {})
        names = ", ".join(f"'{name}'" for name, _ in items) or "none"
        raise WrongInput(Problem(option, "", given, f"this parts file has {len(items)} "
                                 f"{section}s: {names}.",
                                 f"Name one: {option} NAME --parts {given}"))
    if section == "motor" and tree and "motor" not in tree and set(tree) & set(READINGS):
        return _of_readings(path)
    return _of_rig(section, text, given)


def _of_rig(section: str, text: str, name: str) -> Source:
    rig = read_rig_text(text, name)  # all of it: what is in a broken file is not trusted
    tree = tomllib.loads(text.removeprefix("\ufeff"))
    gears = tree.get("gears", {})
    body = {key: gears[key] for key in MOTOR_IN_GEARS if section == "motor" and key in gears}
    called = rig.motor.name if section == "motor" else (
        f"{rig.converter.kind.replace('_', '-')} converter of {Path(name).stem}")
    return Source(section, called, name, tree[section], body)


def _of_readings(path: Path) -> Source:
    """The constants that `bench` finds in readings of a bare motor."""
    answer = bench_motor(path.stem[:48], path, None, write=False)
    known = {spec.key: spec for spec in specs(Motor).values()}
    rows: dict[str, Any] = {"name": answer.subject}
    told = [] if answer.result is None else [
        v for v in answer.result.values if v.told and v.key in known]
    for value in told:
        spec = known[value.key]
        low, middle, high = (min(max(float(f"{x:.{SIGNS}g}"), spec.low), spec.high)
                             for x in (value.low, value.value, value.high))
        rows[value.key] = {"measured": middle, "low": min(low, middle), "high": max(high, middle),
                           "on": _date(answer.on)}
    missing = [key for key in ("emf_v_per_krpm", "terminal_ohm") if key not in rows]
    if missing:
        raise Failed(f"The readings in {path} do not tell {' and '.join(missing)}: without them "
                     "no band can be worked out.",
                     f"'steadyturn bench --motor NAME --readings {path}' says which reading "
                     "would.")
    return Source("motor", answer.subject, str(path), rows, {})


def _date(on: str) -> Any:
    import datetime

    return datetime.date.fromisoformat(on)
