"""The search against the exact model tried out on every machine, and on its own promises."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from drawers import CONVERTERS, HOPELESS, MOTOR, REST, drawer
from steadyturn.model.band import find_band
from steadyturn.model.batch import bands
from steadyturn.model.edges import rough_band
from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.types import RPM
from steadyturn.sizing import heads as making
from steadyturn.sizing import search as searching
from steadyturn.sizing.drawer import Build, Drawer, banks, rig_of
from steadyturn.sizing.heads import head_values, heads
from steadyturn.sizing.judge import judge
from steadyturn.sizing.parts_file import read_drawer
from steadyturn.sizing.search import MOST_BYTES, Row, in_order, search
from steadyturn.sizing.trains import Train, ratio

GROUP = making._group
FEW = [Train(teeth, ratio(teeth)) for teeth in (
    ((48, 12),), ((50, 12), (50, 12)), ((60, 12), (60, 12)), ((40, 12), (40, 12), (40, 12)),
    ((50, 12), (50, 12), (50, 12)))]


def with_part(of: Drawer, section: str, **fields) -> Drawer:
    parts = dict(of.parts)
    parts[section] = replace(parts[section], **fields)
    return replace(of, parts=FrozenMap(parts))


def exact(of: Drawer, build: Build) -> Row | None:
    """The machine by the exact model; None where it has no band."""
    rig = rig_of(of, build)
    if rough_band(rig) is None:
        return None
    band = find_band(rig, deep=False)
    if band.at_target is None:
        return None
    row = Row(build, build.series * build.parallel, ratio(build.teeth), band.low_tpm,
              band.target_tpm, band.high_tpm, float(band.at_target.arm_w),
              float(band.at_target.out_w), tuple(h.name for h in band.hazards))
    return row if row.width >= of.limits.min_width else None


def everything(of: Drawer, made: list[Train]) -> list[Row]:
    rows = [exact(of, Build(i, j, s, p, train.teeth))
            for i, motor in enumerate(of.motors) for s, p in banks(of, motor)
            for j in range(len(of.converters)) for train in made]
    return [row for row in rows if row is not None]


def test_brute_force_finds_the_same(monkeypatch) -> None:
    monkeypatch.setattr(searching, "trains_for", lambda _: FEW)
    small = drawer()
    found = search(small)
    assert found.candidates == found.tried == 3 * 2 * len(FEW)
    every = everything(small, FEW)
    assert found.working == len(every)
    assert sum(found.clashes.values()) == found.candidates - len(every)
    best = in_order(every)
    for some, others in ((found.rows, best), (best, found.rows)):  # one or the other of equals
        for row in some:
            assert any(alike(row, other) for other in others), row
    for row in found.rows:
        (same,) = [other for other in every if other.build == row.build]
        assert row.low_tpm == pytest.approx(same.low_tpm, abs=0.01)
        assert row.high_tpm == pytest.approx(same.high_tpm, abs=0.01)
        assert row.arm_w == pytest.approx(same.arm_w, rel=1e-3)
        assert row.out_w == pytest.approx(same.out_w, rel=1e-3)
        assert set(row.dangers) == set(same.dangers)
    assert {row.unsafe for row in found.rows} == {True, False}


def alike(one: Row, other: Row) -> bool:
    a, b = one.costs(), other.costs()
    return (one.unsafe == other.unsafe and a[2:] == b[2:] and abs(a[0] / b[0] - 1) < 0.005
            and abs(a[1] - b[1]) < 0.005)


@pytest.mark.parametrize("arm", [{}, {"power_w": 7.0}, {"force_n": 9.0}])
def test_tables_agree_with_the_bands(arm) -> None:
    """Judging by tables, which is quick, against the batch of bands, pair by pair."""
    wide = with_part(read_drawer(None, typical=True), "arm", **arm)
    made = searching.trains_for(wide)[::29]
    gear = np.array([t.ratio for t in made])
    loss = wide.stage.efficiency ** np.array([len(t.teeth) for t in made])
    agree = compared = 0
    for group in heads(wide):
        rig = rig_of(wide, Build(0, int(group.converter[0]), 1, 1, ((12, 12),)))
        judged = judge(group, slice(0, len(group)), gear, loss, rig, 0.0)
        head = np.repeat(np.arange(len(group)), len(gear))
        values = head_values(wide, group.motor[head], group.series[head], group.parallel[head])
        values["train.ratio"] = np.tile(gear, len(group))
        values["train.efficiency"] = np.tile(loss, len(group))
        band = bands(rig, values)
        works = np.isfinite(band.low_tpm)
        agree += int((works == judged.works).sum())
        both = works & judged.works & (band.high_tpm - band.low_tpm > 4)
        compared += int(both.sum())
        close = 1e-3 if not arm else 0.05  # the arm's power is flat: its edges are soft
        for name in ("low_tpm", "high_tpm"):
            miss = getattr(judged, name)[both] / getattr(band, name)[both] - 1
            assert np.quantile(abs(miss), 0.98, method="nearest") < close if both.any() else True
        assert (abs(judged.arm_w[both] / band.arm_w[both] - 1) < 0.015).all()
    assert agree > 0.99 * sum(map(len, heads(wide))) * len(gear)
    assert compared > 30 or arm


def test_what_the_arm_cannot_bear_is_not_listed() -> None:
    for arm, limit in (({"power_w": 5.9}, lambda rig, at: at.arm_w),
                       ({"force_n": 7.0}, lambda rig, at: at.crank_nm / rig.crank.radius_m)):
        weak = with_part(drawer(), "arm", **arm)
        found = search(weak)
        strong = search(drawer())
        assert 0 < found.working < strong.working
        for row in found.rows[:1]:
            rig = rig_of(weak, row.build)
            at = find_band(rig, deep=False).at_target
            assert float(limit(rig, at)) <= next(iter(arm.values()))
        assert any(set(names) & {"arm_power", "arm_force"} for names in found.clashes)


def test_same_every_time_and_in_any_order() -> None:
    first, again = search(drawer()), search(drawer())
    assert first == again
    turned = search(drawer(CONVERTERS + MOTOR + REST))
    assert [r.build for r in turned.rows] == [r.build for r in first.rows]


def test_motor_by_constant_equals_motor_by_nameplate() -> None:
    """12.012 V at 3,850 rpm less what running free loses is the constant of 3.06 V/krpm."""
    volts = 3.06 * 3.85 + 0.062 * 1.34 + 0.18
    plate = MOTOR.replace("emf_v_per_krpm = 3.06", f"rated_v = {volts!r}\nno_load_rpm = 3850")
    ours, theirs = search(drawer()), search(drawer(plate + CONVERTERS + REST))
    assert [r.build for r in ours.rows] == [r.build for r in theirs.rows]
    for a, b in zip(ours.rows, theirs.rows, strict=True):
        assert a.low_tpm == pytest.approx(b.low_tpm, rel=1e-6)
        assert a.arm_w == pytest.approx(b.arm_w, rel=1e-6)


def test_series_add_volts_and_torque() -> None:
    """Rule of the trade: two equal motors in series give twice the volts at the same current."""
    buck, both = heads(drawer())
    one = int(np.nonzero((both.series == 1) & (both.parallel == 1))[0][0])
    two = int(np.nonzero(both.series == 2)[0][0])
    assert both.open_v[two] == pytest.approx(2 * both.open_v[one])
    side = int(np.nonzero(both.parallel == 2)[0][0])
    assert both.open_v[side] == pytest.approx(both.open_v[one])
    # a step-down wants 7-8 V at its input, and starts at a higher speed than a step-up/down
    assert buck.low_rad_s[one] > 1.2 * both.low_rad_s[one]
    volts = 3.06 * buck.low_rad_s[one] / (1000 * RPM)
    assert 7.0 < volts < 9.0


def test_boost_band_ends_where_it_passes_through() -> None:
    text = """
[[converter]]
name = "up"
kind = "boost"
out_v = 5.1
start_v = 2.5
stop_v = 1.9
max_in_v = 12
"""
    found = search(drawer(MOTOR.replace("count = 2", "count = 4") + text + REST))
    assert any({"window_high", "pass_through"} & set(names) for names in found.clashes)
    for row in found.rows[:1]:
        band = find_band(rig_of(drawer(MOTOR + text + REST), row.build), deep=False)
        assert float(band.at_target.bus_v) < 5.1


def test_nothing_works_and_why() -> None:
    found = search(drawer(HOPELESS))
    assert (found.rows, found.working) == ((), 0)
    assert found.complete
    assert sum(found.clashes.values()) == found.candidates
    assert next(iter(found.clashes)) == ("start", "motor_speed")


def test_stopped_early_gives_the_best_so_far(monkeypatch) -> None:
    monkeypatch.setattr(searching, "PAIRS", 500)
    whole = search(drawer())
    seen = []

    def stop(tried: int, of: int, working: int) -> None:
        seen.append((tried, of, working))
        if working:
            raise KeyboardInterrupt

    found = search(drawer(), stop)
    assert not found.complete
    assert found.tried == seen[-1][0] < found.candidates == whole.candidates
    assert found.rows
    assert set(found.rows) != set(whole.rows)
    for row in found.rows[:1]:
        assert find_band(rig_of(drawer(), row.build), deep=False).feasible


def big(times: int) -> Drawer:
    """A drawer of some 10,000 machines for each of `times`, a tenth of which work."""
    base = drawer(MOTOR.replace("count = 2", "count = 4") + CONVERTERS + REST)
    (motor,) = base.motors
    kinds = tuple(replace(motor, name=f"m{i}", part=replace(
        motor.part, terminal_ohm=1.0 + 0.001 * i)) for i in range(2 * times))
    return replace(base, motors=kinds)


def test_memory_is_bounded() -> None:
    peaks = []
    for times in (1, 16):
        tracemalloc.start()
        found = search(big(times))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert found.tried == found.candidates > 9_000 * times
    assert max(peaks) < MOST_BYTES
    assert peaks[1] < 1.5 * peaks[0] + 4_000_000


def test_heads_are_made_as_they_are_needed(monkeypatch) -> None:
    """A big drawer has millions: the first progress comes soon, and none are kept."""
    made = []
    monkeypatch.setattr(making, "BLOCK", 8)
    monkeypatch.setattr(making, "_group", lambda *a: made.append(a) or GROUP(*a))

    def stop(tried: int, of: int, working: int) -> None:
        raise KeyboardInterrupt

    found = search(big(4), stop)
    assert len(made) == 1
    assert 0 < found.tried < found.candidates
    assert all(row.build.converter == 0 for row in found.rows)
