"""What could be changed on a machine that stands already, one change at a time.

Each change is said as the rig file would say it, so that what is judged is what is written.
Figures of parts one could buy are the typical classes of typical.toml or the person's own parts
file; prices are those of circuit/parts.toml, rough guides. See single.md.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from steadyturn.circuit import table
from steadyturn.model import gears
from steadyturn.rig.edit import Change, Edit, Tables
from steadyturn.rig.person import TWO_ARMS
from steadyturn.rig.types import Rig
from steadyturn.sizing import trains
from steadyturn.sizing.drawer import Drawer, Item

LONGEST_M = 0.25  # a handle beyond which an arm's circle is too wide
LONGER = (1.25, 1.5)
PETG_C = 75.0  # where PETG begins to soften, from memory
POOR = 0.85  # a measured stage below what a plastic one usually passes on, rig.parts_source.Stage
SMOOTH = 0.9  # clean teeth, grease, true axles: the better half of that range, 0.85 to 0.95
CABLE_M, CABLE_AWG = 0.3, 20.0  # a short cable for 3 A and more; common practice, no source
CAPACITORS = (2.2, 4.7, 10.0)  # times the present one
MOST_F = 0.047  # what a shop has in one can


@dataclass(frozen=True)
class Option:
    """One change. kind: "motors", "ratio", "converter", "handle", "arms", "rectifier", "cable",
    "gears", "mount" or "capacitor"; words: for a maker; changes: of the rig file; asks: "rewire",
    "print" or "buy"; price_eur: rough guide (0: at hand), None where no table has one; other:
    sections whose part is another specimen, so that nothing measured of the old one holds;
    typical: of a typical class, nothing measured."""

    kind: str
    words: str
    changes: tuple[Change, ...]
    asks: str
    price_eur: float | None = None
    other: tuple[str, ...] = ()
    typical: bool = False


def price_eur(kind: str) -> float | None:
    """Of one part of this kind of the circuit's parts table; None where it has none.

    >>> price_eur("motor"), price_eur("gearbox")
    (5.0, None)
    """
    return next((float(row["price"]) for row in table.rows() if row["kind"] == kind), None)


def options(rig: Rig, tree: Mapping[str, Any], drawer: Drawer) -> Iterator[Option]:
    """All but ratio and capacitor, which are searched for. tree: of the rig's file; drawer:
    converters to choose from."""
    yield from _motors(rig)
    yield from _others(rig, tree, drawer)
    yield from _handle(rig, tree)
    yield from _rectifier(rig)
    yield from _cable(rig)
    yield from _gears(rig)
    if rig.bank.mount_max_c < PETG_C:
        yield Option("mount", f"motors on a mount that bears {PETG_C:.0f} degC (PETG)",
                     (Edit(("bank",), "mount_max_c", PETG_C),), "print")


def _motors(rig: Rig) -> Iterator[Option]:
    bank, each = rig.bank, price_eur("motor")
    for series, parallel in ((bank.series + 1, bank.parallel), (bank.series, bank.parallel + 1)):
        more = series * parallel - bank.series * bank.parallel
        how = "in series" if series > bank.series else "in parallel"
        words = (f"one more motor {how}" if more == 1 else f"{more} more motors: a row more "
                 f"{how}")
        yield Option("motors", words, _bank(series, parallel), "buy",
                     None if each is None else more * each)
    if bank.series != bank.parallel:
        words = f"the same motors as {bank.parallel} in series, {bank.series} in parallel"
        if 1 in (bank.series, bank.parallel):
            now, then = ("series", "parallel") if bank.parallel == 1 else ("parallel", "series")
            words = f"the same motors in {then}, not in {now}"
        yield Option("motors", words, _bank(bank.parallel, bank.series), "rewire", 0.0)


def _bank(series: int, parallel: int) -> tuple[Change, ...]:
    return Edit(("bank",), "series", series), Edit(("bank",), "parallel", parallel)


def _others(rig: Rig, tree: Mapping[str, Any], drawer: Drawer) -> Iterator[Option]:
    """Another converter. (Another motor asks for another ratio as well: that is no single
    change, and `size` and `retune` search for it.)"""
    for item in drawer.converters:
        if item.count and item.part != rig.converter:
            part, price = item.part, price_eur("converter") if item.typical else 0.0
            yield Option("converter", f"{item.name} ({part.stop_v:g}-{part.max_in_v:g} V)",
                         _part("converter", tree, item), "buy" if item.typical else "rewire",
                         price, ("converter",), item.typical)


def _part(section: str, tree: Mapping[str, Any], item: Item) -> tuple[Change, ...]:
    """Every key of the old part goes, those of the new one come."""
    old, new = dict(tree.get(section, {})), dict(item.raw)
    changes: list[Change] = []
    points = new.pop("points", ())
    if old.pop("points", ()) or points:
        changes.append(Tables((section, "points"), tuple(points)))
    changes += [Edit((section,), key, None) for key in old if key not in new]
    changes += [Edit((section,), key, value) for key, value in new.items()
                if old.get(key) != value]
    return tuple(changes)


def _handle(rig: Rig, tree: Mapping[str, Any]) -> Iterator[Option]:
    now = rig.crank.radius_m
    for longer in LONGER:
        radius = round(now * longer, 3)
        if radius <= LONGEST_M:
            yield Option("handle", f"a handle of {radius * 1000:.0f} mm, not {now * 1000:.0f}",
                         (Edit(("crank",), "radius_mm", radius * 1000),), "print")
    if rig.arm.arms == "two":
        return
    changes: list[Change] = [Edit(("arm",), "arms", "two")]
    if "power_w" in tree.get("arm", {}):
        one_w = rig.arm.power_w
        changes.append(Edit(("arm",), "power_w", {
            "assumed": round(TWO_ARMS * one_w, 2), "low": round(1.3 * one_w, 2),
            "high": round(2 * one_w, 2), "note": "of one arm before, times 1.3 to 2"}))
    yield Option("arms", "a grip for both hands", tuple(changes), "print")


def _rectifier(rig: Rig) -> Iterator[Option]:
    if rig.rectifier.kind == "bridge":
        yield Option("rectifier", "one Schottky diode, not a bridge (cranking one way only)",
                     (Edit(("rectifier",), "kind", "schottky"),), "buy", price_eur("schottky"))
    elif rig.rectifier.kind == "schottky":
        yield Option("rectifier", "a bridge, not one diode (cranking either way)",
                     (Edit(("rectifier",), "kind", "bridge"),), "buy", price_eur("bridge"))


def _cable(rig: Rig) -> Iterator[Option]:
    load = rig.load
    if load.kind in ("resistor", "none"):
        return
    if load.cable_m > CABLE_M or load.cable_awg > CABLE_AWG:
        metres, gauge = min(load.cable_m, CABLE_M), min(load.cable_awg, CABLE_AWG)
        yield Option("cable", f"a USB cable of {metres:g} m, AWG {gauge:g}",
                     (Edit(("load",), "cable_m", metres), Edit(("load",), "cable_awg", gauge)),
                     "buy")


def _gears(rig: Rig) -> Iterator[Option]:
    """Where a stage was measured, and poor."""
    poor = [i for i, stage in enumerate(rig.stages) if stage.efficiency < POOR
            and (origin := rig.origins.get(f"stage[{i + 1}].efficiency")) is not None
            and origin.kind == "measured"]
    if poor:
        worst = min(rig.stages[i].efficiency for i in poor)
        yield Option("gears", f"smoother gears: {100 * SMOOTH:.0f} % a stage, not "
                     f"{100 * worst:.0f}", tuple(
                         Edit(("stage", i), "efficiency", {
                             "assumed": SMOOTH, "low": 0.85, "high": 0.95,
                             "note": "smoother; to be measured"}) for i in poor), "print")


# ------------------------------------------------------------------ searched for


def geared(rig: Rig, teeth: tuple[tuple[int, int], ...]) -> Option:
    """Another train. Each of its stages passes on what one of the present ones does, their
    geometric mean, with its range: the same printer made them."""
    count = max(len(rig.stages), 1)
    low, value, high = 1.0, 1.0, 1.0
    for i, stage in enumerate(rig.stages, 1):
        origin = rig.origins.get(f"stage[{i}].efficiency")
        ends = (origin.low, origin.high) if origin and origin.low < origin.high else (
            0.95 * stage.efficiency, min(1.05 * stage.efficiency, 1.0))  # rig.tolerances
        low, value, high = low * ends[0], value * stage.efficiency, high * ends[1]
    each = {name: round(whole ** (1 / count), 4) for name, whole in (
        ("assumed", value), ("low", low), ("high", high))}
    rows = tuple({"driver_teeth": driver, "driven_teeth": driven,
                  "efficiency": {**each, "note": "as the gears before"}}
                 for driver, driven in teeth)
    ratio = trains.ratio(teeth)
    return Option("ratio", f"a ratio of {ratio:.3g}, not {gears.ratio(rig.stages):.3g}: "
                  f"{trains.text(teeth)}", (Tables(("stage",), rows),), "print")


def capacitor(rig: Rig, times: float) -> Option | None:
    """A larger bus capacitor, None where no shop has it."""
    farad = float(f"{rig.bus.capacitor_f * times:.2g}")
    if farad > MOST_F:
        return None
    return Option("capacitor", f"a bus capacitor of {farad * 1e6:.0f} uF, not "
                  f"{rig.bus.capacitor_f * 1e6:.0f}",
                  (Edit(("bus",), "capacitor_uf", round(farad * 1e6)),), "buy",
                  price_eur("electrolytic"))
