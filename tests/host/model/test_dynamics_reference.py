"""Transients against scipy's integrator on equations written out here a second time.

Nothing of the model's code is used on the reference's side but the rig's numbers.
"""

from math import exp, tanh

import numpy as np
import pytest
from dynamics_rigs import BOOST, BUCK, Droops, LetGo, rig
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from steadyturn.model.dynamics import Machine
from steadyturn.rig.types import RPM, Load, Protection, Rectifier, Supply

USB = Supply(feed="usb")  # no board on the bus: one part less in both


class Reference:
    """Handle, bank, diode and bus capacitor; what is drawn from the bus is `drawn_a(v)`."""

    def __init__(self, made, winding_c):
        motor, n_s, n_p = made.motor, made.bank.series, made.bank.parallel
        ratio = made.stages[0].ratio * made.stages[1].ratio
        self.eta = made.stages[0].efficiency * made.stages[1].efficiency
        copper = 1 + 0.00393 * (winding_c - 20)
        k = motor.emf_v_s * (1 - 0.002 * (winding_c - 20))
        self.k = n_s * ratio * k
        self.ohm = n_s * motor.terminal_ohm * copper / n_p
        self.brush = (n_s * motor.brush_drop_v, n_p * motor.brush_knee_a)
        self.diode = (made.rectifier.drop_v, made.rectifier.knee_a)
        self.inertia = made.crank.inertia_kg_m2 + n_s * n_p * motor.inertia_kg_m2 * ratio**2
        self.still = (made.crank.friction_nm
                      + n_s * n_p * motor.emf_v_s * motor.no_load_a * ratio / self.eta)
        self.viscous = n_s * n_p * motor.drag_nm_s * ratio**2 / self.eta
        self.farad = made.bus.capacitor_f

    def amps(self, w, v):
        """Current of the bank with its EMF at k * w and the bus at v."""
        spare = self.k * w - v
        if spare <= 0:
            return 0.0

        def miss(i):
            return (spare - self.ohm * i - self.brush[0] * tanh(i / self.brush[1])
                    - self.diode[0] * tanh(i / self.diode[1]))

        return brentq(miss, 0.0, spare / self.ohm + 1e-12, xtol=1e-10)

    def run(self, hand, drawn_a, seconds, start, until_v=-1.0):
        """start: theta, w, v. Also integrates the arm's work, the winding's heat and the
        energy drawn from the bus. Evenly spaced rows, until the bus falls to until_v."""

        def fallen(t, y):
            return y[2] - until_v

        fallen.terminal = True

        def slopes(t, y):
            theta, w, v = y[:3]
            i, push, drawn = self.amps(w, v), hand.torque_nm(t, theta, w), drawn_a(v)
            rub = self.still if w > 1e-9 else min(max(push, 0.0), self.still)
            turn = (push - rub - self.viscous * w - self.k * i / self.eta) / self.inertia
            return [w, turn, (i - drawn) / self.farad, push * w, self.ohm * i * i, drawn * v]

        found = solve_ivp(slopes, (0, seconds), [*start, 0, 0, 0], method="LSODA", rtol=1e-7,
                          atol=1e-8, max_step=0.01, events=fallen,
                          t_eval=np.linspace(0, seconds, 1501))
        self.ended_s = found.t_events[0][0] if found.t_events[0].size else seconds
        return found.t, found.y


def sampled(machine, hand, seconds, connected=True, every_s=0.002):
    """Rows of (t, theta, w, v) of the machine as it goes on from where it is."""
    start = machine.state.time_s
    rows = []
    for n in range(1, round(seconds / every_s) + 1):
        machine.advance(start + n * every_s, hand, connected, True)
        s = machine.state
        rows.append((s.time_s - start, s.theta_rad, s.crank_rad_s, s.bus_v))
    return np.array(rows).T


@pytest.mark.parametrize("step_s", [0.002, 0.004])
def test_spin_up_from_rest(step_s):
    """An arm brings the handle up and fills the capacitor, with the load released."""
    made = rig(supply=USB, bus__capacitor_f=4.7e-3, motor__inductance_h=0.0)
    hand = Droops(1.5, 60)
    machine = Machine(made, winding_c=20.0, step_s=step_s)
    _, theta, w, v = sampled(machine, hand, 3.0, connected=False, every_s=step_s)
    ref = Reference(made, 20.0)
    _, y = ref.run(hand, lambda v: v / made.bus.bleed_ohm, 3.0, (0.0, 0.0, 0.0))
    account = machine.account
    assert account.arm_j == pytest.approx(y[3, -1], rel=0.001)
    assert account.losses_j["winding"] == pytest.approx(y[4, -1], rel=0.01)
    assert w.max() == pytest.approx(y[1].max(), rel=0.01)
    assert v.max() == pytest.approx(y[2].max(), rel=0.01)
    assert theta[-1] == pytest.approx(y[0, -1], rel=0.001)


def constant_power(made, in_w):
    """Current at the bus node of a converter that takes in_w behind the sensor's shunt
    and a switch, and of the bleed."""
    ohm = made.sensor.shunt_ohm + made.switch.on_ohm

    def drawn(v):
        into = 2 * in_w / (v + max(v * v - 4 * ohm * in_w, 0.0) ** 0.5)
        return into + v / made.bus.bleed_ohm

    return drawn


def buck_in_w(made):
    part, amps = made.converter, made.load.draw_a
    return (part.out_v + part.loss_v + part.loss_ohm * amps) * amps + part.loss_w


@pytest.mark.parametrize("step_s", [0.002, 0.004])
def test_ripple_under_load(step_s):
    """The arm's ripple twice a turn against inertia, capacitor and a constant power."""
    made = rig(supply=USB, converter=BUCK, bus__capacitor_f=2.2e-3,
               motor__inertia_kg_m2=5e-7)
    hand = Droops(1.0, 75, ripple=0.5)
    machine = Machine(made, winding_c=20.0, step_s=step_s)
    machine.advance(0.6, hand, False, True)
    machine.advance(2.4, hand, True, True)
    assert machine.state.converter_on
    s, before = machine.state, machine.account
    start, taken = (s.theta_rad, s.crank_rad_s, s.bus_v), machine.energy_in_j
    ref = Reference(made, s.winding_c)
    times, y = ref.run(hand, constant_power(made, buck_in_w(made)), 3.0, start)
    _, _, w, v = sampled(machine, hand, 3.0, every_s=step_s)
    later = times > 0.2
    assert v.min() == pytest.approx(y[2][later].min(), rel=0.01)
    assert v.max() == pytest.approx(y[2][later].max(), rel=0.01)
    assert w.min() == pytest.approx(y[1][later].min(), rel=0.01)
    assert v.max() - v.min() > 0.3  # there is a ripple to speak of
    after = machine.account
    assert after.arm_j - before.arm_j == pytest.approx(y[3, -1], rel=0.001)
    shunt_j = after.losses_j["sensor"] - before.losses_j["sensor"]
    bled_j = after.losses_j["bleed"] - before.losses_j["bleed"]
    assert machine.energy_in_j - taken + shunt_j + bled_j == pytest.approx(y[5, -1], rel=0.001)
    out_j = after.out_j + after.losses_j["cable"] - before.out_j - before.losses_j["cable"]
    assert out_j == pytest.approx(5.1 * 0.5 * 3.0, rel=0.001)


def test_coasting_down_and_holding_up():
    """The hand lets go under load: handle and capacitor carry on until the converter stops."""
    made = rig(supply=USB, converter=BUCK, bus__capacitor_f=10e-3)
    hand = Droops(1.0, 80, ripple=0.0)
    machine = Machine(made, winding_c=20.0, step_s=0.001)
    machine.advance(0.6, hand, False, True)
    machine.advance(2.0, hand, True, True)
    s = machine.state
    start = (s.theta_rad, s.crank_rad_s, s.bus_v)
    ref = Reference(made, s.winding_c)
    # the converter's threshold is at its own terminals, behind shunt and switch
    most_a = buck_in_w(made) / made.converter.stop_v
    ohm = made.sensor.shunt_ohm + made.switch.on_ohm
    ref.run(LetGo(), constant_power(made, buck_in_w(made)), 0.5, start,
            made.converter.stop_v + ohm * most_a)
    assert 0.02 < ref.ended_s < 0.5
    lasts = 0.0
    while s.converter_on:
        machine.advance(s.time_s + 0.001, LetGo(), True, True)
        lasts += 0.001
    assert lasts == pytest.approx(ref.ended_s, rel=0.01, abs=0.0015)


# ------------------------------------------------------------------- closed forms


@pytest.mark.parametrize(("farad", "watts", "from_v", "to_v", "seconds", "source"), [
    (114e-6, 200.0, 400.0, 300.0, 0.020, "vbatpower.com/formulas/holdup-time: 114 uF"),
    (111e-3, 5.0, 9.0, 6.0, 0.500, "computed: C = 2 P t / (V1^2 - V2^2)"),
])
def test_hold_up_time_of_a_capacitor(farad, watts, from_v, to_v, seconds, source):
    """C = 2 P t / (V1^2 - V2^2), with the handle at rest and a converter without losses."""
    made = rig(
        supply=USB, bus__capacitor_f=farad, bus__capacitor_max_v=500.0, bus__bleed_ohm=1e15,
        sensor__shunt_ohm=0.0,
        switch__on_ohm=0.0, load=Load(kind="phone", draw_a=watts / 5.0, cable_m=0.0),
        converter__kind="buck", converter__out_v=5.0, converter__loss_w=0.0,
        converter__loss_v=0.0, converter__loss_ohm=0.0, converter__start_v=to_v * 1.01,
        converter__stop_v=to_v, converter__headroom_v=0.1, converter__in_limit_a=1e3,
        converter__out_limit_a=1e3, converter__soft_start_s=0.0, converter__out_capacitor_f=1e-6,
    )
    machine = Machine(made, step_s=seconds / 1000)
    machine.state.bus_v, machine.state.converter_v = from_v, 5.0
    for n in range(1, 1200):
        machine.advance(n * machine.step_s, LetGo(), True, True)
        if not machine.state.converter_on:
            break
    # the published capacitor is rounded to three figures
    assert machine.state.time_s == pytest.approx(seconds, rel=0.005), source


@pytest.mark.parametrize("step_s", [0.0005, 0.004])
def test_a_capacitor_fills_through_a_resistance(step_s):
    """V = E (1 - exp(-t / RC)), also where RC (1.3 ms) is shorter than the step."""
    made = rig(
        supply=USB, bank__series=1, motor__brush_drop_v=0.0, rectifier=Rectifier(kind="none"),
        motor__terminal_ohm=1.3, motor__inductance_h=0.0, bus__capacitor_f=1e-3,
        bus__bleed_ohm=1e15,
        crank__inertia_kg_m2=1e9,
        crank__friction_nm=0.0, motor__no_load_a=0.0, motor__drag_nm_s=0.0,
    )
    machine = Machine(made, winding_c=20.0, step_s=step_s)
    machine.state.crank_rad_s = 60 * RPM
    emf = 0.025 * 25 * 60 * RPM
    for n in range(1, 6):
        t = n * step_s
        machine.advance(t, LetGo(), False, True)
        assert machine.state.bus_v == pytest.approx(emf * (1 - exp(-t / 1.3e-3)), rel=1e-6)


@pytest.mark.parametrize("feed", ["usb", "cell"])
def test_an_unloaded_bus_empties_through_its_bleed(feed):
    """V = V0 exp(-t / RC), RC = 4.7 s, once the handle stands and nothing else draws."""
    made = rig(supply=Supply(feed=feed), bus__capacitor_f=1e-3, bus__bleed_ohm=4700.0)
    machine = Machine(made, step_s=0.004)
    machine.state.bus_v = 8.0
    for n in range(1, 6):
        machine.advance(n * 1.0, LetGo(), False, True)
        assert machine.state.bus_v == pytest.approx(8 * exp(-n / 4.7), rel=0.01)
    bled_j = 0.5e-3 * (64 - machine.state.bus_v**2)
    assert machine.account.losses_j["bleed"] == pytest.approx(bled_j, rel=0.01)


@pytest.mark.parametrize(("farad", "ohm"), [(1e-6, 100.0), (1e-6, 4700.0), (2e-5, 100.0)])
def test_a_bleed_may_be_quicker_than_the_step(farad, ohm):
    """RC from 0.1 ms to 4.7 ms in steps of 4 ms: it falls as it should, never below nothing."""
    made = rig(supply=USB, bus__capacitor_f=farad, bus__bleed_ohm=ohm)
    machine = Machine(made, step_s=0.004)
    machine.state.bus_v = 8.0
    for n in range(1, 6):
        machine.advance(n * 0.004, LetGo(), False, True)
        wanted = 8 * exp(-n * 0.004 / (farad * ohm))
        assert machine.state.bus_v == pytest.approx(wanted, rel=1e-6, abs=1e-9)
        assert machine.state.bus_v >= -1e-12


def test_an_output_empties_into_a_resistor():
    """V = V0 exp(-t / RC), RC = 0.21 s, with the converter off."""
    made = rig(supply=USB, load=Load(kind="resistor", resistance_ohm=100.0, cable_m=0.0),
               converter__out_capacitor_f=2.1e-3, converter__isolates=True)
    machine = Machine(made, step_s=0.002)
    machine.state.converter_v = 5.0
    for n in range(1, 6):
        machine.advance(n * 0.05, LetGo(), True, True)
        assert machine.state.converter_v == pytest.approx(5 * exp(-n * 0.05 / 0.21), rel=0.01)


def test_a_clamp_holds_and_burns_what_is_left():
    made = rig(supply=USB, protection=Protection(bus_clamp_v=7.0))
    machine = Machine(made, winding_c=20.0)
    hand = Droops(2.0, 90, ripple=0.0)
    machine.advance(3.0, hand, False, True)
    before = machine.account.losses_j["clamp"]
    machine.advance(4.0, hand, False, True)
    s = machine.state
    assert s.bus_v == pytest.approx(7.0, abs=0.05)
    assert machine.account.losses_j["clamp"] - before == pytest.approx(7.0 * s.motor_a, rel=0.01)


def test_a_boost_without_load_passes_what_it_is_given():
    """Published rule (TI SLVAFO4 table 2-1): off, it loses coil and diode, and passes the rest."""
    made = rig(supply=USB, converter=BOOST, switch__place="enable", load=Load(kind="none"))
    machine = Machine(made)
    machine.advance(3.0, Droops(1.5, 60, ripple=0.0), False, True)
    s = machine.state
    assert not s.converter_on
    assert s.converter_v == pytest.approx(s.bus_v - made.converter.pass_drop_v, abs=0.02)
