"""Which guess matters most: every value that is not given, by how far the band's edges
move between the ends of its range."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from steadyturn.model.change import field_of, with_value
from steadyturn.model.edges import Edges, rough_band, rough_of
from steadyturn.model.limits import Sheet, constraints
from steadyturn.rig.types import Rig

# what no edge depends on: they shape how the machine moves, not where it stands
STEADY_STATE_IGNORES = frozenset({
    "motor.inductance_mh", "motor.inertia_gcm2", "motor.winding_j_per_k", "bank.spread_percent",
    "crank.inertia_gm2", "bus.capacitor_uf", "converter.soft_start_ms",
    "converter.output_capacitor_uf", "switch.hold_ms", "supply.reservoir_uf",
    "supply.forbid_v", "load.charge_efficiency", "load.self_use_w", "load.capacity_wh",
    "load.taper_from_percent", "load.advertised_a", "arm.age_years",
    "arm.droop_nm_per_rad_s", "arm.ripple_percent", "arm.reaction_ms",
    "board.lamp_percent",
})

# what only limits, and changes no operating point
ONLY_LIMITS = frozenset({
    "motor.max_rpm", "motor.max_a", "motor.max_winding_c", "bank.mount_max_c", "crank.radius_mm",
    "rectifier.max_v", "bus.capacitor_max_v", "switch.max_v", "supply.wake_v", "supply.fade_v",
    "supply.reservoir_max_v", "arm.power_w", "arm.force_n", "arm.comfort_low_tpm",
    "arm.comfort_high_tpm", "load.max_v", "converter.max_in_v", "sensor.divider",
})

# what takes a look, a ruler or two minutes with a multimeter; the rest asks for a set-up
EASY = frozenset({
    "motor.rated_v", "motor.no_load_rpm", "motor.no_load_a", "motor.terminal_ohm",
    "motor.emf_v_per_krpm", "motor.max_a", "bank.mount_max_c", "crank.radius_mm",
    "bus.capacitor_max_v", "switch.max_v", "rectifier.max_v", "converter.out_v",
    "converter.start_v", "converter.stop_v", "converter.max_in_v", "converter.loss_w",
    "load.cable_m", "load.cable_awg", "load.draw_a", "load.resistance_ohm", "sensor.shunt_mohm",
    "supply.power_mw", "supply.wake_v", "air.hot_c", "air.cold_c",
})
ABOUT_AS_MUCH = 1 / 3  # of the largest effect: from here on an easy one goes first

Pace = tuple[float, float] | None


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
    low_tpm: tuple[float | None, ...]
    high_tpm: tuple[float | None, ...]
    moves_tpm: float | None
    how: str


def guesses(rig: Rig, edges: Edges) -> tuple[Guess, ...]:
    """All values that are not given, the one that matters most first.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.edges import find_edges
    >>> first = guesses(hut, find_edges(hut))[0]
    >>> first.kind, first.low < first.high
    ('assumed', True)
    """
    around = (5.0, 205.0)
    if (exact := edges.widest()) is not None:
        around = (max(0.4 * exact[0], 1.0), min(1.6 * exact[1], 301.0))
    pace = np.linspace(*around, 201)
    as_is = Sheet(rig, constraints(rig), pace)
    here = rough_of(as_is)

    def band_with(key: str, value: float) -> Pace:
        changed = with_value(rig, key, value)
        if key in ONLY_LIMITS:
            return rough_of(Sheet(changed, constraints(changed), pace, as_is.views))
        return rough_band(changed, *around)

    found = []
    for key, origin in rig.origins.items():
        known = field_of(key)
        if origin.kind == "given" or known is None:
            continue
        spec = known[3]
        ends = [here, here]
        if key not in STEADY_STATE_IGNORES:
            ends = [here if value == origin.value else band_with(key, value)
                    for value in (origin.low, origin.high)]
        low_tpm, high_tpm = [tuple(end[side] if end else None for end in ends)
                             for side in (0, 1)]
        found.append(Guess(
            key, origin.kind, origin.value / spec.scale, origin.low / spec.scale,
            origin.high / spec.scale, spec.unit, low_tpm, high_tpm, _moves(here, ends),
            spec.how))
    found.sort(key=lambda g: (-(np.inf if g.moves_tpm is None else g.moves_tpm),
                              g.key not in EASY))
    return tuple(found)


def first_to_measure(effects: Iterable[tuple[str, float]]) -> str | None:
    """The key to measure first. effects: key and its effect, all a share or all a move
    [turns/min] (inf: the band goes or comes); of those that matter about as much as the
    largest an easy one goes first.

    >>> first_to_measure([("motor.case_to_air_k_per_w", 9.0), ("motor.rated_v", 5.0)])
    'motor.rated_v'
    >>> first_to_measure([("motor.case_to_air_k_per_w", 9.0), ("motor.rated_v", 1.0)])
    'motor.case_to_air_k_per_w'
    """
    ranked = sorted((pair for pair in effects if pair[1] > 0), key=lambda pair: -pair[1])
    if not ranked:
        return None
    most = ranked[0][1]
    near = [key for key, effect in ranked if effect >= ABOUT_AS_MUCH * most]
    return next((key for key in near if key in EASY), near[0])


def _moves(here: Pace, ends: list[Pace]) -> float | None:
    if here is None:
        return 0.0 if ends == [None, None] else None
    if None in ends:
        return None
    return max(abs(end[side] - here[side]) for end in ends if end for side in (0, 1))
