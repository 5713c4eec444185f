"""The parts lists, places and wires of the rigs that ship, as files and tables of hardware/."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache, partial

from steadyturn_fw.boards import BOARDS

from steadyturn.circuit.table import Part, rows
from steadyturn.drawings import parts_list, place_tables, placer
from steadyturn.drawings.board_side import board_parts
from steadyturn.drawings.breadboard import Built, build
from steadyturn.drawings.breadboard_picture import picture
from steadyturn.drawings.headers import wiring_picture
from steadyturn.drawings.schematic import parts_for, rig_of
from steadyturn.rig.types import Rig

RIGS = ("lakeside-hut", "night-ferry", "radio-tent")  # each with another place, kind or rectifier
SHOWN = RIGS[0]  # whose places and wires stand in the pages


def all_nets() -> dict[str, tuple[str, tuple[str, ...]]]:
    """Every part that may have a place on the breadboard, of whatever rig: kind and nets."""
    found: dict[str, tuple[str, tuple[str, ...]]] = {}
    for row in rows():
        found.setdefault(row["ref"], (row["kind"], tuple(row["nets"])))
    rig = rig_of(SHOWN)
    most = replace(rig, board=replace(rig.board, kind="pico_w", lamp="two_led"))
    for part in board_parts(most):
        found.setdefault(part.ref, (part.kind, part.nets))
    return found


@cache
def _built(kind: str = "") -> tuple[Rig, tuple[Part, ...], Built]:
    rig = rig_of(SHOWN)
    parts = parts_for(SHOWN)
    if kind:
        rig = replace(rig, board=replace(rig.board, kind=kind))
        # of the five boards each has the pins that the power path asks for
        parts = tuple(p for p in parts if p.block != "board") + board_parts(rig)
    return rig, parts, build(rig, parts, placer.stored())


def _parts() -> dict[str, Sequence[Part]]:
    return {name: parts_for(name) for name in RIGS}


def parts_csv() -> str:
    """hardware/parts.csv."""
    return parts_list.csv_text(_parts())


def shopping(_: str = "") -> str:
    """What to buy, side by side."""
    return parts_list.shopping_table(_parts())


def table(which: str) -> str:
    """A table of the example that the pages show: terminals, places, wires, soldered, cuts."""
    _, parts, made = _built()
    return {"terminals": lambda: place_tables.terminals(made),
            "places": lambda: place_tables.places(made, parts),
            "wires": lambda: place_tables.wires(made),
            "soldered": lambda: place_tables.soldered(made, parts),
            "cuts": lambda: place_tables.strip_cuts(made) + "."}[which]()


def breadboard_svg() -> str:
    """hardware/wiring/breadboard.svg."""
    rig, parts, made = _built()
    return picture(made, parts, f"{rig.name}: breadboard")


def board_svg(kind: str) -> str:
    """hardware/wiring/ of one kind of board."""
    return wiring_picture(*_built(kind))


FILES = {"hardware/parts.csv": parts_csv, "hardware/wiring/breadboard.svg": breadboard_svg} | {
    f"hardware/wiring/{kind}.svg": partial(board_svg, kind) for kind in BOARDS}
