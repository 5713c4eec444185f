"""A rig file with another motor, bank, ratio or converter: what belonged to the old one goes, as a
comment beside what takes its place; everything else stays as it is, order and comments too."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, prod
from typing import Any

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.retune_parts import MOTOR_IN_GEARS, Source
from steadyturn.model import gears
from steadyturn.rig.edit import Edit, Tables, text_with, tree_of, value_text
from steadyturn.rig.lines import Path as KeyPath
from steadyturn.rig.lines import scan
from steadyturn.rig.spec import specs
from steadyturn.rig.types import Rig, Stage
from steadyturn.rig.units import plain

TEETH = re.compile(r"(\d+)\s*[/:]\s*(\d+)")
LEAST_RATIO, MOST_RATIO = 0.5, 400.0  # of the whole train: engineering judgement
_STAGE = {spec.key: spec for spec in specs(Stage).values()}


@dataclass(frozen=True)
class Wanted:
    """What is to change; None: that stays. ratio: as given, "25" or "60/12x60/12"."""

    motor: Source | None = None
    converter: Source | None = None
    series: int | None = None
    parallel: int | None = None
    ratio: str | None = None

    @property
    def nothing(self) -> bool:
        return all(x is None for x in (self.motor, self.converter, self.series, self.parallel,
                                       self.ratio))


def changed_text(text: str, rig: Rig, wanted: Wanted, on: str, name: str) -> str:
    """The rig file's text with that change. on: the date; name: of the file. Raises WrongInput
    (a ratio that no train has), Failed where a section cannot be changed in place."""
    given, tree = text, tree_of(text)
    edits: list[Edit | Tables] = []
    if wanted.motor is not None and tree.get("motor") != dict(wanted.motor.rows):
        text = section_replaced(text, "motor", wanted.motor.rows, on, name)
        edits += _gone(tree, "bank", ("spread_percent",))
        edits += _gone(tree, "gears", [key for key in MOTOR_IN_GEARS
                                       if key not in wanted.motor.body])
        edits += [Edit(("gears",), key, value) for key, value in wanted.motor.body.items()
                  if tree.get("gears", {}).get(key) != value]
    if wanted.converter is not None and tree.get("converter") != dict(wanted.converter.rows):
        text = section_replaced(text, "converter", wanted.converter.rows, on, name)
    for key, count in (("series", wanted.series), ("parallel", wanted.parallel)):
        if count is not None and getattr(rig.bank, key) != count:
            edits.append(Edit(("bank",), key, count))
    if wanted.ratio is not None:
        edits += _ratio(rig, tree, wanted.ratio)
    text = text_with(text, edits, on, name)
    if text != given:  # what outings showed was the old machine's
        text = text_with(text, _gone(tree, "band", ("low_tpm", "target_tpm", "high_tpm")), on,
                         name)
    return text


def _gone(tree: Mapping[str, Any], section: str, keys: Sequence[str]) -> list[Edit | Tables]:
    have = tree.get(section, {})
    return [Edit((section,), key, None) for key in keys if key in have]


# ---------------------------------------------------------------------------- the ratio


def _ratio(rig: Rig, tree: Mapping[str, Any], given: str) -> list[Edit | Tables]:
    pairs = TEETH.findall(given)
    if pairs and re.fullmatch(r"\s*\d+\s*[/:]\s*\d+(\s*[x*]\s*\d+\s*[/:]\s*\d+)*\s*", given):
        return _teeth(tree, [(int(a), int(b)) for a, b in pairs], given)
    try:
        ratio = float(given)
    except ValueError:
        raise _wrong_ratio(given) from None
    if not isfinite(ratio) or not LEAST_RATIO <= ratio <= MOST_RATIO:
        raise _wrong_ratio(given)
    stages = rig.stages
    if abs(gears.ratio(stages) / ratio - 1) < 1e-5:  # the last one is written with six digits
        return []
    if not stages:
        return [Tables(("stage",), ({"ratio": ratio},))]
    rest = prod(gears.stage_ratio(stage) for stage in stages[:-1])
    last = float(f"{ratio / rest:.6g}")
    if not _STAGE["ratio"].low <= last <= _STAGE["ratio"].high:
        raise _wrong_ratio(given)
    at = ("stage", len(stages) - 1)
    have = tree["stage"][-1]
    return [*(Edit(at, key, None) for key in ("driver_teeth", "driven_teeth") if key in have),
            Edit(at, "ratio", last)]


def _teeth(tree: Mapping[str, Any], pairs: list[tuple[int, int]],
           given: str) -> list[Edit | Tables]:
    low, high = _STAGE["driver_teeth"].low, _STAGE["driver_teeth"].high
    if any(not low <= teeth <= high for pair in pairs for teeth in pair) or len(pairs) > 8:
        raise WrongInput(Problem("--ratio", "", given, f"at most 8 meshes of wheels with "
                                 f"{plain(low)} to {plain(high)} teeth.",
                                 "For example --ratio 60/12x50/10, the handle's side first."))
    have = tree.get("stage", [])
    if [(s.get("driver_teeth"), s.get("driven_teeth")) for s in have] == pairs:
        return []
    if len(have) == len(pairs):
        edits: list[Edit | Tables] = []
        for i, (driver, driven) in enumerate(pairs):
            if (have[i].get("driver_teeth"), have[i].get("driven_teeth")) == (driver, driven):
                continue
            edits += [Edit(("stage", i), "driver_teeth", driver),
                      Edit(("stage", i), "driven_teeth", driven)]
            if "ratio" in have[i]:
                edits.append(Edit(("stage", i), "ratio", None))
        return edits
    # another number of meshes: what is known of one mesh is taken for all
    known = {"efficiency": have[0]["efficiency"]} if have and "efficiency" in have[0] else {}
    return [Tables(("stage",), tuple({"driver_teeth": a, "driven_teeth": b, **known}
                                     for a, b in pairs))]


def _wrong_ratio(given: str) -> WrongInput:
    return WrongInput(Problem(
        "--ratio", "", given, f"a whole train's ratio, {LEAST_RATIO:g} to {MOST_RATIO:g}, or the "
        "teeth of each mesh.", "For example --ratio 25, or --ratio 60/12x60/12, the handle's "
        "side first."))


# ----------------------------------------------------------------------------- sections


def section_replaced(text: str, section: str, rows: Mapping[str, Any], on: str,
                     name: str) -> str:
    """The text with all of [section] (and the tables in it) as a comment under its header, and
    these rows in force below. Failed where it is in a form that cannot be kept."""
    eol = "\r\n" if "\r\n" in text else "\n"
    found, lines = scan(text), text.replace("\r\n", "\n").split("\n")
    head = found.lines.get((section,))
    points = rows.get("points", ())
    new = [f"{key} = {value_text(value)}" for key, value in rows.items() if key != "points"]
    if head is None or not re.match(r"\s*\[\s*" + section + r"\s*\]", lines[head - 1]):
        raise Failed(f"{name} has its [{section}] in a form that cannot be changed in place.",
                     f"Write it as a section of its own: [{section}] on a line, and its keys "
                     "below.")
    tables = _sub_tables(found.lines, section)
    for first, last in sorted((_reach(found.statements, lines, at) for at in tables),
                              reverse=True):
        lines[first - 1 : last] = _commented(lines[first - 1 : last], on)
    first, last = _reach(found.statements, lines, head)
    old = lines[first:last]
    kept = _until(old)
    old = old[len(kept):]
    block = _commented(old, on) if any(line.strip() for line in old) else []
    if block and "\n".join(block[1:]) in "\n".join(kept):
        block = []  # it stands there already, from the time before
    for point in points:
        new += ["", f"[[{section}.points]]",
                *(f"{key} = {value_text(value)}" for key, value in point.items())]
    lines[first:last] = [*kept, *block, *new]
    return eol.join(lines)


def _sub_tables(where: Mapping[KeyPath, int], section: str) -> list[int]:
    """Lines of the headers of its tables in double brackets."""
    return sorted({line for path, line in where.items()
                   if len(path) == 3 and path[:2] == (section, "points")})


def _reach(statements: list[tuple[int, int]], lines: list[str], head: int) -> tuple[int, int]:
    """The header's line and the last line of its last statement."""
    last = head
    for first, end in sorted(statements):
        if first <= head:
            continue
        if lines[first - 1].lstrip().startswith("["):
            break
        last = end
    return head, last


def _commented(lines: list[str], on: str) -> list[str]:
    """As a comment that says until when it held."""
    return [f"# until {on}:", *(f"#   {line}".rstrip() for line in lines)]


def _until(lines: list[str]) -> list[str]:
    """The comments that earlier changes left at the begin of a section."""
    count = 0
    while count < len(lines) and re.match(r"# until \d{4}-\d\d-\d\d:\s*$", lines[count]):
        count += 1
        while count < len(lines) and re.match(r"#(   |\s*$)", lines[count]):
            count += 1
    return lines[:count]
