"""An empty band is an answer: which two constraints clash, and what would part them.

Every remedy is the model run again with that change; nothing is a rule of thumb.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from steadyturn.model import gears
from steadyturn.model.change import with_value
from steadyturn.model.edges import Edges, rough_band
from steadyturn.model.hazards import hazards
from steadyturn.rig.types import RPM, Rig

ENOUGH_TPM = 12.0  # a band a hand can keep without looking
FACTORS = (1.12, 0.89, 1.25, 0.8, 1.4, 0.71, 1.6, 0.62, 2.0, 0.5, 2.5, 3.2, 4.0)
ROUGH_FACTORS = (1.5, 0.67, 2.2, 3.2)  # beside another change

PETG_C = 75.0  # where PETG begins to soften, from memory

# thresholds of small converter boards for a 5 V output, common practice, no source
KINDS: dict[str, dict[str, Any]] = {
    "boost": {"start_v": 2.6, "stop_v": 2.0, "max_in_v": 5.5},
    "buck": {"start_v": 6.5, "stop_v": 4.5, "max_in_v": 24.0},
    "buck_boost": {"start_v": 3.0, "stop_v": 2.4, "max_in_v": 16.0},
}
KIND_WORDS = {"boost": "a step-up (boost)", "buck": "a step-down (buck)",
              "buck_boost": "a step-up/down (buck-boost)"}


@dataclass(frozen=True)
class Remedy:
    """change: in a maker's words; the band it gives [turns/min]; hazards: names of the
    ratings that would then be broken."""

    change: str
    low_tpm: float
    high_tpm: float
    hazards: tuple[str, ...]


def clash(rig: Rig, edges: Edges) -> tuple[str, str]:
    """Names of the two constraints that leave no pace between them; one that holds at no
    pace stands first on its side.

    >>> from steadyturn.model.edges import find_edges
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> toy = read_rig(example_path("toy-motor"))
    >>> clash(toy, find_edges(toy))
    ('start', 'comfort_high')
    """
    lows = [limit for limit in edges.limits if limit.side == "low"]
    highs = [limit for limit in edges.limits if limit.side == "high"]
    if lows and highs:  # the binding one of each side stands first
        return lows[0].name, highs[0].name
    only = (lows or highs)[0].name if lows or highs else "holding"
    second = (lows or highs)[1].name if len(lows or highs) > 1 else only
    return only, second


def remedies(rig: Rig) -> tuple[Remedy, ...]:
    """What makes a band, one change at a time, safe ones and then the widest first; where
    no single change does so safely, a change together with another gear ratio.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> best = remedies(read_rig(example_path("toy-motor")))[0]
    >>> best.low_tpm < best.high_tpm, best.hazards
    (True, ())
    """
    found = []
    if (best := _first_wide(_ratios(rig))) is not None:
        found.append(best)
    for changes in _single(rig):
        if (best := _first_wide(changes)) is not None:
            found.append(best)
    if all(remedy.hazards for remedy in found):
        for changes in _single(rig):
            for change, changed in changes:
                both = ((f"{change}, and {ratio}", geared)
                        for ratio, geared in _ratios(changed, ROUGH_FACTORS))
                if (best := _first_wide(both)) is not None:
                    found.append(best)
                    break
    return tuple(sorted(found, key=lambda r: (bool(r.hazards), r.low_tpm - r.high_tpm)))


Changes = Iterator[tuple[str, Rig]]


def _first_wide(changes: Changes) -> Remedy | None:
    """The first, mildest change that gives a wide band, else the widest of all."""
    best: Remedy | None = None
    for change, changed in changes:
        band = rough_band(changed)
        if band is None:
            continue
        broken = tuple(h.name for h in hazards(changed, band[1]))
        remedy = Remedy(change, *band, broken)
        width = band[1] - band[0]
        if best is None or width > best.high_tpm - best.low_tpm:
            best = remedy
        if width >= ENOUGH_TPM:
            return remedy
    return best


def _ratios(rig: Rig, factors: tuple[float, ...] = FACTORS) -> Changes:
    now = gears.ratio(rig.stages)
    if not rig.stages:
        return
    *others, last = rig.stages
    for factor in factors:
        turned = replace(last, driver_teeth=None, driven_teeth=None,
                         ratio=gears.stage_ratio(last) * factor)
        yield (f"a gear ratio of {now * factor:.3g} in place of {now:.3g}",
               replace(rig, stages=(*others, turned)))


def _single(rig: Rig) -> Iterator[Changes]:
    yield _motors(rig)
    yield _bigger(rig)
    yield _draws(rig)
    yield _converters(rig)
    yield _handles(rig)
    yield _parts(rig)


def _motors(rig: Rig) -> Changes:
    bank = rig.bank
    for series, parallel in ((bank.series + 1, bank.parallel), (bank.series, bank.parallel + 1)):
        change = "one motor more in series" if series > bank.series else (
            "one motor more in parallel")
        if (series - bank.series) * bank.parallel > 1 or (parallel - bank.parallel) * series > 1:
            change += " (a whole row)"
        yield change, replace(rig, bank=replace(bank, series=series, parallel=parallel))
    if bank.series != bank.parallel:
        yield (f"the same motors as {bank.parallel} in series, {bank.series} in parallel",
               replace(rig, bank=replace(bank, series=bank.parallel, parallel=bank.series)))


def _bigger(rig: Rig) -> Changes:
    bigger = replace(rig.motor, name="printer motor", rated_v=12.0, no_load_rad_s=4000 * RPM,
                     no_load_a=0.08, terminal_ohm=1.3, emf_v_s=None, brush_drop_v=0.2,
                     max_rad_s=8000 * RPM, max_a=1.5)
    change = "a bigger motor, such as a printer's (12 V, 4000 rpm, 0.08 A idle, 1.3 ohm)"
    yield change, replace(rig, motor=bigger)
    if rig.bank.mount_max_c < PETG_C:
        cooler = replace(rig.bank, mount_max_c=PETG_C)
        yield (f"{change} on a mount that bears {PETG_C:.0f} degC (PETG)",
               replace(rig, motor=bigger, bank=cooler))


def _draws(rig: Rig) -> Changes:
    if rig.load.kind in ("resistor", "none"):
        return
    for share in (0.8, 0.6, 0.4, 0.25):
        amps = rig.load.draw_a * share
        yield (f"a device (or cable) that draws {amps:.2f} A in place of {rig.load.draw_a:.2f}",
               with_value(rig, "load.draw_a", amps))


def _converters(rig: Rig) -> Changes:
    for kind, values in KINDS.items():
        if kind != rig.converter.kind:
            part = replace(rig.converter, kind=kind, points=(), **values)
            yield (f"{KIND_WORDS[kind]} converter, window {values['stop_v']:.1f}-"
                   f"{values['max_in_v']:.1f} V", replace(rig, converter=part))


def _handles(rig: Rig) -> Changes:
    for longer in (1.25, 1.5, 2.0):
        radius = rig.crank.radius_m * longer
        if radius <= 0.25:
            yield (f"a handle of {radius * 1000:.0f} mm in place of "
                   f"{rig.crank.radius_m * 1000:.0f}", with_value(rig, "crank.radius_mm", radius))


def _parts(rig: Rig) -> Changes:
    if rig.bank.mount_max_c < PETG_C:
        yield (f"a mount that bears {PETG_C:.0f} degC (PETG)",
               with_value(rig, "bank.mount_max_c", PETG_C))
    if rig.rectifier.kind == "bridge":
        yield ("one Schottky diode in place of the bridge (cranking one way only)",
               replace(rig, rectifier=replace(rig.rectifier, kind="schottky")))
    if rig.load.cable_m > 0.3 or rig.load.cable_awg > 24:
        shorter = replace(rig.load, cable_m=min(rig.load.cable_m, 0.3),
                          cable_awg=min(rig.load.cable_awg, 24.0))
        yield "a short, thick USB cable (0.3 m, AWG 24)", replace(rig, load=shorter)
