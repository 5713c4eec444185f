"""A machine of the drawer as the text of a rig file.

What the parts file says goes over as it stands there, measured with its interval and its
date, assumed with its range; what it leaves out the rig file leaves out too, and is assumed
there as here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from steadyturn.rig.types import PARTS
from steadyturn.sizing import trains
from steadyturn.sizing.drawer import Build, Drawer


def machine(drawer: Drawer, build: Build) -> str:
    """A machine in one line.

    >>> from steadyturn.sizing.parts_file import example_path, read_drawer
    >>> machine(read_drawer(example_path("attic-drawer")), Build(0, 2, 2, 1, ((60, 12),)))
    '2 x printer motor in series, step-up/down board, 60/12'
    """
    return (f"{motors(drawer, build)}, {drawer.converters[build.converter].name}, "
            f"{trains.text(build.teeth)}")


def motors(drawer: Drawer, build: Build) -> str:
    """How many of which motor, and how they are joined."""
    name, series, parallel = drawer.motors[build.motor].name, build.series, build.parallel
    if series * parallel == 1:
        return f"1 x {name}"
    if parallel == 1:
        return f"{series} x {name} in series"
    if series == 1:
        return f"{parallel} x {name} in parallel"
    return f"{series * parallel} x {name}, {parallel} rows of {series} in series"


def rig_name(drawer: Drawer, number: int) -> str:
    return f"{drawer.name[:40].rstrip()} {number}"


def rig_text(drawer: Drawer, build: Build, number: int, source: str) -> str:
    """The whole file. number: of the row; source: the command that found it."""
    motor, converter = drawer.motors[build.motor], drawer.converters[build.converter]
    doc = tomlkit.document()
    for line in (f"{machine(drawer, build)}.", f"From row {number} of '{source}'.",
                 "What is not written here is assumed with a typical value and its range:",
                 "'steadyturn check' lists it and says how to measure it."):
        doc.add(tomlkit.comment(_one_line(line)))
    doc.add(tomlkit.nl())
    _section(doc, "rig", {"name": rig_name(drawer, number),
                          "note": _one_line(machine(drawer, build))[:400]})
    for name in PARTS:
        if name == "motor":
            _section(doc, name, motor.raw)
        elif name == "bank":
            _section(doc, name, {"series": build.series, "parallel": build.parallel,
                                 **drawer.raw.get("bank", {})})
            _stages(doc, drawer, build)
        elif name == "converter":
            _section(doc, name, converter.raw)
        elif drawer.raw.get(name):
            _section(doc, name, drawer.raw[name])
    return tomlkit.dumps(doc).rstrip("\n") + "\n"


def _stages(doc: Any, drawer: Drawer, build: Build) -> None:
    tables = tomlkit.aot()
    for driver, driven in build.teeth:
        table = tomlkit.table()
        table.add("driver_teeth", driver)
        table.add("driven_teeth", driven)
        for key, value in drawer.raw.get("stage", {}).items():
            table.add(key, _item(value))
        table.add(tomlkit.nl())
        tables.append(table)
    doc.add("stage", tables)


def _section(doc: Any, name: str, rows: Mapping[str, Any]) -> None:
    table = tomlkit.table()
    points = None
    for key, value in rows.items():
        if key == "points":
            points = value
        else:
            table.add(key, _item(value))
    table.add(tomlkit.nl())
    if points:
        several = tomlkit.aot()
        for point in points:
            one = tomlkit.table()
            for key, value in point.items():
                one.add(key, _item(value))
            one.add(tomlkit.nl())
            several.append(one)
        table.add("points", several)
    doc.add(name, table)


def _item(value: Any) -> Any:
    if not isinstance(value, dict):
        return tomlkit.item(value)
    inline: InlineTable = tomlkit.inline_table()
    inline.update(value)
    return inline


def _one_line(text: str) -> str:
    """Without what TOML or UTF-8 refuse: the name of a file may have anything in it."""
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))
