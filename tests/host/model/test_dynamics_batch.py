"""Many machines at once against the same machines one by one."""

import numpy as np
import pytest
from dynamics_rigs import BUCK, Servo, random_rig, rig
from steadyturn.model.dynamics import Machine
from steadyturn.model.dynamics_batch import Machines, ServoHands

SPELL = ((0.4, None, False), (0.9, None, True), (1.3, 140.0, True), (1.6, 140.0, False),
         (1.9, 0.0, True))  # until, pace (None: each its own), connected
SAME = ("theta_rad", "crank_rad_s", "bus_v", "in_v", "in_a", "motor_a", "converter_v", "out_v",
        "out_a", "reservoir_v", "winding_c")


def together_and_alone(seeds, step_s=0.002, locate=False):
    rigs = [random_rig(seed) for seed in seeds]
    own = np.array([30.0 + seed * 37 % 90 for seed in seeds])
    many = Machines(rigs, step_s=step_s)
    alone = [Machine(made, step_s=step_s, locate=locate) for made in rigs]
    for until, pace, connected in SPELL:
        paces = own if pace is None else np.full(len(seeds), pace)
        many.advance(until, ServoHands(paces, stiff_nm_s=5.0, most_nm=4.0), connected)
        for machine, tpm in zip(alone, paces, strict=True):
            machine.advance(until, Servo(float(tpm), stiff=5.0, most_nm=4.0), connected, True)
    return rigs, many, alone


def test_the_same_bits_but_for_kinks():
    """Random rigs of every kind through start, collapse, sprint, release and a stand: to
    rounding, but where a boost toggles at a kink, where the balance's 0.2 mA is some volts
    of a small output capacitor within a step."""
    rigs, many, alone = together_and_alone(range(200, 250))
    worst = np.zeros(len(alone))
    for n, machine in enumerate(alone):
        for name in SAME:
            worst[n] = max(worst[n], abs(getattr(machine.state, name) - getattr(many, name)[n]))
        sums = machine.sums
        for mine, other in ((sums.arm, many.arm_j), (sums.out, many.out_j),
                            (sums.in_j, many.in_j), (sums.copper, many.winding_j)):
            assert other[n] == pytest.approx(mine, rel=2e-3, abs=2e-3), rigs[n]
        assert many.peak_bus_v[n] == pytest.approx(machine.peak_bus_v, abs=1e-3), rigs[n]
        assert bool(many.converter_on[n]) == machine.state.converter_on, rigs[n]
    assert (worst < 1e-7).mean() > 0.9, np.flatnonzero(worst >= 1e-7)
    assert worst.max() < 0.1, (rigs[int(worst.argmax())], worst.max())
    kinds = {(made.converter.kind, made.rectifier.kind) for made in rigs}
    assert len(kinds) == 8  # the draw has them all
    assert many.starts.sum() > 25


def test_located_events_change_little_of_what_comes_of_it():
    """Against the machine that locates its events: energies of rigs that run or rest."""
    rigs, many, alone = together_and_alone(range(300, 316), locate=True)
    apart = [abs(many.arm_j[n] - machine.sums.arm) / machine.sums.arm
             for n, machine in enumerate(alone)]
    assert np.median(apart) < 0.005
    assert max(apart) < 0.25, rigs[int(np.argmax(apart))]


def test_one_group_does_not_touch_another():
    made = [rig(), rig(converter=BUCK), random_rig(7)]
    hands = ServoHands([70.0, 75.0, 60.0])
    whole = Machines(made)
    whole.advance(0.5, hands, [True, False, True])
    part = Machines(made[1:])
    part.advance(0.3, ServoHands([75.0, 60.0]), [False, True])
    part.advance(0.5, ServoHands([75.0, 60.0]), [False, True])
    assert np.array_equal(whole.bus_v[1:], part.bus_v)
    assert whole.time_s == part.time_s == 0.5
    with pytest.raises(ValueError, match="step_s"):
        Machines(made, step_s=0.0)
