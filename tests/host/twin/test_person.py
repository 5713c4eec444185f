"""The virtual person: heeds the lamp or not, has limits, tires, and is the same each time."""

from dataclasses import replace

import pytest
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM
from steadyturn.twin.people import population, typical
from steadyturn.twin.person import Idle, Paces, Person, Steady

RIG = read_rig(example_path("lakeside-hut"))
CALM = replace(typical(RIG.arm), scatter=0.0, drift=0.0)  # nothing comes and goes


class Crank:
    """A handle with inertia and a steady load: just enough physics to be turned."""

    def __init__(self, load_nm=0.7):
        self.t = self.theta = self.w = 0.0
        self.load_nm = load_nm
        self.torques = []

    def turn(self, person, seconds, light=None):
        """Turn for `seconds`; light(t) is shown on each change. Returns the mean pace, tpm."""
        start, last = self.theta, None
        for _ in range(round(seconds / 0.002)):
            if light is not None and light(self.t) != last:
                last = light(self.t)
                person.see(self.t, last)
            push = person.torque_nm(self.t, self.theta, self.w)
            self.torques.append(push)
            load = self.load_nm if self.w > 0 else 0.0
            self.w = max(0.0, self.w + 0.002 * (push - load) / 0.015)
            self.theta += self.w * 0.002
            self.t += 0.002
        return (self.theta - start) / seconds / RPM


def steady(t):
    return 1.0


def dark(t):
    return 0.0


def slower(t):
    x = t % 0.86
    return 1.0 if 0.12 <= x < 0.24 or x >= 0.36 else 0.0


def stop(t):
    return 1.0 if t % 0.4 < 0.2 else 0.0


def faster(beat_s):
    return lambda t: 1.0 if t % beat_s < 0.12 else 0.0


def test_no_light_means_turn_faster():
    crank, person = Crank(), Person(RIG, 1)
    slow = crank.turn(person, 2.0, dark)
    assert crank.turn(person, 3.0, dark) > slow + 15


def test_the_beat_leads_to_its_own_pace_and_only_then_beyond():
    crank, person = Crank(), Person(RIG, 1, traits=CALM)
    crank.turn(person, 4.5, faster(60 / 70))
    assert crank.turn(person, 2.0, faster(60 / 70)) == pytest.approx(70, rel=0.04)
    assert crank.turn(person, 10.0, faster(60 / 70)) > 75
    # who takes the beat for mere flashes goes past it at once
    crank, person = Crank(), Person(RIG, 1, traits=replace(CALM, keeps_beat=False))
    crank.turn(person, 4.5, faster(60 / 70))
    assert crank.turn(person, 4.0, faster(60 / 70)) > 75


def test_steady_light_keeps_the_pace_and_winks_lower_it():
    crank, person = Crank(), Person(RIG, 2, traits=replace(CALM, own_tpm=80.0))
    crank.turn(person, 6.0, faster(60 / 80))
    crank.turn(person, 3.0, steady)
    held = crank.turn(person, 6.0, steady)
    assert crank.turn(person, 6.0, steady) == pytest.approx(held, rel=0.03)
    crank.turn(person, 5.0, slower)
    assert crank.turn(person, 2.0, slower) < 0.8 * held


def test_under_a_steady_light_the_pace_goes_back_to_ones_own():
    crank, person = Crank(), Person(RIG, 2, traits=replace(CALM, own_tpm=60.0))
    crank.turn(person, 6.0, faster(60 / 80))
    crank.turn(person, 3.0, steady)
    held = crank.turn(person, 3.0, steady)
    crank.turn(person, 40.0, steady)
    assert 62 < crank.turn(person, 3.0, steady) < held - 8


def test_even_flashes_slow_right_down():
    crank, person = Crank(), Person(RIG, 2)
    crank.turn(person, 8.0, faster(60 / 80))
    crank.turn(person, 3.0, stop)
    assert crank.turn(person, 3.0, stop) < 30


def test_the_hand_follows_after_the_reaction_time():
    crank, person = Crank(), Person(RIG, 3, traits=CALM)
    crank.turn(person, 8.0, faster(60 / 75))
    crank.turn(person, 4.0, steady)
    began = crank.t
    fell = 0.0
    # by itself it goes back to the own cadence, far more slowly than the lamp asks for
    while fell < 0.1 and crank.t < began + 5:
        before = person.intended_tpm
        crank.turn(person, 0.1, lambda t: slower(t - began))
        fell = before - person.intended_tpm
    # the light within the double wink ends after 0.24 s; then the reaction
    assert 0.24 + 0.5 * CALM.reaction_s <= crank.t - began <= 0.7 + CALM.reaction_s


def test_who_heeds_no_lamp_keeps_a_habit():
    for light in (dark, stop, slower):
        crank, person = Crank(), Person(RIG, 4, heeds_lamp=False, habit_tpm=55)
        crank.turn(person, 3.0, light)
        assert crank.turn(person, 10.0, light) == pytest.approx(55, rel=0.2)


def test_a_glance_at_a_meter_moves_the_habit():
    volts = [3.0]
    person = Person(RIG, 4, heeds_lamp=False, habit_tpm=50, meter=lambda: volts[0],
                    window_v=(6.0, 9.0), glance_s=2.0)
    crank = Crank()
    crank.turn(person, 4.0)
    risen = crank.turn(person, 6.0)
    assert risen > 60
    volts[0] = 7.0
    crank.turn(person, 4.0)
    held = crank.turn(person, 4.0)
    assert held == pytest.approx(person.intended_tpm, rel=0.15)
    volts[0] = 12.0
    crank.turn(person, 4.0)
    assert crank.turn(person, 6.0) < held - 8


def test_a_plan_is_kept_whatever_the_lamp_says():
    plan = [(0.0, 35.0), (6.0, 110.0), (12.0, "rest"), (16.0, 60.0), (22.0, "stop")]
    crank, person = Crank(), Person(RIG, 5, plan=plan)
    crank.turn(person, 2.0, steady)
    assert crank.turn(person, 4.0, steady) == pytest.approx(35, rel=0.15)
    crank.turn(person, 3.0, stop)
    assert crank.turn(person, 3.0, stop) == pytest.approx(110, rel=0.15)
    crank.turn(person, 2.0)
    assert crank.turn(person, 2.0) == 0.0
    crank.turn(person, 3.0)
    assert crank.turn(person, 3.0) == pytest.approx(60, rel=0.15)
    crank.turn(person, 3.0)
    assert crank.turn(person, 3.0) == 0.0


def test_a_hand_never_pushes_backwards_and_has_a_limit():
    person = Person(RIG, 6, plan=[(0.0, 40.0), (3.0, 200.0), (6.0, 20.0)])
    crank = Crank()
    crank.turn(person, 3.0)
    crank.load_nm = 6.0  # more than anybody can turn
    crank.turn(person, 3.0)
    crank.load_nm = 0.1  # and then suddenly hardly anything
    crank.turn(person, 3.0)
    assert min(crank.torques) >= 0.0
    most = RIG.arm.force_n * RIG.crank.radius_m
    assert max(crank.torques) <= most
    assert max(crank.torques) > 0.99 * most  # it was asked for more than it has


def test_braking_by_hand_is_the_one_exception():
    crank, person = Crank(0.0), Person(RIG, 6, plan=[(0.0, 60.0), (4.0, "brake")])
    crank.turn(person, 4.0)
    crank.turn(person, 2.0)
    assert min(crank.torques) < 0.0
    assert crank.turn(person, 1.0) == 0.0


def test_the_droop_and_the_ripple_are_those_of_the_rig():
    person = Person(RIG, 7, plan=[(0.0, 60.0)])
    crank = Crank()
    crank.turn(person, 5.0)
    w, t = crank.w, crank.t
    near = [person.torque_nm(t, 0.3, w + d) for d in (-0.02, 0.02)]
    assert (near[0] - near[1]) / 0.04 == pytest.approx(RIG.arm.droop_nm_s)
    around = [person.torque_nm(t, n * 0.01, w) for n in range(629)]
    base_nm = person._t0
    assert (max(around) - min(around)) / 2 == pytest.approx(RIG.arm.ripple * base_nm, rel=0.01)


def test_it_tires_and_recovers():
    crank, person = Crank(2.0), Person(RIG, 8, plan=[(0.0, 70.0), (120.0, "rest")])
    crank.turn(person, 120.0)
    tired = person.tiredness
    assert 0.02 < tired < 0.5
    crank.turn(person, 60.0)
    assert person.tiredness < tired


def test_the_same_seed_is_the_same_person():
    def torques(seed):
        crank, person = Crank(), Person(RIG, seed)
        crank.turn(person, 12.0, faster(60 / 70))
        return [x.hex() for x in crank.torques]

    assert torques(11) == torques(11)
    assert torques(11) != torques(12)


def test_servo_and_nobody():
    crank = Crank()
    crank.turn(Steady(64.0), 1.0)
    assert crank.turn(Steady(64.0), 1.0) == pytest.approx(64, rel=0.02)
    assert Idle().torque_nm(0.0, 0.0, 5.0) == 0.0
    for hand in (Steady(60.0), Idle()):
        hand.see(0.0, 1.0)
        assert hand.torque_nm(0.0, 0.0, 100.0) == 0.0


def test_two_paces_are_held_in_turn():
    crank = Crank()
    hand = Paces((64.0, 25.0), 2.0)
    hand.see(0.0, 1.0)
    for pace in (64.0, 25.0, 64.0):
        crank.turn(hand, 1.0)
        assert crank.turn(hand, 1.0) == pytest.approx(pace, rel=0.04)


def test_people_differ_within_what_their_page_says():
    people = population(7, 200)
    assert len({one.reaction_s for one in people}) == 200
    assert all(0.2 <= one.reaction_s <= 0.7 and 0.03 <= one.scatter <= 0.06 for one in people)
    assert 0.35 < sum(one.keeps_beat for one in people) / 200 < 0.65
    assert population(8, 1) != population(7, 1)


@pytest.mark.parametrize("share", [0.03, 0.06])
def test_the_cadence_scatters_as_much_as_it_should(share):
    person = Person(RIG, 9, plan=[(0.0, 60.0)], traits=replace(CALM, scatter=share, ripple=0.0))
    crank = Crank()
    crank.turn(person, 6.0)
    paces = [crank.turn(person, 0.5) for _ in range(400)]
    mean = sum(paces) / 400
    spread = (sum((pace - mean) ** 2 for pace in paces) / 400) ** 0.5
    assert spread / mean == pytest.approx(share, rel=0.25)
