"""A sheet of a circuit: symbols drawn by schemdraw, and what is joined to what, kept beside them.

Lengths are in the drawing's units (36 px), y upwards. Every symbol is placed by the points its
pins stand on, so that `sheet_nets.nets` reads from the drawing alone which pins are joined.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any

Point = tuple[float, float]
SIZE = 11.0  # of words, px
PX = 36.0  # of a unit
LINE = 0.36  # between lines of words
# of a two-pin symbol: the class of schemdraw's that draws it, and how
TWO: dict[str, tuple[str, dict[str, Any]]] = {
    "resistor": ("RBox", {}), "capacitor": ("Capacitor", {}),
    "electrolytic": ("Capacitor", {"polar": True}), "diode": ("Diode", {}),
    "schottky": ("Schottky", {}), "zener": ("Zener", {}), "tvs": ("Zener", {}),
    "suppressor": ("DiodeTVS", {}), "fuse": ("Fuse", {}), "motor": ("Motor", {}),
    "led": ("LED", {}), "link": ("Switch", {}), "button": ("Button", {}),
    "coil": ("Inductor2", {}), "small_schottky": ("Schottky", {}), "piezo": ("RBox", {}),
    "contact": ("Switch", {}), "thermistor": ("Thermistor", {}), "shaker": ("Motor", {}),
}
# class, its names of control, far end and start; on which height the control comes out, where the
# symbol begins and ends between 0 and 2, and how far its control reaches
_FET, _BJT = (0.5, 0.0, 5 / 3, 5 / 6), (1.0, 0.303, 1.697, 0.75)
TRANSISTORS: dict[str, tuple[str, tuple[str, str, str], float, float, float, float]] = {
    "nmos": ("NMos", ("gate", "drain", "source"), *_FET),
    "pmos": ("PMos", ("gate", "drain", "source"), *_FET),
    "npn": ("BjtNpn", ("base", "collector", "emitter"), *_BJT),
    "pnp": ("BjtPnp", ("base", "collector", "emitter"), *_BJT),
    "darlington": ("BjtPnp", ("base", "collector", "emitter"), *_BJT),
}
BODY = 0.45  # half of what a symbol's body takes across its axis
SIDES = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "up": (0.0, 1.0), "down": (0.0, -1.0)}


@dataclass(frozen=True)
class Words:
    """A line of text; y: its baseline; anchor as in SVG's text-anchor."""

    x: float
    y: float
    text: str
    anchor: str = "start"
    size: float = SIZE
    bold: bool = False


@dataclass(frozen=True)
class Box:
    """What takes room."""

    left: float
    bottom: float
    right: float
    top: float


def _grid(at: Point) -> Point:
    """So that points which are meant to be one are equal."""
    return (round(at[0], 3), round(at[1], 3))


def width(text: str, size: float = SIZE) -> float:
    """Units a text takes, a little more than the common sans-serif fonts need."""
    from schemdraw.backends.svgtext import string_width

    return 1.15 * float(string_width(text, size, "Arial")) / PX


@dataclass
class Sheet:
    """paper: width and height; words_of: reference -> the lines that stand beside a part."""

    name: str
    title: str
    paper: Point
    words_of: Mapping[str, Sequence[str]]
    symbols: list[Any] = field(default_factory=list)
    pins: dict[tuple[str, str], Point] = field(default_factory=dict)
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    names: list[tuple[str, Point]] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    bodies: dict[str, Box] = field(default_factory=dict)
    dashed: list[Box] = field(default_factory=list)

    def two(self, ref: str, kind: str, a: Point, b: Point, pins: Sequence[str] = ("1", "2"),
            beside: str = "") -> None:
        """A part with two pins from a to b, straight above or beside each other; beside: where
        its words go (right, left, above, below; else right or above)."""
        import schemdraw.elements as elm

        name, options = TWO[kind]
        self.symbols.append(getattr(elm, name)(**options).at(a).to(b))
        self._pin(ref, pins[0], a)
        self._pin(ref, pins[1], b)
        x, y = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
        upright = a[0] == b[0]
        if kind == "electrolytic":
            plus = (x - 0.32, y + 0.18) if upright else (x - 0.28, y + 0.2)
            self.words.append(Words(*plus, "+", "middle"))
        wide, high = (BODY, 0.6) if upright else (0.6, BODY)
        top = 0.8 if kind == "led" else high  # its rays
        self.bodies[ref] = Box(x - wide, y - high, x + wide, y + top)
        usual = "right" if upright else "below" if kind == "led" else "above"
        self._beside(ref, beside or usual)

    def column(self, ref: str, kind: str, x: float, span: Point, count: int,
               pins: Sequence[str], beside: str, cut: Sequence[int] = ()) -> None:
        """`count` equal parts of one designator in series, straight down over `span` (top and
        bottom); in the place of those in `cut` a dotted line. Only the outer pins are kept."""
        import schemdraw.elements as elm

        name, options = TWO[kind]
        top, low = span
        at = [top + (low - top) * i / count for i in range(count + 1)]
        for i, (start, end) in enumerate(pairwise(at)):
            made = elm.Line(ls=":") if i in cut else getattr(elm, name)(**options)
            self.symbols.append(made.at((x, start)).to((x, end)))
        self._pin(ref, pins[0], (x, top))
        self._pin(ref, pins[1], (x, low))
        self.bodies[ref] = Box(x - BODY, low + 0.1, x + BODY, top - 0.1)
        self._beside(ref, beside)

    def rungs(self, sides: Point, span: Point, count: int) -> None:
        """The inner joints of two columns, joined."""
        import schemdraw.elements as elm

        for i in range(1, count):
            y = span[0] + (span[1] - span[0]) * i / count
            self._lead((sides[0], y), (sides[1], y))
            self.symbols += [elm.Dot(radius=0.07).at((x, y)) for x in sides]

    def transistor(self, ref: str, kind: str, start: Point, far: str, control: str,
                   beside: str = "") -> None:
        """From source or emitter at `start` to drain or collector, 2 units off the way `far`;
        gate or base comes out to the side `control`, 1 aside and 0.5 (gate) or 1 (base) on."""
        import schemdraw.elements as elm

        name, pins, along, first, last, aside = TRANSISTORS[kind]
        (dx, dy), (gx, gy) = SIDES[far], SIDES[control]

        def at(on: float, off: float = 0.0) -> Point:
            return (round(start[0] + on * dx + off * gx, 6),
                    round(start[1] + on * dy + off * gy, 6))

        flip, theta = _WAYS[kind in ("nmos", "npn"), far, control]
        options = {"diode": True} if kind in ("nmos", "pmos") else {}
        made = getattr(elm, name)(**options)
        made = made.flip() if flip else made
        self.symbols.append(made.theta(theta).at(at(first)).anchor(pins[2]))
        for pin, end in zip(pins, (at(along, 1), at(2), start), strict=True):
            self._pin(ref, pin, end)
        if first:
            self._lead(start, at(first))
        self._lead(at(last), at(2))
        self._lead(at(along, aside), at(along, 1))
        x, y = at(1, -0.05)
        self.bodies[ref] = Box(x - 0.5, y - 0.5, x + 0.5, y + 0.5)
        self._beside(ref, beside or {"left": "right", "right": "left", "up": "below",
                                     "down": "above"}[control])

    def block(self, ref: str, box: Box, pins: Mapping[str, tuple[str, float]],
              inside: Mapping[str, str] | None = None, beside: str = "above") -> None:
        """A part drawn as a rectangle. pins: name -> side and place along it (x or y); the pin
        stands half a unit outside. inside: what is written at a pin, else its name."""
        import schemdraw.elements as elm

        self.symbols.append(elm.Rect(corner1=(box.left, box.bottom),
                                     corner2=(box.right, box.top)).at((0, 0)).theta(0))
        self.bodies[ref] = box
        for pin, (side, along) in pins.items():
            dx, dy = SIDES[side]
            edge = {"left": (box.left, along), "right": (box.right, along),
                    "up": (along, box.top), "down": (along, box.bottom)}[side]
            end = (edge[0] + dx / 2, edge[1] + dy / 2)
            self._lead(edge, end)
            self._pin(ref, pin, end)
            shown = (inside or {}).get(pin, pin)
            anchor = {"left": "start", "right": "end"}.get(side, "middle")
            drop = {"up": -0.36, "down": 0.16}.get(side, -0.11)
            self.words.append(Words(edge[0] - 0.1 * dx, edge[1] + drop, shown, anchor))
        self._beside(ref, beside)

    def wire(self, *points: Point) -> None:
        """Straight from each point to the next, along one axis at a time."""
        for a, b in pairwise(points):
            if abs(a[0] - b[0]) > 1e-6 and abs(a[1] - b[1]) > 1e-6:
                raise ValueError(f"a wire goes aslant from {a} to {b}")
            self.wires.append((_grid(a), _grid(b)))

    def net(self, name: str, at: Point, side: str = "right", sign: bool = True) -> None:
        """A net's name at a wire's end; same names are joined, on other sheets too. Ground is a
        sign, unless `sign` says no."""
        dx = SIDES[side][0]
        self.names.append((name, _grid(at)))
        if name == "gnd" and sign:
            import schemdraw.elements as elm

            self.symbols.append(elm.Ground().at(at).theta(0))
            self.bodies[f"gnd{len(self.names)}"] = Box(at[0] - 0.4, at[1] - 0.6, at[0] + 0.4,
                                                      at[1] - 0.05)
            return
        anchor = {"left": "end", "right": "start"}.get(side, "middle")
        drop = {"up": 0.14, "down": -0.4}.get(side, -0.11)
        self.words.append(Words(at[0] + 0.1 * dx, at[1] + drop, name, anchor, bold=True))

    def note(self, x: float, y: float, *lines: str, size: float = SIZE) -> None:
        """Lines of plain text from (x, y) down."""
        for at, line in enumerate(lines):
            self.words.append(Words(x, y - at * LINE * size / SIZE, line, size=size))

    def frame(self, box: Box, words: str) -> None:
        """A dashed frame about parts that belong together, with a word on it."""
        self.dashed.append(box)
        self.words.append(Words(box.left + 0.15, box.top - 0.35, words, size=10))

    def _lead(self, a: Point, b: Point) -> None:
        import schemdraw.elements as elm

        self.symbols.append(elm.Line().at(a).to(b))

    def _pin(self, ref: str, pin: str, at: Point) -> None:
        if (ref, pin) in self.pins:
            raise ValueError(f"{ref}.{pin} is drawn twice")
        self.pins[ref, pin] = _grid(at)

    def _beside(self, ref: str, side: str) -> None:
        lines, box = list(self.words_of[ref]), self.bodies[ref]
        x, y = (box.left + box.right) / 2, (box.bottom + box.top) / 2
        anchor = {"left": "end", "right": "start"}.get(side, "middle")
        if side in ("left", "right"):
            x = box.left - 0.12 if side == "left" else box.right + 0.12
            y += LINE * (len(lines) - 1) / 2 - 0.11
        elif side == "inside":
            y += LINE * (len(lines) - 1) / 2 - 0.11
        elif side == "above":
            y = box.top + 0.12 + LINE * (len(lines) - 1)
        else:
            y = box.bottom - 0.34
        for at, line in enumerate(lines):
            self.words.append(Words(x, y - at * LINE, line, anchor, bold=at == 0))


def _ways() -> dict[tuple[bool, str, str], tuple[bool, int]]:
    """(n kind, way to the far end, control's side) -> flipped, turned by. schemdraw 0.23 draws p
    kinds from source or emitter down, n kinds up, the control to the left; `flip` mirrors top and
    bottom before the turn."""
    turned = {0: lambda x, y: (x, y), 90: lambda x, y: (-y, x), 180: lambda x, y: (-x, -y),
              270: lambda x, y: (y, -x)}
    name = {way: side for side, way in SIDES.items()}
    found = {}
    for n_kind, flip, theta in product((False, True), (False, True), turned):
        up = 1.0 if n_kind != flip else -1.0
        found[n_kind, name[turned[theta](0.0, up)],
              name[turned[theta](-1.0, 0.0)]] = (flip, theta)
    return found


_WAYS = _ways()
