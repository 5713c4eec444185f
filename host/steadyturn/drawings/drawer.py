"""Places the parts of a table on a sheet: kind, pins and words come from the table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import ALL_PINS, pins_of
from steadyturn.drawings.part_words import words
from steadyturn.drawings.sheet import TRANSISTORS, Box, Point, Sheet


@dataclass
class Drawer:
    """parts: reference -> part, those fitted. What is not fitted is passed over."""

    sheet: Sheet
    parts: Mapping[str, Part]

    def has(self, ref: str) -> bool:
        return ref in self.parts

    def net(self, ref: str, pin: str) -> str:
        """The net of a part's pin."""
        part = self.parts[ref]
        return part.nets[ALL_PINS[part.kind].index(pin)]

    def two(self, ref: str, a: Point, b: Point, beside: str = "") -> None:
        """A part with two pins, the table's first pin at a."""
        part = self.parts.get(ref)
        if part is not None:
            self.sheet.two(ref, part.kind, a, b, ALL_PINS[part.kind], beside)

    def to_ground(self, ref: str, top: Point, bottom_y: float, beside: str = "",
                  ground_first: bool = False) -> None:
        """A part straight down to a ground sign; ground_first: ground is the table's first pin."""
        if ref not in self.parts:
            return
        bottom = (top[0], bottom_y)
        self.two(ref, *((bottom, top) if ground_first else (top, bottom)), beside)
        self.sheet.net("gnd", bottom)

    def transistor(self, ref: str, start: Point, far: str, control: str,
                   beside: str = "") -> None:
        part = self.parts.get(ref)
        if part is not None:
            assert ALL_PINS[part.kind] == TRANSISTORS[part.kind][1]
            self.sheet.transistor(ref, part.kind, start, far, control, beside)

    def block(self, ref: str, box: Box, pins: Mapping[str, tuple[str, float]],
              inside: Mapping[str, str] | None = None, beside: str = "above") -> None:
        if ref in self.parts:
            assert set(pins) == set(pins_of(self.parts[ref])), ref
            self.sheet.block(ref, box, pins, inside, beside)

    def reference(self, ref: str, x: float, y: float) -> None:
        """A 431-type reference about (x, y): cathode 1 up, anode 1 down, reference 1.2 left."""
        self.block(ref, Box(x - 0.7, y - 0.5, x + 0.7, y + 0.5),
                   {"cathode": ("up", x), "anode": ("down", x), "reference": ("left", y)},
                   {"cathode": "K", "anode": "A", "reference": "R"}, "right")


def drawer(name: str, title: str, paper: Point, parts: Iterable[Part]) -> Drawer:
    """A new sheet for these parts."""
    by_ref = {part.ref: part for part in parts}
    said = {ref: words(part) for ref, part in by_ref.items()}
    return Drawer(Sheet(name, title, paper, said), by_ref)
