"""A built circuit as tables to follow and tick: terminals, parts, wires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import BOARD
from steadyturn.drawings.breadboard import CHIP, HOLE, HOUSING, SOLDERED, Built
from steadyturn.drawings.part_words import short

SAID = {"gnd": "ground"}


def terminals(made: Built) -> str:
    """Markdown: what is screwed into each terminal."""
    legs: dict[str, list[str]] = {place: [] for place in made.terminals}
    for lead in made.leads:
        if lead.place in legs:
            legs[lead.place].append(f"{lead.ref} {lead.pin}")
    for wire in made.wires:
        for place, other in ((wire.start, wire.end), (wire.end, wire.start)):
            if place in legs and not (place in made.terminals and other in made.terminals):
                legs[place].append(f"wire to {other}")
    grounds = [place for place, net in made.terminals.items() if net == "gnd"]
    lines = ["| terminal | net | legs and wires |", "|---|---|---|"]
    for place, net in made.terminals.items():
        if net != "gnd":
            lines.append(f"| {place} | {net} | {', '.join(legs[place])} |")
    lines.append(f"| {grounds[0]}-{grounds[-1]} | ground, bridged | "
                 f"{', '.join(legs[grounds[0]])} |")
    return "\n".join(lines)


def places(made: Built, parts: Sequence[Part]) -> str:
    """Markdown: parts on the breadboard, in its order, with the hole of every leg."""
    by_ref = {part.ref: part for part in parts}
    legs: dict[str, list[tuple[str, str]]] = {}
    for lead in made.leads:
        if HOLE.fullmatch(lead.place) or lead.ref == CHIP:
            legs.setdefault(lead.ref, []).append((lead.pin, lead.place))
    lines = ["| part | value | legs | for |", "|---|---|---|---|"]
    for ref, at in sorted(legs.items(), key=lambda item: _order(item[1][0][1])):
        plain = [pin for pin, _ in at] == ["1", "2"]
        said = ", ".join(place if plain else f"{pin} {place}" for pin, place in at)
        if ref == CHIP:
            said += f" (notch towards row {int(at[0][1][1:]) - 1})"
        part = by_ref[ref]
        lines.append(f"| {ref} | {short(part)} | {said} | {part.role.split(';')[0]} |")
    return "\n".join(lines)


def wires(made: Built) -> str:
    """Markdown: all wires, numbered; those into rails and terminals first."""
    lines = ["| no. | from | to | net |", "|---|---|---|---|"]
    for at, wire in enumerate(made.wires, 1):
        lines.append(f"| {at} | {wire.start} | {wire.end} | {SAID.get(wire.net, wire.net)} |")
    return "\n".join(lines)


def soldered(made: Built, parts: Sequence[Part]) -> str:
    """Markdown: parts that sit across the pins of socket, sensor or board."""
    by_ref = {part.ref: part for part in parts}
    lines = ["| part | value | across |", "|---|---|---|"]
    for ref in (ref for ref in SOLDERED if ref in by_ref):
        at = [lead.place for lead in made.leads if lead.ref == ref]
        note = " (most boards have it: leave it out)" if SOLDERED[ref] == BOARD else ""
        lines.append(f"| {ref} | {short(by_ref[ref])} | {' and '.join(at)}{note} |")
    return "\n".join(lines)


def rows_in_use(made: Built) -> int:
    """Rows of the breadboard, from its first."""
    found = [HOLE.fullmatch(place) for lead in made.leads for place in (lead.place,)]
    found += [HOLE.fullmatch(place) for wire in made.wires for place in (wire.start, wire.end)]
    return max(int(hole[2]) for hole in found if hole)


def strip_cuts(made: Built) -> str:
    """In words: where stripboard is cut, its strips across the board as a breadboard's rows."""
    chip = next(lead.place for lead in made.leads if lead.ref == CHIP)
    return (f"{rows_in_use(made)} strips; each is cut once in its middle, between e and f (also "
            f"under {CHIP}, rows {chip[1:]} to {int(chip[1:]) + len(HOUSING['L']) - 1})")


def _order(place: str) -> tuple[bool, int, str]:
    found = HOLE.fullmatch(place)
    assert found is not None
    return found[1] > "e", int(found[2]), found[1]


def goes_to(made: Built) -> Mapping[str, list[str]]:
    """Place -> where its wires go."""
    found: dict[str, list[str]] = {}
    for wire in made.wires:
        found.setdefault(wire.start, []).append(wire.end)
        found.setdefault(wire.end, []).append(wire.start)
    return found
