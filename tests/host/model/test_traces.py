"""Traces and the questions asked of them."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from dynamics_rigs import BOOST, BUCK, rig
from steadyturn.errors import WrongInput
from steadyturn.model import questions, questions_capacitor, stability
from steadyturn.model.hand import ArmHand
from steadyturn.model.traces import LETS_GO, STARTS, Script, ordinary_step_s, record
from steadyturn.rig.types import RPM, Load, Supply

USB = Supply(feed="usb")
BUCKED = rig(supply=USB, converter=BUCK)


# ----------------------------------------------------------------------------- record


def test_a_trace_tells_what_happened_in_order():
    script = Script(((0.0, 75.0), (3.0, "unplug"), (4.0, "plug"), (5.0, "let go")))
    seen = []
    traces = record(BUCKED, script, 7.0, progress=seen.append)
    assert len(traces.t_s) == 701
    assert np.allclose(np.diff(traces.t_s), 0.01)
    names = [event.name for event in traces.events]
    for name in ("hand goes for 75 turns/min", STARTS, "device unplugged", "device plugged in",
                 "hand lets go", LETS_GO, "handle stands still"):
        assert name in names, names
    times = [event.t_s for event in traces.events]
    assert times == sorted(times)
    assert len(traces.times(STARTS)) - len(traces.times(LETS_GO)) in (0, 1)
    # the same at samples as in the events
    loaded = (traces.t_s > 2.0) & (traces.t_s < 3.0)
    apart = (traces.t_s > 3.1) & (traces.t_s < 4.0)
    assert traces.out_a[loaded].min() == pytest.approx(0.5)
    assert traces.out_a[apart].max() == 0.0
    assert traces.out_v[apart].min() > 5.0  # the socket keeps its volts
    assert traces.converter_on[apart].all()
    assert traces.plugged[loaded].all()
    assert not traces.plugged[apart].any()
    assert traces.pace_tpm[loaded].mean() == pytest.approx(75, rel=0.03)
    assert traces.pace_tpm[-1] == 0.0
    assert traces.turns[-1] == pytest.approx(traces.pace_tpm.sum() * 0.01 / 60, rel=0.02)
    work = float((traces.crank_nm[1:] * np.diff(traces.turns) * 2 * np.pi).sum())
    assert work == pytest.approx(traces.account.arm_j, rel=1e-9)
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(7.0)


def test_a_release_is_not_an_unplugging():
    """A released bus switch takes the converter from the bus; a pulled plug does not."""
    made = rig(supply=USB, converter=BUCK, switch__place="bus_switch")
    for what, on in (("release", False), ("unplug", True)):
        traces = record(made, Script.unplugged(75, 3.0, what=what), 4.0)
        assert bool(traces.converter_on[-1]) is on
        assert traces.peak_after_v[0] > traces.bus_v[290]


def test_a_board_wakes_from_the_crank():
    made = rig()
    traces = record(made, Script.keep(70, connected=False), 2.0)
    woke = traces.times("board wakes")[0]
    at = int(np.searchsorted(traces.t_s, woke))
    assert traces.bus_v[at] >= made.supply.wake_v
    assert (traces.bus_v[:at] < made.supply.wake_v).any()


def test_the_hand_comes_up_and_reacts():
    """An arm goes 40 turns/min a second towards its pace; a later wish reaches it later."""
    hand = ArmHand(BUCKED, [(0.0, 80.0), (5.0, 50.0)])
    for n in range(400):
        hand.torque_nm(n * 0.01, 0.0, 60 * RPM)
        if n == 100:
            assert hand.intended_tpm == pytest.approx(42.0, abs=2.01)
    for t, goal in ((5.3, 80.0), (5.45, 76.0)):  # the rig's reaction is 0.4 s
        hand.torque_nm(t, 0.0, 60 * RPM)
        assert hand.intended_tpm == pytest.approx(goal)
    late = record(BUCKED, Script(((0.0, 70.0), (4.0, 50.0)), servo=True), 6.0)
    assert late.pace_tpm[390] == pytest.approx(70, rel=0.02)
    assert late.pace_tpm[-1] == pytest.approx(50, rel=0.02)


@pytest.mark.parametrize(("script", "how", "key"), [
    (Script.keep(60), {"seconds": 0.0}, "seconds"),
    (Script.keep(60), {"seconds": float("nan")}, "seconds"),
    (Script.keep(60), {"seconds": 1e308}, "seconds"),
    (Script.keep(60), {"seconds": 86400.0, "sample_s": 1e-5}, "sample_s"),
    (Script.keep(60), {"seconds": 1.0, "sample_s": 0.0}, "sample_s"),
    (Script.keep(60), {"seconds": 1.0, "settle_s": -1.0}, "settle_s"),
    (Script.keep(-5), {"seconds": 1.0}, "pace"),
    (Script.keep(float("inf")), {"seconds": 1.0}, "pace"),
    (Script(((1.0, 60.0), (0.5, "unplug"))), {"seconds": 1.0}, "t_s"),
    (Script(((0.0, "sing"),)), {"seconds": 1.0}, "what"),
])
def test_what_makes_no_sense_is_refused(script, how, key):
    with pytest.raises(WrongInput) as caught:
        record(BUCKED, script, **how)
    assert key in {problem.key for problem in caught.value.problems}


# -------------------------------------------------------------------------- stability


def test_static_stability_against_the_published_case():
    """check_values 5.1: 10 V behind 2 ohm carries 10 W at 7.236 V; R < V^2 / P holds there."""
    volts = 10 / 2 + sqrt(10**2 / 4 - 2 * 10)
    assert volts == pytest.approx(7.236, abs=5e-4)
    assert volts**2 / 10 > 2.0
    assert 2.764**2 / 10 < 2.0
    # at the fold itself they are equal: 12.5 W at 5 V
    assert stability.start_threshold_v(2.0, 12.5, 1.0) == pytest.approx(10.0)


def test_the_inductance_rings_up_below_its_least_capacitor():
    """R / L > P / (C V^2): with half the least capacitor the running machine loses its load,
    with three times it holds; Middlebrook's rule is on the safe side of it."""
    made = rig(supply=USB, converter=BUCK, motor__inductance_h=4e-3, load__draw_a=0.8)
    least = stability.stability(made, 85).least_capacitor_f
    for share, holds in ((0.5, False), (3.0, True)):
        one = replace(made, bus=replace(made.bus, capacitor_f=share * least))
        told = stability.stability(one, 85)
        assert told.damped is holds
        assert told.stable is holds
        assert told.damped or not told.middlebrook
        assert ordinary_step_s(one) < 1e-3
        assert questions_capacitor.size(one, 85, share * least).holds is holds


def test_eigenvalues_are_those_of_the_machine():
    """A small push dies down as the slowest eigenvalue says."""
    told = stability.stability(BUCKED, 75)
    assert told.stable
    about = stability.linear(BUCKED, 75)[3]
    assert about is not None
    # without arm, bus and source alone: s = -(1/R - P/V^2)/C, or the roots with L
    alone = np.roots([about.l * about.c, about.r * about.c + about.l * about.draws,
                      1 + about.r * about.draws])
    assert (alone.real < 0).all()
    stiff = replace(about, inertia=1e9)
    found = np.linalg.eigvals(stiff.matrix())
    for root in alone:
        assert abs(found - root).min() < 1e-3 * abs(root)


# -------------------------------------------------------------------------- questions


def test_a_converter_too_poor_to_start_takes_what_its_limit_lets_it():
    """Its losses at the start threshold grow faster than what it is given."""
    made = rig()
    poor = replace(made, converter=replace(made.converter, kind="boost", start_v=0.5, stop_v=0.4,
                                           loss_ohm=10.0, in_limit_a=2.0))
    with np.errstate(all="raise"):
        assert stability.full_w(poor) == pytest.approx(
            poor.converter.out_v * poor.load.draw_a + poor.converter.loss_w
            + 2.0 * (poor.converter.loss_v + 10.0 * 2.0))
        assert ordinary_step_s(poor) > 0


@pytest.mark.parametrize("pace", [0.0, -1.0, float("nan"), float("inf"), 1e308])
def test_no_question_of_an_impossible_pace(pace):
    for ask in (questions.start_up, questions.hiccup, questions.unplugged,
                questions_capacitor.bridging):
        with pytest.raises(WrongInput, match="turns/min"):
            ask(BUCKED, pace)
    with pytest.raises(WrongInput, match="1 nF"):
        questions_capacitor.size(BUCKED, 60, 0.0)
    with pytest.raises(WrongInput, match="release"):
        questions.unplugged(BUCKED, 60, what="let go")


@pytest.fixture(scope="module")
def bridged():
    made = rig(supply=USB, converter=BUCK, motor__inductance_h=1e-4)
    return questions_capacitor.bridging(made, 75, sizes_f=(1e-5, 1e-3, 1e-2, 1e-1))


def test_the_ripple_is_that_of_small_signals(bridged):
    for size in bridged.sizes[1:]:
        assert size.holds
        assert size.ripple_v == pytest.approx(size.closed_ripple_v, rel=0.06)
    ripples = [size.ripple_v for size in bridged.sizes[1:]]
    assert ripples == sorted(ripples, reverse=True)
    # a large one takes longer to fill than a small one, a small one hunts more often
    assert bridged.sizes[1].lets_go > bridged.sizes[3].lets_go
    assert 0 < bridged.smallest_f <= 1e-3
    assert bridged.hold_up_f > bridged.smallest_f


def test_the_smallest_is_the_smallest(bridged):
    made = rig(supply=USB, converter=BUCK, motor__inductance_h=1e-4)
    step = questions_capacitor._step(bridged.smallest_f)
    assert questions_capacitor._e6(step) == bridged.smallest_f
    assert questions_capacitor.size(made, 75, bridged.smallest_f).holds
    if bridged.smallest_f > 1e-6:
        assert not questions_capacitor.size(made, 75, questions_capacitor._e6(step - 1)).holds


def test_start_up_hunts_and_a_threshold_stops_it():
    told = questions.start_up(BUCKED, 80, seconds=5.0)
    assert told.hunts
    assert told.starts > 1
    assert told.enough_start_v is not None
    assert told.enough_start_v > told.start_v
    part = replace(BUCK, start_v=told.enough_start_v)
    again = questions.start_up(replace(BUCKED, converter=part), 80, seconds=5.0)
    assert not again.hunts
    assert again.running_s is not None
    assert again.enough_start_v is None
    assert told.closed_start_v <= told.enough_start_v + 0.05


def test_a_hiccup_has_the_period_of_the_closed_form():
    """Long soft starts and drops aside it is charging and discharging of one capacitor."""
    made = rig(supply=USB, load__draw_a=0.9, bus__capacitor_f=2e-3, motor__inductance_h=0.0,
               motor__brush_drop_v=0.0, rectifier__drop_v=0.0, crank__inertia_kg_m2=0.05,
               converter=replace(BUCK, soft_start_s=0.0, out_capacitor_f=1e-6))
    told = questions.hiccup(made, 53, seconds=4.0)
    assert told.hunts
    assert told.period_s == pytest.approx(told.closed_period_s, rel=0.1)
    assert 0 < told.on_share < 1
    assert BUCK.stop_v < told.in_v_mean < BUCK.start_v
    assert not questions.hiccup(BUCKED, 80, seconds=4.0).hunts


def test_unplugging_tells_the_rating_that_breaks():
    """A boost whose device lets go at speed: bus and socket rise, and the hand runs away."""
    made = rig(supply=USB, converter=BOOST, bus__capacitor_max_v=10.0)
    told = questions.unplugged(made, 85, at_s=4.0)
    assert told.highest_bus_v > told.before_v + 0.5
    assert 0 < told.after_s < 2.0
    assert told.overshoot_percent > 3
    assert told.highest_out_v > made.load.max_v
    broken = {reached.part for reached in told.ratings if reached.broken}
    assert {"device", "bus capacitor"} <= broken
    shares = [reached.highest_v / reached.rating_v for reached in told.ratings]
    assert shares == sorted(shares, reverse=True)
    calm = questions.unplugged(rig(supply=USB, load=Load(kind="none")), 60, at_s=4.0)
    assert calm.overshoot_percent < told.overshoot_percent
