"""A built circuit as tables to follow and tick: terminals, parts, wires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from steadyturn.circuit import joining
from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import BOARD
from steadyturn.drawings.breadboard import CHIP, HOLE, HOUSING, SOLDERED, Built, Lead
from steadyturn.drawings.part_words import short
from steadyturn.rig.parts_source import Bank

SAID = {"gnd": "ground"}
FRONT = ("motor", "motor_back")  # nets between motors and rectifier
FIRST = ("plus", "1")  # pins of a row's first motor and of what is across it


def terminals(made: Built) -> str:
    """Markdown: what is screwed into each terminal."""
    legs: dict[str, list[str]] = {place: [] for place in made.terminals}
    for lead in made.leads:
        if lead.place in legs:
            split = made.terminals[lead.place] in FRONT
            legs[lead.place].append(_leg(made.motors, lead, split=split))
    for wire in made.wires:
        for place, other in ((wire.start, wire.end), (wire.end, wire.start)):
            if place in legs and not (place in made.terminals and other in made.terminals):
                legs[place].append(f"wire to {other}")
    grounds = [place for place, net in made.terminals.items() if net == "gnd"]
    lines = ["| terminal | net | legs and wires |", "|---|---|---|"]
    fronts = [place for place, net in made.terminals.items() if net in FRONT]
    for place, net in made.terminals.items():
        if net != "gnd":
            lines.append(f"| {place} | {net} | {', '.join(legs[place])} |")
        if fronts and place == fronts[-1]:
            lines += _inner(made.motors, fronts)
    lines.append(f"| {grounds[0]}-{grounds[-1]} | ground, bridged | "
                 f"{', '.join(legs[grounds[0]])} |")
    return "\n".join(lines)


def _leg(bank: Bank, lead: Lead, *, split: bool) -> str:
    """A leg; where there are several motors, of which one, and of which rows. split: on a
    terminal that each row with a rectifier of its own has for itself."""
    which = ""
    if lead.ref in ("M1", "C1") and bank.series > 1:
        which = joining.nth(1 if lead.pin in FIRST else bank.series) + " "
    rows = ""
    if bank.parallel > 1 and (lead.ref in ("M1", "C1") or (
            lead.ref == "D1" and joining.own_diodes(bank))):
        rows = " of row 1" if split and joining.own_diodes(bank) else " of each row"
    return f"{which}{lead.ref} {lead.pin}{rows}"


def _inner(bank: Bank, fronts: Sequence[str]) -> list[str]:
    """What meets between motors of a row, and the terminals that other rows need. fronts: those
    between motors and rectifier."""
    nth, of = joining.nth, "each row" if bank.parallel > 1 else "the row"
    lines = [f"| no terminal | inside {of} | {nth(i)} M1 minus, {nth(i)} C1 2, {nth(i + 1)} M1 "
             f"plus, {nth(i + 1)} C1 1 |" for i in range(1, bank.series)]
    if joining.own_diodes(bank):
        rows = "row 2" if bank.parallel == 2 else f"each of rows 2 to {bank.parallel}"
        lines.append(f"| {' and '.join(fronts)} once more for {rows} | that row's own | the same "
                     "of that row, with its own D1; no wire to row 1 |")
    return lines


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
