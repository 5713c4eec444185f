"""The schematic of a rig's power path, drawn from the parts table: sheets, and as SVG text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache, partial
from typing import Any

from steadyturn.circuit.table import Part, fitted
from steadyturn.circuit.values import design, values
from steadyturn.drawings import (
    schematic_board,
    schematic_hold,
    schematic_output,
    schematic_source,
)
from steadyturn.drawings.board_side import board_parts
from steadyturn.drawings.sheet import Sheet
from steadyturn.drawings.sheet_svg import svg_text
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig


def parts_of(rig: Rig, socket: str = "a") -> tuple[Part, ...]:
    """All parts with their values, the power path's for the rig's own band."""
    return fitted(rig, _values(rig), socket) + board_parts(rig)


def _values(rig: Rig) -> dict[str, Any]:
    band = find_band(rig, deep=False)
    return values(rig, design(rig, band.low_tpm, band.high_tpm))


def sheets(rig: Rig, parts: Sequence[Part]) -> list[Sheet]:
    """All sheets, from the motors on."""
    name = rig.name
    drawn = [schematic_source.source_sheet(parts, rig),
             schematic_source.feed_sheet(parts, name),
             schematic_hold.hold_sheet(parts, name),
             schematic_hold.bus_cut_sheet(parts, name),
             schematic_hold.switch_sheet(parts, name, rig.switch.place),
             schematic_output.output_sheet(parts, name),
             schematic_board.board_sheet(parts, rig)]
    return [sheet for sheet in drawn if sheet is not None]


@cache
def rig_of(example: str, place: str = "") -> Rig:
    """A rig that ships; place: another one for its load switch."""
    path = example_path(example)
    assert path is not None
    rig = read_rig(path)
    return replace(rig, switch=replace(rig.switch, place=place)) if place else rig


@cache
def _values_for(example: str, place: str) -> dict[str, Any]:
    return _values(rig_of(example, place))


@cache
def parts_for(example: str, place: str = "", socket: str = "a") -> tuple[Part, ...]:
    """All parts of a rig that ships."""
    rig = rig_of(example, place)
    return fitted(rig, _values_for(example, place), socket) + board_parts(rig)


@cache
def drawn(example: str, place: str = "", socket: str = "a") -> dict[str, Sheet]:
    """The sheets of a rig that ships, by their names."""
    made = sheets(rig_of(example, place), parts_for(example, place, socket))
    return {sheet.name: sheet for sheet in made}


def text(example: str, place: str, socket: str, sheet: str) -> str:
    """One sheet as SVG."""
    return svg_text(drawn(example, place, socket)[sheet])


# file in hardware/schematic/ -> example, place ("": its own), socket, sheet. The hut in whole,
# and of the others what differs
SHOWN = {f"hut-{at}-{name}.svg": ("lakeside-hut", "", "a", name) for at, name in
         enumerate(("source", "sensor", "hold", "switch", "output", "board"), 1)} | {
    "bridge-source.svg": ("night-ferry", "", "a", "source"),
    "output_switch.svg": ("radio-tent", "", "a", "switch"),
    "output_switch-bus_cut.svg": ("radio-tent", "", "a", "bus_cut"),
    "enable.svg": ("lakeside-hut", "enable", "a", "switch"),
    "c-socket-output.svg": ("lakeside-hut", "", "c", "output"),
}
FILES = {f"hardware/schematic/{file}": partial(text, *what) for file, what in SHOWN.items()}
