"""Single changes: judged by the same draws, never dangerous and helpful at once."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from steadyturn.model.change import with_value
from steadyturn.model.hazards import hazards
from steadyturn.rig.edit import rig_with, tree_of
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.types import Origin
from steadyturn.sizing import single, trains
from steadyturn.sizing.drawer import Limits
from steadyturn.sizing.parts_file import read_drawer
from steadyturn.sizing.weigh import other_trains, weigh

FERRY = read_rig(example_path("night-ferry"))
FEW = 64


def test_a_change_that_changes_nothing_neither_helps_nor_harms() -> None:
    now, same = weigh(FERRY, [(FERRY, ())], builds=FEW)
    assert same == now
    assert now.ratio == pytest.approx((1.0, 1.0, 1.0), abs=1e-12)
    assert (now.helps_share, now.harms_share) == (0.0, 0.0)


def test_another_specimen_of_the_same_part_is_a_toss() -> None:
    _, other = weigh(FERRY, [(FERRY, ("converter",))], builds=4 * FEW)
    assert other.ratio[0] < 0.99
    assert other.ratio[2] > 1.01
    assert abs(other.helps_share - other.harms_share) < 0.15


def measured(rig, key, low, high):
    """The rig with that range for a value of its converter."""
    value = getattr(rig.converter, key)
    origin = Origin("measured", value, low, high)
    return replace(rig, origins=FrozenMap({**rig.origins, f"converter.{key}": origin}))


def test_a_narrower_measurement_makes_the_same_change_sure() -> None:
    """A converter that loses 0.2 W less: inside the noise while the losses of either are known
    from 0.01 to 0.5 W, out of it once both are measured."""
    odds = {}
    for wide in (True, False):
        now = with_value(FERRY, "converter.loss_w", 0.3)
        then = with_value(FERRY, "converter.loss_w", 0.1)
        ranges = ((0.01, 0.6), (0.01, 0.6)) if wide else ((0.29, 0.31), (0.09, 0.11))
        now, then = (measured(rig, "loss_w", *r) for rig, r in zip((now, then), ranges,
                                                                   strict=True))
        for key in ("loss_v", "loss_ohm"):  # what is left would be another specimen's
            at = getattr(now.converter, key)
            now, then = (measured(rig, key, 0.99 * at, 1.01 * at) for rig in (now, then))
        odds[wide] = weigh(now, [(then, ("converter",))], builds=2 * FEW)[1].helps_share
    assert odds[True] < 0.9 < odds[False]


def test_other_trains_are_made_of_wheels_that_can_be_and_break_no_rating() -> None:
    limits = Limits(min_teeth=14, max_teeth=40, max_stages=2)
    known = {h.name for h in hazards(FERRY, 90.0)}
    found = other_trains(FERRY, limits)
    assert found
    own = [w for s in FERRY.stages for w in (s.driver_teeth, s.driven_teeth)]
    for teeth in found:
        assert all(min(14, *own) <= w <= max(40, *own) for pair in teeth for w in pair)
        rig = rig_with(tree_of(example_path("night-ferry").read_text(encoding="utf-8")),
                       single.geared(FERRY, teeth).changes)
        assert rig is not None
        assert {h.name for h in hazards(rig, 90.0)} <= known
        assert abs(trains.ratio(teeth) / 36 - 1) > trains.SPACING


def test_another_train_is_as_good_as_the_present_ones_stages() -> None:
    rig = rig_with(tree_of(example_path("lakeside-hut").read_text(encoding="utf-8")),
                   single.geared(read_rig(example_path("lakeside-hut")),
                                 ((60, 20), (60, 20), (40, 20))).changes)
    assert rig is not None
    assert [s.efficiency for s in rig.stages] == [0.88] * 3
    assert rig.origins["stage[3].efficiency"].low == pytest.approx(0.84)


def test_every_option_is_one_change_that_a_rig_file_may_say() -> None:
    drawer = read_drawer(None, typical=True)
    for name in ("night-ferry", "radio-tent", "toy-motor", "dangerous-barn"):
        path = example_path(name)
        rig, tree = read_rig(path), tree_of(path.read_text(encoding="utf-8"))
        for option in single.options(rig, tree, drawer):
            made = rig_with(tree, option.changes, str(path))
            if made is None:
                continue
            parts = {part for part in ("motor", "bank", "stages", "crank", "rectifier", "bus",
                                       "converter", "load", "arm")
                     if getattr(made, part) != getattr(rig, part)}
            assert len(parts) == 1, (name, option.words)


def test_poor_gears_are_offered_better_ones_only_where_they_were_measured() -> None:
    text = example_path("lakeside-hut").read_text(encoding="utf-8")
    poor = text.replace("measured = 0.88, low = 0.84, high = 0.91", "measured = 0.7, low = 0.65, "
                        "high = 0.75")
    drawer = read_drawer(None, typical=True)
    for said, offered in ((text, 0), (poor, 1), (poor.replace("measured = 0.7", "assumed = 0.7")
                                                 .replace(", on = 2026-03-08", ""), 0)):
        tree = tree_of(said)
        rig = rig_with(tree, ())
        assert rig is not None
        kinds = [o.kind for o in single.options(rig, tree, drawer)]
        assert kinds.count("gears") == offered
    rig = rig_with(tree_of(poor), ())
    better = rig_with(tree_of(poor), next(o for o in single.options(rig, tree_of(poor), drawer)
                                          if o.kind == "gears").changes)
    gain = weigh(rig, [(better, ())], builds=FEW)[1].ratio[1]
    assert math.isclose(gain, (0.7 / 0.9) ** 2, rel_tol=0.05)  # both stages; friction hardly
