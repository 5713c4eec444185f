"""Totals from what the sensor showed, without the firmware: sums in whole numbers.

Input are the words that the virtual board's registers gave (`twin.readings`) and the settings;
the rules are those of sensors.md, settings.md and pages.md, written anew: a total is the sum
of power times whole milliseconds, its fraction carried, so it is one division of one sum. One
thing is not to be seen in the words: in a gap of the sensor the current is kept for some
ticks, five at most, before it counts as lost. For each gap the pages may choose how many.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np
from steadyturn.twin.readings import Boot
from steadyturn_fw import pages

CLOCK, ADC_BUS, ADC_SUPPLY = 0xF0, 0x80, 0x81
SHUNT, BUS = 1, 2
# uV a bit of the bus register, nV a bit of the shunt register, bits to leave out
UNITS = {"ina226": (1250, 2500, 0), "ina219": (4000, 10_000, 3), "ina3221": (1000, 5000, 0)}
COUNT_MS = 200  # of a stall this much is counted
MOST_MA, MOST_MV = 32_767, 65_535
KEPT = 5  # ticks
CLOCKS = 8  # clock readings before the first tick, of which one is where time begins

Ints = np.ndarray[Any, np.dtype[np.int64]]


def scale(numerator: int, denominator: int) -> tuple[int, int]:
    """factor / 2**shift for numerator / denominator, in 14 bits."""
    shift = max(s for s in range(29) if (numerator << s) <= 16383 * denominator)
    return (2 * (numerator << shift) + denominator) // (2 * denominator), shift


@dataclass(frozen=True, slots=True)
class Totals:
    in_uj: int = 0
    out_uj: int = 0
    in_uc: int = 0

    @classmethod
    def of(cls, page: bytes) -> Totals:
        return cls(pages.get(page, pages.AT_ENERGY_IN, 6), pages.get(page, pages.AT_ENERGY_OUT, 6),
                   pages.get(page, pages.AT_CHARGE, 6))


@dataclass(slots=True)
class Ticks:
    """One entry a tick of one boot: clock us, mV, raw shunt word, and what kind it was."""

    at_us: Ints
    mv: Ints
    shunt: Ints
    fresh: np.ndarray[Any, np.dtype[np.bool_]]
    connected: np.ndarray[Any, np.dtype[np.bool_]]
    clocks: list[int] = field(default_factory=list)  # before the first


def ticks(boot: Boot, s: Mapping[str, Any]) -> Ticks:
    words = np.frombuffer(boot.reads, dtype=np.int64)
    at, what, value = words >> 24, words >> 16 & 0xFF, words & 0xFFFF
    clocks = np.flatnonzero(what == CLOCK)
    begins = np.flatnonzero(what == ADC_SUPPLY)  # read once, first thing in a tick
    begins = begins[begins > (clocks[0] if len(clocks) else len(words))]
    ends = np.append(begins[1:], len(words))

    def last(wanted: int) -> tuple[Ints, Ints]:
        """Position and value of the last such word in each tick; position -1: none."""
        places = np.flatnonzero(what == wanted)
        if not len(places):
            return np.full(len(begins), -1), np.zeros(len(begins), np.int64)
        found = places[np.maximum(np.searchsorted(places, ends) - 1, 0)]
        there = (found >= begins) & (found < ends)
        return np.where(there, found, -1), np.where(there, value[found], 0)

    at_us = at[clocks[np.searchsorted(clocks, begins) - 1]]
    shunt_at, shunt = last(SHUNT)
    bus_at, bus = last(BUS)
    adc_at, adc = last(ADC_BUS)
    fresh = (adc_at < 0) & (shunt_at >= 0) & (bus_at > shunt_at)
    bus_uv, _, left_out = UNITS[s["chip"]]
    factor, shift = scale(bus_uv * s["bus_gain_ppm"], 1_000_000_000)
    bus = bus >> left_out
    bus = np.where(bus & 0x8000, 0, bus)  # the sign: below ground, or a bit that was read wrong
    by_chip = ((bus * factor + (1 << shift >> 1)) >> shift) + s["bus_offset_mv"]
    factor, shift = scale(3300 * s["divider_permille"], 65_535_000)
    by_adc = adc * factor >> shift
    mv = np.clip(np.where(fresh, by_chip, by_adc), 0, MOST_MV)
    shunt = np.where(shunt >= 0x8000, shunt - 0x10000, shunt)
    edges = np.frombuffer(boot.edges, dtype=np.int64)
    upper = np.append(at_us[1:], np.iinfo(np.int64).max)
    made = np.searchsorted(edges, upper) - np.searchsorted(edges, at_us)
    return Ticks(at_us, mv, shunt, fresh, made > 0, [int(at[c]) for c in clocks if c < begins[0]]
                 if len(begins) else [])


def gaps(t: Ticks) -> list[tuple[int, int]]:
    """First tick of each run of ticks without a reading, and the tick behind its last."""
    edge = np.flatnonzero(np.diff(np.concatenate(([True], t.fresh, [True])).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def amps(t: Ticks, s: Mapping[str, Any], kept: Mapping[int, int]) -> Ints:
    """mA of each tick. kept: by a gap's first tick, for how many the current is kept."""
    _, shunt_nv, _ = UNITS[s["chip"]]
    factor, shift = scale(shunt_nv * s["amps_gain_ppm"], s["shunt_uohm"] * 1_000_000)
    # the fraction of each reading goes to the next: the sum of all is rounded once
    whole = (np.cumsum(np.where(t.fresh, t.shunt, 0) * factor) + (1 << shift >> 1)) >> shift
    ma = np.diff(whole, prepend=1 << shift >> 1 >> shift) + s["amps_offset_ma"]
    for first, behind in gaps(t):
        kept_to = min(first + kept.get(first, KEPT), behind)
        ma[first:kept_to] = ma[first - 1] if first else 0
        ma[kept_to:behind] = 0
    return np.clip(ma, 0, MOST_MA)


def device_uw(uw: int, ma: int, before_ma: int, s: Mapping[str, Any]) -> tuple[int, int]:
    """At the device's socket, uW, and the converter's output current, mA: what goes in less
    the converter's losses, by its coil's current, less the way's."""
    coil = s["coil"]
    out_ma = before_ma
    for _ in range(2 if coil in ("out", "larger") else 1):
        i = ma if coil == "in" else max(ma, out_ma) if coil == "larger" else out_ma
        left = uw - i * i * s["loss_mohm"] // 1000 - i * s["loss_mv"] - s["loss_uw"]
        out_ma = max(0, left // 1000) * 1000 // s["out_mv"]
    way = s["path_mohm"] + s["out_shunt_uohm"] // 1000
    return max(0, left - out_ma * out_ma * way // 1000), out_ma


@dataclass(slots=True)
class Course:
    """Totals after each tick of one boot, and its clock, ms since the boot."""

    t_ms: Ints
    in_uj: Ints
    out_uj: Ints
    in_uc: Ints


def course(t: Ticks, s: Mapping[str, Any], began_us: int, start: Totals,
           kept: Mapping[int, int]) -> Course:
    t_ms = (t.at_us - began_us) // 1000
    ms = np.minimum(np.diff(t_ms, prepend=0), COUNT_MS)
    ma = amps(t, s, kept)
    uw = t.mv * ma
    out_nj = np.zeros(len(ms), np.int64)
    before = 0
    for k in np.flatnonzero(t.connected):
        out, before = device_uw(int(uw[k]), int(ma[k]), before, s)
        out_nj[k] = out * int(ms[k])
    return Course(t_ms, start.in_uj + np.cumsum(uw * ms) // 1000,
                  start.out_uj + np.cumsum(out_nj) // 1000, start.in_uc + np.cumsum(ma * ms))


def matches(c: Course, page: bytes, after: int) -> int | None:
    """The tick, not before `after`, whose totals are exactly the page's, close to its end."""
    t0, samples = pages.get(page, pages.AT_T0, 4), page[pages.AT_N_SAMPLES]
    end = t0 + pages.SAMPLE_MS * samples
    low = max(after, int(np.searchsorted(c.t_ms, end - 250)))
    high = int(np.searchsorted(c.t_ms, end + 450))
    wanted = Totals.of(page)
    for k in range(low, high):
        if (c.in_uj[k], c.out_uj[k], c.in_uc[k]) == (wanted.in_uj, wanted.out_uj, wanted.in_uc):
            return k
    return None


@dataclass(frozen=True, slots=True)
class Verdict:
    """pages: that were equal; wrong: what is not, "" for nothing; last_ms: from the last
    stored page to the boot's last tick; chosen: gaps for which the pages chose."""

    pages: int
    wrong: str
    last_ms: int
    chosen: int
    ticks: int


def judge(boot: Boot, stored: list[bytes], s: Mapping[str, Any], start: Totals) -> Verdict:
    """stored: this boot's pages in order; start: totals of the newest page before them."""
    t = ticks(boot, s)
    count = len(t.at_us)
    if not count:  # it ended before the first one: nothing may have been added
        added = [page for page in stored if Totals.of(page) != start]
        return Verdict(len(stored), "totals without a tick" if added else "", 0, 0, 0)
    best = (-1, "", 0)
    holes = [first for first, behind in gaps(t)]
    for began_us in reversed(t.clocks[-CLOCKS:]):
        for choice in product((KEPT, 3, 0, 4, 2, 1), repeat=min(len(holes), 2)):
            kept = dict(zip(holes, choice, strict=False))
            found = _follow(course(t, s, began_us, start, kept), stored, start)
            if not found[1]:
                return Verdict(found[0], "", found[2], len(choice), count)
            best = max(best, found)
    return Verdict(best[0], best[1], best[2], 0, count)


def _follow(c: Course, stored: list[bytes], start: Totals) -> tuple[int, str, int]:
    """How many pages are equal, what the first other one says, ms behind the last."""
    tick, last_ms = 0, 0
    for number, page in enumerate(stored):
        if not page[pages.AT_N_SAMPLES] and Totals.of(page) == start:
            continue  # the first of a boot
        found = matches(c, page, tick)
        if found is None:
            seq = pages.get(page, pages.AT_SEQ, 4)
            return number, f"page {seq}: {Totals.of(page)}, another total than the record's", 0
        tick = found
        last_ms = int(c.t_ms[found])
    return len(stored), "", (int(c.t_ms[-1]) if len(c.t_ms) else 0) - last_ms
