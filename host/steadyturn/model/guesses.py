"""Which guess matters most: every value that is not given, by how far the band's edges
move between the ends of its range."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.model.change import field_of, with_value
from steadyturn.model.edges import Edges, find_edges
from steadyturn.rig.types import Rig

# what no edge depends on: they shape how the machine moves, not where it stands
STEADY_STATE_IGNORES = frozenset({
    "motor.inductance_mh", "motor.inertia_gcm2", "motor.winding_j_per_k", "bank.spread_percent",
    "crank.inertia_gm2", "bus.capacitor_uf", "converter.soft_start_ms",
    "converter.output_capacitor_uf", "switch.hold_ms", "supply.reservoir_uf",
    "supply.forbid_v", "load.charge_efficiency", "load.self_use_w", "load.capacity_wh",
    "arm.droop_nm_per_rad_s", "arm.ripple_percent", "arm.reaction_ms", "sensor.divider",
    "board.lamp_percent",
})
GRID, ROUNDS = 76, 2


@dataclass(frozen=True)
class Guess:
    """One value that is assumed or measured, with its range, in the file's unit.

    low_tpm, high_tpm: the band's edges with the value at (low, high) of its range,
    None where there is no band then. moves_tpm: the farther of the two edges' moves
    from the band as it stands; None where the band goes (or comes) altogether.
    """

    key: str
    kind: str
    value: float
    low: float
    high: float
    unit: str
    low_tpm: tuple[float | None, float | None]
    high_tpm: tuple[float | None, float | None]
    moves_tpm: float | None
    how: str


def guesses(rig: Rig, edges: Edges) -> tuple[Guess, ...]:
    """All values that are not given, the one that matters most first."""
    found = []
    here = edges.widest()
    for key, origin in rig.origins.items():
        known = field_of(key)
        if origin.kind == "given" or known is None:
            continue
        spec = known[3]
        ends: list[tuple[float, float] | None] = [here, here]
        if key not in STEADY_STATE_IGNORES and origin.low < origin.high:
            ends = [_band(rig, key, value, here, origin.value)
                    for value in (origin.low, origin.high)]
        found.append(Guess(
            key, origin.kind, origin.value / spec.scale, origin.low / spec.scale,
            origin.high / spec.scale, spec.unit,
            (ends[0] and ends[0][0], ends[1] and ends[1][0]),
            (ends[0] and ends[0][1], ends[1] and ends[1][1]),
            _moves(here, ends), spec.how,
        ))
    rank = {None: float("inf")}
    found.sort(key=lambda g: -rank.get(g.moves_tpm, g.moves_tpm or 0.0))
    return tuple(found)


def _band(rig: Rig, key: str, value: float, here: tuple[float, float] | None,
          as_is: float) -> tuple[float, float] | None:
    if value == as_is:
        return here
    changed = with_value(rig, key, value)
    return find_edges(changed, grid=GRID, rounds=ROUNDS, reasons=False).widest()


def _moves(here: tuple[float, float] | None,
           ends: list[tuple[float, float] | None]) -> float | None:
    if here is None:
        return 0.0 if ends == [None, None] else None
    moved = 0.0
    for end in ends:
        if end is None:
            return None
        moved = max(moved, abs(end[0] - here[0]), abs(end[1] - here[1]))
    return moved
