"""A day of virtual use with faults and losses of power: every stored total is, to the microjoule,
the one that the sensor's own words give, and memory does not grow."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import median

import pytest
from life import Day, live, person
from reckoning import UNITS
from series import Found, Series
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.twin import Twin

HOUR_S = 3600.0
MOST_LOST_MS = 5000
HEAP_GROWTH = 512  # bytes, within one start
HEAP_ROWS = 6_000  # bytes, from one start to others: rows for the journal's files on the flash
RSS_GROWTH_KB = 20_000


def hut(chip: str = "ina226") -> Rig:
    path = example_path("lakeside-hut")
    assert path is not None
    rig = read_rig(path)
    return replace(rig, sensor=replace(rig.sensor, chip=chip, alert=chip == "ina226"))


def run(rig: Rig, image: Path, day: Day, length_s: float, seed: int) -> Found:
    settings = build(rig, find_band(rig, deep=False))
    twin = Twin(rig, image=image, seed=seed, person=person(rig, seed, day))
    twin.prepare(encode(settings))
    with twin:
        found = Series(twin, settings, day).run(length_s)
    shown = {name: getattr(found, name) for name in found.__slots__
             if name not in ("heaps", "heap_grown", "rss_kb")}
    hours, cranking, on = length_s / HOUR_S, day.cranking_s / HOUR_S, found.ticks / 50 / HOUR_S
    print(f"\n{rig.sensor.chip}, {hours:.2f} h, cranking {cranking:.2f} h, powered {on:.2f} h: "
          f"{shown}")
    tick_us = 1e6 * found.real_s / found.ticks
    print(f"virtual to real time {length_s / found.real_s:.0f}; {tick_us:.0f} us a powered tick; "
          f"heap {[h[1] for h in found.heaps[:1] + found.heaps[-1:]]}; "
          f"RSS {found.rss_kb[:1] + found.rss_kb[-1:]} kB")
    return found


def judge(found: Found) -> None:
    assert found.wrong == []
    assert found.pages > 3 * found.cycles
    assert found.most_lost_ms <= MOST_LOST_MS
    assert found.totals.in_uj > found.totals.out_uj > 0


@pytest.mark.parametrize("chip", [
    pytest.param(chip, marks=[] if chip == "ina226" else [pytest.mark.soak]) for chip in UNITS])
def test_some_minutes(chip: str, tmp_path: Path) -> None:
    day = live(3, 240.0)
    day.faults[:] = [("nack", 20.0, 23.0), ("flips", 30.0, 31.0), ("frozen", 40.0, 40.3)]
    judge(run(hut(chip), tmp_path / "a.img", day, 240.0, 3))


@pytest.mark.soak
@pytest.mark.timeout(2 * 3600)
def test_a_day(tmp_path: Path) -> None:
    """24 h, of which the board is powered for more than ten; more than 500 losses of power."""
    length_s = 24 * HOUR_S
    found = run(hut(), tmp_path / "a.img", live(1, length_s), length_s, 1)
    judge(found)
    assert found.cycles >= 500
    assert found.ticks >= 8 * HOUR_S * 50
    # at the same moment of each start, after a collection
    used = [used for into_s, used, _ in found.heaps if into_s < 60]
    third = len(used) // 3
    # by what most starts hold: one that met a lost sensor, or no handle, holds less
    first, last = median(used[:third]), median(used[-third:])
    print(f"heap in use, most starts: {first} bytes in the first third, {last} in the last")
    assert last - first < HEAP_ROWS
    assert max(found.heap_grown, default=0) < HEAP_GROWTH
    rss = found.rss_kb
    assert rss[-1] - rss[len(rss) // 10] < RSS_GROWTH_KB


@pytest.mark.soak
@pytest.mark.timeout(2 * 3600)
def test_hours_without_a_pause(tmp_path: Path) -> None:
    """One start, fed by USB, charging for four hours: the heap does not grow."""
    rig = hut()
    rig = replace(rig, supply=replace(rig.supply, feed="usb"))
    length_s = 4 * HOUR_S
    day = Day([(0.0, length_s)], [(0.0, "follow")], [], [])
    settings = build(rig, find_band(rig, deep=False))
    twin = Twin(rig, image=tmp_path / "a.img", seed=2, person=person(rig, 2, day))
    twin.prepare(encode(settings))
    with twin:
        series = Series(twin, settings, day)
        series.run(length_s)
        heaps = list(twin.heaps)
        twin.cut_power()
        twin.run(0.1)
        found = series.found
        assert found.wrong == []
    assert len(heaps) > 200
    assert max(h.used for h in heaps[5:]) - min(h.used for h in heaps[:5]) < HEAP_GROWTH
    grown = [(b.total - a.total) / (b.t_s - a.t_s) for a, b in pairwise(heaps)]
    print(f"\n{found.pages} pages equal; allocated at most {max(grown):.0f} bytes a second")
