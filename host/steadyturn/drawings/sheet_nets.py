"""Which pins a drawn sheet joins, read from where its lines end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from steadyturn.drawings.sheet import Point, Sheet

Pin = tuple[str, str]
NEAR = 1e-6


def nets(sheets: Iterable[Sheet]) -> list[tuple[set[str], set[Pin]]]:
    """Names and pins of each net over all sheets, pieces of one name taken together. A line that
    ends on another joins it; two that cross do not."""
    found: list[tuple[set[str], set[Pin]]] = []
    for sheet in sheets:
        for names, pins in pieces(sheet):
            same = [each for each in found if each[0] & names]
            for each in same:
                found.remove(each)
                names, pins = names | each[0], pins | each[1]  # noqa: PLW2901
            found.append((names, pins))
    return found


def differ(sheets: Iterable[Sheet], table: Mapping[Pin, str]) -> list[str]:
    """Where drawn nets are not those of a table (pin -> net); nothing: they are the same."""
    wrong = []
    wanted: dict[str, set[Pin]] = {}
    for pin, net in table.items():
        wanted.setdefault(net, set()).add(pin)
    for names, pins in nets(sheets):
        strange = sorted(pins - set(table))
        if strange:
            wrong.append(f"drawn, not in the table: {strange}")
            continue
        meant = {table[pin] for pin in pins}
        if names - meant:
            wrong.append(f"{sorted(pins)} is called {sorted(names)}, meant {sorted(meant)}")
        for net in meant:
            if pins != wanted[net]:
                wrong.append(f"{net}: drawn {sorted(pins)}, meant {sorted(wanted[net])}")
    drawn = {pin for sheet in sheets for pin in sheet.pins}
    return wrong + [f"not drawn: {pin}" for pin in sorted(set(table) - drawn)]


def pieces(sheet: Sheet) -> list[tuple[set[str], set[Pin]]]:
    """Names and pins of each piece of wiring on a sheet."""
    points = [*sheet.pins.values(), *(at for _, at in sheet.names),
              *(end for wire in sheet.wires for end in wire)]
    group = {point: point for point in points}

    def root(point: Point) -> Point:
        while group[point] != point:
            point = group[point]
        return point

    for a, b in sheet.wires:
        for point in group:
            if on(point, a, b):
                group[root(point)] = root(a)
    found: dict[Point, tuple[set[str], set[Pin]]] = {}
    for pin, at in sheet.pins.items():
        found.setdefault(root(at), (set(), set()))[1].add(pin)
    for name, at in sheet.names:
        found.setdefault(root(at), (set(), set()))[0].add(name)
    return list(found.values())


def on(point: Point, a: Point, b: Point) -> bool:
    """Does point lie on the straight line from a to b?"""
    (x, y), (left, right), (low, high) = point, sorted((a[0], b[0])), sorted((a[1], b[1]))
    return left - NEAR <= x <= right + NEAR and low - NEAR <= y <= high + NEAR


def dots(sheet: Sheet) -> list[Point]:
    """Where three lines or more meet: a dot stands there."""
    ends: Counter[Point] = Counter()
    for at in [*sheet.pins.values(), *(end for wire in sheet.wires for end in wire)]:
        ends[at] += 1
    for point in list(ends):
        ends[point] += 2 * sum(on(point, a, b) and point not in (a, b) for a, b in sheet.wires)
    return sorted(point for point, count in ends.items() if count >= 3)


def loose(sheet: Sheet) -> list[Point]:
    """Ends of wires that lead nowhere."""
    others = [*sheet.pins.values(), *(at for _, at in sheet.names)]
    found = []
    for at, wire in enumerate(sheet.wires):
        rest = sheet.wires[:at] + sheet.wires[at + 1:]
        found += [end for end in wire
                  if end not in others and not any(on(end, a, b) for a, b in rest)]
    return found
