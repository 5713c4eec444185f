"""hardware/parts.csv and the shopping list: every part of a rig, from the parts table."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import pins_of

COLUMNS = ("rig", "ref", "quantity", "kind", "value", "rating", "block", "nets", "role",
           "substitute", "what it changes", "price_eur")
PRICES = "euro apiece, a rough guide without a source: bought singly, by mail"
KINDS = {"electrolytic": "electrolytic capacitor", "nmos": "transistor", "pmos": "transistor",
         "pnp": "transistor", "darlington": "transistor", "reference": "reference",
         "schottky": "diode", "small_schottky": "diode", "zener": "diode",
         "sensor": "sensor module", "coil": "coil", "led": "LED", "link": "link"}


def csv_text(rigs: Mapping[str, Sequence[Part]]) -> str:
    """Rig -> its parts, one row a designator. Nets: pin=net, as in the schematic."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for rig, parts in rigs.items():
        for part in parts:
            nets = " ".join(f"{pin}={net}" for pin, net in pins_of(part).items())
            writer.writerow((rig, part.ref, part.count, part.kind, part.value, part.rating,
                             part.block, nets, part.role, part.substitute, part.changes,
                             f"{part.price:.2f}"))
    return out.getvalue()


def shopping(rigs: Mapping[str, Sequence[Part]]) -> list[tuple[str, str, list[int], float]]:
    """(kind and value, rating, pieces for each rig, price) of what is bought alike."""
    found: dict[tuple[str, str], list[int]] = {}
    price: dict[tuple[str, str], float] = {}
    for at, parts in enumerate(rigs.values()):
        for part in parts:
            if part.price == 0:
                continue
            key = _bought(part), part.rating
            found.setdefault(key, [0] * len(rigs))[at] += part.count
            price[key] = max(price.get(key, 0.0), part.price)
    return [(*key, counts, price[key]) for key, counts in sorted(found.items(), key=_order)]


def _bought(part: Part) -> str:
    kind = KINDS.get(part.kind, part.kind)
    said = part.value.split(": ")[0]
    return said if kind.split()[0].lower() in said.lower() or part.kind in (
        "board", "converter", "comparator", "motor", "socket", "regulator", "bridge") else (
        f"{kind} {said}")


def _order(row: tuple[tuple[str, str], list[int]]) -> tuple[str, float, str]:
    (what, rating), _ = row
    kind, _, rest = what.partition(" ")
    number = rest.split(" ")[0]
    prefix = {"k": 1e3, "M": 1e6, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}
    unit = rest.partition(" ")[2]
    try:
        size = float(number) * (prefix.get(unit[:1], 1.0) if unit[1:] in ("ohm", "F", "H") else 1)
    except ValueError:
        size = 0.0
    return kind, size, what + rating


def shopping_table(rigs: Mapping[str, Sequence[Part]]) -> str:
    """Markdown, with the sum of each rig."""
    names = list(rigs)
    lines = ["| part | rating | " + " | ".join(names) + " | euro apiece |",
             "|---|---|" + "---|" * (len(names) + 1)]
    for what, rating, counts, price in shopping(rigs):
        cells = " | ".join(str(count or "-") for count in counts)
        lines.append(f"| {what} | {rating or '-'} | {cells} | {price:.2f} |")
    sums = " | ".join(f"{sum(p.count * p.price for p in parts):.0f} euro"
                      for parts in rigs.values())
    lines.append(f"| **together, roughly** | | {sums} | |")
    return "\n".join(lines)
