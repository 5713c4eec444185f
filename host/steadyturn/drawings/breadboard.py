"""A rig's circuit on a breadboard and a terminal strip: which lead and which wire goes where.

A place is a hole ("b12": column and row), a rail ("rail +"), a terminal of the strip ("T3"), or
a pin of what has places of its own ("U8 GP16", "U2 VCC"). `joined` reads the nets back from
the places alone, so that a test can compare them with the parts table.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from steadyturn.circuit.table import PLACES, Part
from steadyturn.drawings.board_side import BOARD, pins_of
from steadyturn.drawings.placer import BLOCKS, COLUMNS, ROWS
from steadyturn.drawings.schematic_board import pin_name
from steadyturn.rig.parts_source import Bank
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

# thick wires, screwed: along the way of the current
STRIP = ("M1", "C1", "D1", "F1", "C2", "R1", "Q1", "R5", "R6", "Q5", "J1", "U5", "C10", "Q7",
         "L1", "D8", "C11", "R34", "R55", "Q55")
ALONG = ("motor", "motor_back", "raw", "bus", "clamp_load", "sense", "feed", "out", "switched",
         "enable_up", "safe", "vbus")
GROUNDS = 4  # terminals of ground, bridged
# have wires, no place on a board
OWN = ("U2", "C12", "J2", "SW50", "X50", "LS50", "S53", "RT54", "M50")
# soldered across the pins of socket or module; boards have D11 on them
SOLDERED = {"R35": "J2", "R36": "J2", "R37": "J2", "R38": "J2", "J3": "J2", "C3": "U2",
            "D11": BOARD}
CHIP = "U3"  # in a housing of eight pins over the middle; of its second half nothing is used
HOUSING = {"L": ("output", "minus", "plus", "ground"), "R": ("supply", "", "", "")}
RAILS = {"gnd": "rail -", "board_3v3": "rail +"}
# as modules have it printed
PRINTED = {"in_plus": "IN+", "in_minus": "IN-", "supply": "VCC", "ground": "GND", "sda": "SDA",
           "scl": "SCL", "alert": "ALERT", "output": "OUT", "vbus": "5V", "data_plus": "D+",
           "data_minus": "D-", "cc1": "CC1", "cc2": "CC2"}
HOLE = re.compile(r"([a-j])(\d+)")


@dataclass(frozen=True)
class Lead:
    """A part's leg and where it goes."""

    ref: str
    pin: str
    place: str


@dataclass(frozen=True)
class Wire:
    """From place to place; net: only for people."""

    net: str
    start: str
    end: str


@dataclass
class Built:
    """terminals: T1.. -> net; free: parts of the rig that have no place here;
    motors: what one designator of the table stands for."""

    leads: list[Lead] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    terminals: dict[str, str] = field(default_factory=dict)
    blocks: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    free: list[str] = field(default_factory=list)
    motors: Bank = field(default_factory=Bank)


def build(rig: Rig, parts: Sequence[Part], layout: Mapping[str, Any]) -> Built:
    """Everything but the wires follows from the layout; the wires from the nets."""
    made, by_ref = Built(motors=rig.bank), {part.ref: part for part in parts}
    nodes: dict[str, list[str]] = {}  # net -> "L12" of each half row
    names = PLACES[rig.switch.place]
    top = {"L": 1, "R": 1}
    for half, blocks in BLOCKS.items():
        for name, refs in blocks.items():
            _block(made, nodes, by_ref, names, half, name, layout[half][name], refs, top)
    _housing(made, nodes, by_ref, max(top.values()))
    _strip(made, by_ref, nodes)
    placed = {lead.ref for lead in made.leads}
    made.free = [ref for ref in by_ref if ref not in placed | set(SOLDERED) | {BOARD, *OWN}]
    _wires(made, nodes, _outside(rig, made, by_ref))
    return made


def _block(made: Built, nodes: dict[str, list[str]], by_ref: Mapping[str, Part],
           names: Mapping[str, str], half: str, name: str, block: Mapping[str, Any],
           refs: Sequence[str], top: dict[str, int]) -> None:
    rows = {net.format(**names): top[half] + at for net, at in block["rows"].items()}
    # an option of the rig may use a designator for something else: that has no place here
    here = [ref for ref in refs if ref in by_ref and set(by_ref[ref].nets) <= set(rows)]
    if not here:
        return
    used: set[str] = set()
    for ref in here:
        for pin, net in pins_of(by_ref[ref]).items():
            made.leads.append(Lead(ref, pin, f"{block['columns'][ref]}{rows[net]}"))
            used.add(net)
    for net in used:
        nodes.setdefault(net, []).append(f"{half}{rows[net]}")
    made.blocks[name] = (half, top[half], max(rows.values()))
    top[half] = max(rows.values()) + 2


def _housing(made: Built, nodes: dict[str, list[str]], by_ref: Mapping[str, Part],
             top: int) -> None:
    for half, pins in HOUSING.items():
        for at, pin in enumerate(pins):
            if pin:
                net = by_ref[CHIP].pin(pin)
                made.leads.append(Lead(CHIP, pin, f"{'e' if half == 'L' else 'f'}{top + at}"))
                nodes.setdefault(net, []).append(f"{half}{top + at}")
    # inputs of its unused half: one up, one down
    made.wires += [Wire("unused half", f"j{top + 2}", RAILS["board_3v3"]),
                   Wire("unused half", f"j{top + 3}", RAILS["gnd"])]
    made.blocks["comparator"] = ("L", top, top + 3)


def _strip(made: Built, by_ref: Mapping[str, Part], nodes: Mapping[str, list[str]]) -> None:
    """Terminals for the nets that at least two thick parts are on."""
    count: dict[str, int] = {}
    for ref in STRIP:
        for net in pins_of(by_ref[ref]).values() if ref in by_ref else ():
            count[net] = count.get(net, 0) + 1
    nets = [net for net in ALONG if count.get(net, 0) >= 2]
    number = {net: f"T{at}" for at, net in enumerate(nets, 1)}
    made.terminals = {place: net for net, place in number.items()}
    for at in range(GROUNDS):
        made.terminals[f"T{len(nets) + 1 + at}"] = "gnd"
    number["gnd"] = f"T{len(nets) + 1}"
    for ref in (ref for ref in STRIP if ref in by_ref):
        for pin, net in pins_of(by_ref[ref]).items():
            made.leads.append(Lead(ref, pin, number.get(net, f"{ref} {pin}")))


def _outside(rig: Rig, made: Built, by_ref: Mapping[str, Part]) -> dict[str, list[str]]:
    """Net -> places outside the board that have to be joined to it."""
    found: dict[str, list[str]] = {}
    for place, net in made.terminals.items():
        found.setdefault(net, []).append(place)
    for lead in made.leads:
        if lead.place == f"{lead.ref} {lead.pin}":  # a gate or base of a part on the strip
            found.setdefault(by_ref[lead.ref].pin(lead.pin), []).append(lead.place)
    pins = all_pins(rig.board.kind, rig.board.pins)
    at: dict[tuple[str, str], str] = {}
    for ref in (ref for ref in (BOARD, *OWN) if ref in by_ref):
        for pin, net in pins_of(by_ref[ref]).items():
            shown = (pin_name(rig.board.kind, pin, pins.get(pin, -1)) if ref == BOARD
                     else PRINTED.get(pin, pin))
            made.leads.append(Lead(ref, pin, f"{ref} {shown}"))
            at[ref, net] = f"{ref} {shown}"
            found.setdefault(net, []).append(f"{ref} {shown}")
    for ref, host in SOLDERED.items():
        for pin, net in pins_of(by_ref[ref]).items() if ref in by_ref else ():
            made.leads.append(Lead(ref, pin, at[host, net]))
    return found


def _wires(made: Built, nodes: Mapping[str, Sequence[str]],
           outside: Mapping[str, Sequence[str]]) -> None:
    taken = {lead.place for lead in made.leads}
    taken |= {place for wire in made.wires for place in (wire.start, wire.end)}
    covered = _covered(made.leads)
    last = max(int(node[1:]) for found in nodes.values() for node in found)

    def hole(node: str) -> str:
        half, row = node[0], node[1:]
        order = COLUMNS[half] if half == "L" else COLUMNS[half][::-1]
        free = [f"{c}{row}" for c in order if f"{c}{row}" not in taken]
        place = min(free, key=lambda place: place in covered)
        taken.add(place)
        return place

    def room(node: str) -> int:
        return sum(f"{c}{node[1:]}" not in taken for c in COLUMNS[node[0]])

    for net in sorted({*nodes, *outside}, key=lambda net: (net not in RAILS, net)):
        here, beyond = list(nodes.get(net, ())), list(outside.get(net, ()))
        centre = RAILS.get(net) or next((p for p in beyond if p.startswith("T")), "")
        if centre:
            beyond = [place for place in beyond if place != centre]
        if net in RAILS and net in made.terminals.values():
            first = next(place for place, name in made.terminals.items() if name == net)
            made.wires.append(Wire(net, first, centre))
            bridged = [p for p, name in made.terminals.items() if name == net]
            made.wires += [Wire(net, a, b) for a, b in pairwise(bridged)]
            beyond = [place for place in beyond if place not in bridged]
        ends = [*beyond]
        if not centre and len(here) + len(ends) > 1 and here:
            middle = max(here, key=room)
            if room(middle) < len(here) - 1 + len(ends):
                last += 1  # a row that only joins, if need be in both halves
                middle = f"L{last}"
            joins = [hole(node) for node in here if node != middle] + ends
            for at, end in enumerate(joins):
                if room(middle) == 1 and at < len(joins) - 1:
                    made.wires.append(Wire(net, hole(middle), hole(f"R{last}")))
                    middle = f"R{last}"
                made.wires.append(Wire(net, end, hole(middle)))
        elif centre:
            made.wires += [Wire(net, hole(node), centre) for node in here]
            made.wires += [Wire(net, place, centre) for place in ends]
        else:
            made.wires += [Wire(net, ends[0], place) for place in ends[1:]]
    if last > ROWS:
        raise ValueError("the breadboard is too short")


def _covered(leads: Sequence[Lead]) -> set[str]:
    """Holes that a part lies over."""
    rows: dict[tuple[str, str], list[int]] = {}
    for lead in leads:
        found = HOLE.fullmatch(lead.place)
        if found:
            rows.setdefault((lead.ref, found[1]), []).append(int(found[2]))
    return {f"{column}{row}" for (_, column), at in rows.items()
            for row in range(min(at), max(at) + 1)}


def joined(made: Built) -> list[set[tuple[str, str]]]:
    """The pins that leads, half rows, rails and wires join, read from the places alone."""
    group: dict[str, str] = {}

    def node(place: str) -> str:
        found = HOLE.fullmatch(place)
        return f"{'L' if found[1] in COLUMNS['L'] else 'R'}{found[2]}" if found else place

    def root(name: str) -> str:
        group.setdefault(name, name)
        while group[name] != name:
            name = group[name]
        return name

    for wire in made.wires:
        group[root(node(wire.start))] = root(node(wire.end))
    nets: dict[str, set[tuple[str, str]]] = {}
    for lead in made.leads:
        nets.setdefault(root(node(lead.place)), set()).add((lead.ref, lead.pin))
    return list(nets.values())
