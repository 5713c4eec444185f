"""Where the parts of the control side stand on a breadboard: found by search, kept in layout.json.

A half row of five holes is a node. Parts are taken block by block (BLOCKS); each net of a block
gets a half row of its own, and every part lies along one column from row to row, so that none
covers another. Nets that depend on where the load switch stands keep their braces here: one
layout serves every rig, and what a rig has not is left out of it.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("layout.json")
COLUMNS = {"L": "abcde", "R": "fghij"}
ROWS, TRIES, SEED = 63, 6000, 1
# half of the board -> blocks down it; a block: what stands together
BLOCKS: dict[str, dict[str, tuple[str, ...]]] = {
    "L": {"clamp": ("U1", "R2", "R3", "R4"), "divider": ("R7", "R8", "C4"),
          "pump": ("R9", "C5", "C6", "R10", "D2", "D3"),
          "discharge": ("C7", "R11", "R12"), "alert": ("R40", "D12"),
          "let-go": ("Q2", "R15", "R16", "R17"), "lamp": ("R50", "D50"),
          "lamp 2": ("R51", "D51")},
    "R": {"cut": ("U6", "R29", "R30", "R32"), "cut's gate": ("R31", "Q6", "R33", "D7"),
          "switch": ("R25", "R26", "D5", "C9"), "enable": ("R27", "R28", "D6"),
          "bus cut": ("U4", "R18", "R19", "R21"), "its driver": ("R20", "Q3", "R22"),
          "its gate": ("D4", "R23", "Q4", "R24"),
          "supply": ("D9", "U7", "R39", "D10"), "reservoir": ("R58", "R59", "C58"),
          "threshold": ("R13", "R14", "C8")},
}
LONGEST = {"resistor": 8}  # rows a part's leads may be apart; others 5
# others 3: a body lies between; a resistor may stand
SHORTEST = {"capacitor": 2, "electrolytic": 2, "led": 2, "resistor": 2}
THREE = 3  # rows the outer legs of a transistor may be apart

Nets = Mapping[str, tuple[str, tuple[str, ...]]]  # reference -> kind, nets


def search(nets: Nets) -> dict[str, Any]:
    """half -> block -> {"rows": net -> row from the block's first, "columns": part -> letter}."""
    return {half: {name: _block([ref for ref in refs if ref in nets], nets, half)
                   for name, refs in blocks.items()} for half, blocks in BLOCKS.items()}


def _block(refs: Sequence[str], nets: Nets, half: str) -> dict[str, Any]:
    names = list(dict.fromkeys(net for ref in refs for net in nets[ref][1]))
    chance, best = random.Random(SEED), None
    for _ in range(TRIES):
        chance.shuffle(names)
        rows, row = {}, 0
        for name in names:
            rows[name] = row
            row += chance.choice((1, 1, 2, 2, 3))
        found = _columns(refs, nets, rows)
        if found is not None:
            cost = found[0] + 0.4 * row
            if best is None or cost < best[0]:
                best = (cost, rows, found[1])
    if best is None:
        raise ValueError(f"no place found for {', '.join(refs)}: part the block in two")
    return {"rows": dict(sorted(best[1].items(), key=lambda item: item[1])),
            "columns": {ref: COLUMNS[half][at] for ref, at in best[2].items()}}


def _columns(refs: Iterable[str], nets: Nets,
             rows: Mapping[str, int]) -> tuple[float, dict[str, int]] | None:
    """Cost and column (0-4) of each part, or None: some do not fit. One hole of each row stays
    free for a wire."""
    spans: list[list[tuple[int, int]]] = [[] for _ in range(5)]
    cost, found = 0.0, {}
    leads: dict[int, int] = {}
    for ref in sorted(refs, key=lambda ref: _span(nets[ref][1], rows), reverse=True):
        kind, on = nets[ref]
        at = [rows[net] for net in on]
        low, high = min(at), max(at)
        apart = high - low
        if len(on) == 3:
            if apart > THREE or len(set(at)) < 3:
                return None
            cost += apart
        else:
            if not SHORTEST.get(kind, 3) <= apart <= LONGEST.get(kind, 5):
                return None
            cost += 0.5 * abs(apart - (4 if kind == "resistor" else 2))
        for row in at:
            leads[row] = leads.get(row, 0) + 1
            if leads[row] > 4:
                return None
        free = [c for c in (1, 2, 3, 0, 4)
                if all(high < a or low > b for a, b in spans[c])]
        if not free:
            return None
        spans[free[0]].append((low, high))
        found[ref] = free[0]
    return cost, found


def _span(nets: Iterable[str], rows: Mapping[str, int]) -> int:
    at = [rows[net] for net in nets]
    return max(at) - min(at)


def fits(layout: Mapping[str, Any], nets: Nets) -> bool:
    """Has the layout every part of BLOCKS, with these nets?"""
    for half, blocks in BLOCKS.items():
        for name, refs in blocks.items():
            block = layout.get(half, {}).get(name)
            there = [ref for ref in refs if ref in nets]
            if block is None or set(block["columns"]) != set(there):
                return False
            if {net for ref in there for net in nets[ref][1]} != set(block["rows"]):
                return False
    return True


def stored() -> dict[str, Any]:
    """The layout as it was found last."""
    found: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    return found


def renew(nets: Nets) -> bool:
    """Search anew where the stored layout does not fit; True: it was written."""
    if FILE.exists() and fits(stored(), nets):
        return False
    FILE.write_text(json.dumps(search(nets), indent=1) + "\n", encoding="utf-8", newline="\n")
    return True
