"""What stands beside a part in a drawing: its designator, its value in short, its rating."""

from __future__ import annotations

from steadyturn.circuit.table import UNIT, Part, spoken

# kind -> in short, where no amount says it
SHORT = {
    "schottky": "Schottky", "small_schottky": "Schottky", "reference": "431 type",
    "pnp": "PNP", "darlington": "PNP Darlington", "nmos": "n-channel", "pmos": "p-channel",
    "comparator": "393 type", "bridge": "Schottky bridge", "socket": "USB socket",
    "link": "link", "led": "LED", "button": "button", "contact": "reed contact",
    "thermistor": "NTC", "board": "the board", "shaker": "vibration motor",
    "piezo": "piezo disc", "pixel": "RGB pixel", "diode": "silicon",
}
CLAUSES = {"schottky": 2, "bridge": 2, "darlington": 2, "electrolytic": 1, "pmos": 1, "coil": 1,
           "regulator": 1}  # how much of a rating is told
WOUND = "wire-wound"
ROOM = 22  # letters in a line


def words(part: Part) -> tuple[str, ...]:
    """Lines, the designator first; several alike: how many."""
    head = part.ref if part.count == 1 else f"{part.ref} ({part.count} alike)"
    source, count = part.rating, CLAUSES.get(part.kind, 0)
    if WOUND in part.value:
        source, count = part.value.split(", ", 1)[1], 1
    rating = ", ".join(source.split(", ")[:count])
    return tuple(line for line in (head, short(part), rating) if line)


def short(part: Part) -> str:
    """The value in a few letters: an amount as printed on parts, else the kind."""
    if part.kind == "fuse":
        return part.value.removeprefix("fuse, ")
    if part.kind == "link" and ": " in part.value:
        return part.value.split(": ")[1]
    if part.kind in SHORT:
        return SHORT[part.kind]
    if part.amount is not None and WOUND not in part.value:
        return spoken(part.amount, UNIT[part.kind])
    return part.value.split(",")[0][:ROOM]
