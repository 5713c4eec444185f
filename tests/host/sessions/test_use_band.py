"""The band from what outings showed: paces held, loads let go, and when that is too little."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from model_outings import Maker, machine, wander
from steadyturn.model.band import find_band
from steadyturn.report import retune_use as report
from steadyturn.sessions.use import OutingUse, of_outing
from steadyturn.sessions.use_band import judge
from steadyturn_fw import pages as layout

COLLAPSE, RELEASED = layout.EV_COLLAPSE, layout.EV_RELEASED


@cache
def band():
    return find_band(machine("lakeside-hut")[0], deep=False)


def used(paces, *, low=(), high=(), minutes=10.0):
    """Outings whose middle paces are these; low, high: in each."""
    return [OutingUse(i, 60 * minutes, 60 * minutes, 57 * minutes, pace, 20.0, 5.0, low, high)
            for i, pace in enumerate(paces)]


def found(uses, left_out=0):
    told = judge(uses, left_out, machine("lakeside-hut")[0], band(), "b")
    lines = "\n".join(report.lines(told))
    assert "nan" not in lines
    assert all(len(line) <= 80 for line in lines.splitlines())
    return told


def test_an_outing_as_its_samples_tell_it():
    maker = Maker()
    paces = wander(300, 60.0, spread=1.0, seed=2)
    paces[1000:] = 52.0  # at 200 s down to the slow end, where the volts break down twice
    maker.boot_of(paces, events=[(1010, COLLAPSE, 487), (1100, COLLAPSE, 487),
                                 (1102, RELEASED, layout.WHY_LOW_BUS),
                                 (1200, RELEASED, layout.WHY_OVER_SPEED),
                                 (1300, RELEASED, layout.WHY_FADING)])
    # a hand that slows to rest has left the band when the bus sinks, also where it collapses
    maker.boot_of(np.concatenate([np.full(200, 60.0), np.linspace(60, 20, 10)]),
                  events=[(208, COLLAPSE, 500), (209, RELEASED, layout.WHY_LOW_BUS)])
    use = of_outing(7, maker.pages(), maker.settings)
    assert use.held_tpm == pytest.approx(59.5, abs=1.0)
    assert use.connected_s == pytest.approx(290 + 32, abs=1.0)
    assert use.low_tpm == pytest.approx((52.0, 52.0), abs=0.3)
    assert use.high_tpm == pytest.approx((52.0,), abs=0.3)


def test_a_hand_content_below_the_target_moves_it():
    told = found(used([60.5, 61.5, 61.0, 60.0]), left_out=2)
    (step,) = told.steps
    assert (step.edge, step.why, step.after) == ("target_tpm", "held", 60.8)
    assert step.evidence["minutes"] == pytest.approx(40.0)
    assert told.held_low_tpm == pytest.approx(60.75 - 2.98 * 0.645 / 2, abs=0.15)
    # the model's own figures at the two paces
    assert step.worth["arm_w_after"] == pytest.approx(5.737, abs=0.01)  # 5.686 at the target
    assert 0 < step.worth["effort_percent"] < 5


@pytest.mark.parametrize("paces", [
    [60, 61], [66.5, 67.0, 66.0, 66.8], [52, 78, 60, 70], [69.3] * 5])
def test_too_few_too_near_or_too_scattered_moves_nothing(paces):
    told = found(used([float(p) for p in paces]))
    assert told.steps == ()
    assert (told.short_of == "outings") == (len(paces) < 3)


def test_short_outings_do_not_count():
    told = found(used([60.0, 60.5, 61.0, 60.2], minutes=1.5))
    assert (told.steps, told.short_of, told.left_out) == ((), "outings", 4)
    told = found(used([60.0, 60.5, 61.0, 60.2], minutes=3.0))
    assert (told.steps, told.short_of) == ((), "minutes")


@pytest.mark.parametrize(("pace", "after"), [(45.0, 55.9), (99.0, 84.0)])
def test_the_target_never_goes_beyond_what_the_machine_bears(pace, after):
    (step,) = found(used([pace, pace + 0.5, pace - 0.5])).steps
    assert step.after == pytest.approx(after, abs=0.1)
    room = 0.15 * (band().high_tpm - band().low_tpm)
    assert band().low_tpm + room - 0.1 <= step.after <= band().high_tpm - room + 0.1


def test_collapses_at_the_slow_end_move_it_up():
    told = found(used([68.0, 69.0, 70.0], low=(53.0, 54.5)))
    (step,) = told.steps
    assert (step.edge, step.why, step.after) == ("low_tpm", "collapses", 55.5)
    assert (step.evidence["releases"], step.worth["warned_of"]) == (6.0, 6.0)
    fast = found(used([68.0, 69.0, 70.0], high=(84.0,)))
    assert [(s.edge, s.after) for s in fast.steps] == [("high_tpm", 83.0)]
    # once, or in one outing alone, may be chance
    assert found([*used([68.0, 69.0]), *used([70.0], low=(53.0, 53.5, 54.0))]).steps == ()


def test_what_would_leave_no_band_is_said_and_left():
    told = found(used([80.0, 81.0, 82.0], low=(79.0, 79.5)))
    assert "low_tpm" not in {step.edge for step in told.steps}
    assert "too_narrow_low_tpm" in told.remarks


def test_a_pace_at_which_the_load_is_let_go_is_not_called_good():
    told = found(used([60.0, 60.5, 61.0], low=(59.9, 60.2, 60.9)))
    assert [(step.edge, step.after) for step in told.steps] == [("low_tpm", 61.9)]
    assert told.remarks == ("held_with_releases",)
