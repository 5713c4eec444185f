"""The reading that is proposed: what it promises comes true, and following it beats lists."""

from __future__ import annotations

import numpy as np
import pytest
from benches import BENCH, METER, near, world
from steadyturn.bench import planner
from steadyturn.bench.fit import fit
from steadyturn.bench.readings import Readings
from steadyturn.bench.result import constants_for
from steadyturn.bench.rows import make
from steadyturn.bench.setup import Setup
from steadyturn.rig.types import RPM

MORE = 12  # readings after the first four


def fast(one):
    return min(10.0 / one.motor.emf_v_s, 3000 * RPM)


def taken(one, plan):
    kind, value = plan
    if kind == "locked":
        return one.locked(4.5, value)
    if kind == "loaded":
        return one.loaded(fast(one), value)
    return one.run(value) if kind == "run" else one.open(fast(one))


def begun(one):
    return [taken(one, p) for p in (("locked", 10.0),) * 2 + (("open", 0.0), ("run", 6.0))]


def known(items):
    """Readings, rows, fit, and the goal's 95 % half width in percent."""
    readings = Readings(BENCH, METER, tuple(items), ("",) * len(items))
    rows = make(readings, Setup())
    found = fit(rows, constants_for(Setup()))
    count = len(found.constants)
    slopes = np.zeros((3, len(found.center)))
    slopes[:, :count] = planner.goal_slopes(np.exp(found.center[:count]))
    return readings, rows, found, planner._goal(slopes, found.covariance)


def best(items):
    readings, rows, found, _ = known(items)
    first = planner.proposals(readings, Setup(), rows, found)[0]
    return first, (first.kind, first.resistor_ohm or first.supply_v or 0.0)


LISTS = {
    "as the guide says": lambda r: [("locked", near(r))] * 3 + [("locked", near(20 * r))] * 2
    + [("open", 0.0)] * 2 + [("loaded", near(3 * r))] * 2
    + [("run", v) for v in (3.0, 9.0, 12.0)],
    "held shaft above all": lambda r: [("locked", 4.7)] * 3 + [("locked", 100.0)] * 3
    + [("open", 0.0)] * 2 + [("run", v) for v in (3.0, 9.0, 12.0, 12.0)],
    "loads above all": lambda r: [("loaded", 10.0)] * 4 + [("locked", 47.0)] * 2
    + [("locked", 4.7)] * 2 + [("run", 12.0)] * 2 + [("open", 0.0)] * 2,
    "some of each": lambda r: [("locked", v) for v in (1.0, 4.7, 22.0, 100.0)]
    + [("open", 0.0)] * 2 + [("loaded", v) for v in (4.7, 22.0)]
    + [("run", v) for v in (3.0, 6.0, 9.0, 12.0)],
}


def test_the_promised_narrowing_comes_true():
    shares = []
    for seed in range(40_000, 40_006):
        one = world(seed)
        items = [*begun(one), taken(one, ("locked", 47.0)), taken(one, ("loaded", 10.0))]
        first, plan = best(items)
        assert first.after_percent < first.goal_percent
        shares.append(known([*items, taken(one, plan)])[3] / first.after_percent)
    assert 0.8 < np.median(shares) < 1.2


@pytest.mark.soak
def test_following_the_proposals_beats_fixed_lists():
    widths = {name: [] for name in (*LISTS, "proposals")}
    for seed in range(41_000, 41_060):
        for name, plans in LISTS.items():
            one = world(seed)
            items = begun(one)
            items += [taken(one, p) for p in plans(one.motor.terminal_ohm)]
            assert len(items) == 4 + MORE
            widths[name].append(known(items)[3])
        one = world(seed)
        items = begun(one)
        for _ in range(MORE):
            items.append(taken(one, best(items)[1]))
        widths["proposals"].append(known(items)[3])
    own = np.array(widths.pop("proposals"))
    ratios = {name: round(float(np.median(own / np.array(w))), 3) for name, w in widths.items()}
    print(ratios)
    assert ratios["as the guide says"] < 0.8
    assert max(ratios.values()) < 0.9
