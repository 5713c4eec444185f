"""What happens within a step, against scipy's integrator on equations of its own."""

from dataclasses import replace

import numpy as np
import pytest
from dynamics_rigs import BUCK, Droops, LetGo, Servo, rig
from dynamics_whole import Whole
from scipy.optimize import brentq
from steadyturn.model.dynamics import Machine
from steadyturn.rig.types import Protection, Supply

USB = Supply(feed="usb")
REST = (0.0, 0.0, 0.0, 0.0, 0.0)


def hunting(**more):
    """A buck that starts at 6.5 V and cannot run at 52 turns/min."""
    made = rig(supply=USB, converter=replace(BUCK, soft_start_s=0.01), switch__on_ohm=0.02)
    for key, value in more.items():
        part, name = key.split("__")
        made = replace(made, **{part: replace(getattr(made, part), **{name: value})})
    return made


def logged(made, hand, seconds, step_s):
    machine = Machine(made, winding_c=20.0, step_s=step_s)
    machine.log = []
    machine.advance(seconds, hand, True, True)
    return machine, [(t, what) for t, what in machine.log if what in ("starts", "stops")]


@pytest.fixture(scope="module")
def from_rest():
    """Two scenes from rest with the load connected: (rig, hand, reference's log and states)."""
    scenes = {}
    for name, made, hand in (("an arm", hunting(), Droops(0.9, 45)),
                             ("a servo", hunting(motor__inductance_h=0.0), Servo(52))):
        coil = made.motor.inductance_h > 0
        whole = Whole(made, 20.0, hand, coil=coil)
        scenes[name] = made, hand, whole.run(REST, 0.8, most=12)
    return scenes


@pytest.mark.parametrize("step_s", [0.0005, 0.002, 0.004])
@pytest.mark.parametrize("scene", ["an arm", "a servo"])
def test_first_starts_and_stops(from_rest, scene, step_s):
    """The first six within 1.5 ms of the reference at any step, all twelve within 2 % of the
    time since the first: errors of a sequence add up."""
    made, hand, (wanted, _, _) = from_rest[scene]
    _, log = logged(made, hand, 0.9, step_s)
    assert len(wanted) >= 8, "the scene does not hunt"
    assert [what for _, what in log[:len(wanted)]] == [what for _, what in wanted]
    first = wanted[0][0]
    for n, ((mine, _), (other, _)) in enumerate(zip(log, wanted, strict=False)):
        if n < 6:
            assert mine == pytest.approx(other, abs=0.0015), (n, log[:8], wanted[:8])
        assert mine - first == pytest.approx(other - first, rel=0.02, abs=0.0015), n


def test_events_do_not_depend_on_the_step():
    """Start of the converter and end of a soft start, to 0.1 ms between steps of 0.5 and 4 ms."""
    made = hunting()
    ends = []
    for step_s in (0.0005, 0.001, 0.002, 0.004):
        machine = Machine(made, winding_c=20.0, step_s=step_s)
        machine.log = []
        machine.advance(1.5, Servo(80), False, True)
        machine.advance(3.0, Servo(80), True, True)
        machine.advance(4.0, LetGo(), True, True)
        ends.append({what: t for t, what in reversed(machine.log)})
    assert set(ends[0]) >= {"starts", "soft", "stops", "stands"}
    for other in ends[1:]:
        assert other["starts"] == pytest.approx(ends[0]["starts"], abs=1e-6)
        assert other["soft"] == pytest.approx(other["starts"] + 0.01, abs=1e-6)
        assert other["stops"] == pytest.approx(ends[0]["stops"], abs=1e-3)
        assert other["stands"] == pytest.approx(ends[0]["stands"], abs=4e-3)


def test_a_start_up_that_holds():
    """From rest to steady running: volts and energies."""
    made = hunting(converter__start_v=8.0, bus__capacitor_f=4.7e-3)
    hand = Droops(1.3, 80, ripple=0.3)
    wanted, _, y = Whole(made, 20.0, hand).run(REST, 2.5)
    machine, log = logged(made, hand, 2.5, 0.004)
    assert [what for _, what in log] == [what for _, what in wanted] == ["starts"]
    assert log[0][0] == pytest.approx(wanted[0][0], abs=5e-4)
    account = machine.account
    assert account.arm_j == pytest.approx(y[5, -1], rel=0.001)
    assert account.out_j == pytest.approx(y[6, -1], rel=0.001)
    assert machine.peak_bus_v == pytest.approx(y[2].max(), rel=0.01)
    assert machine.state.crank_rad_s == pytest.approx(y[1, -1], rel=0.01)


@pytest.mark.parametrize(("farad", "henry", "method"), [
    (2.2e-3, 0.0, "LSODA"), (2.2e-3, 1e-3, "Radau"), (2e-5, 2e-3, "Radau")])
def test_the_load_goes_at_speed(farad, henry, method):
    """Highest bus volts and speed after the load switch released: 1 %. With a tiny capacitor
    the current of the inductance goes into it at once."""
    made = hunting(bus__capacitor_f=farad, motor__inductance_h=henry)
    hand = Droops(1.6, 85, ripple=0.0)
    machine = Machine(made, winding_c=20.0, step_s=0.004)
    machine.advance(1.0, hand, False, True)
    machine.advance(2.0, hand, True, True)
    s = machine.state
    assert s.converter_on
    assert s.motor_a > 0.2
    start = (s.theta_rad, s.crank_rad_s, s.bus_v, s.motor_a, s.converter_v)
    whole = Whole(made, s.winding_c, hand, coil=henry > 0)
    _, t, y = whole.run(start, 0.6, connected=False, method=method)
    machine.peak_bus_v, before = 0.0, s.bus_v
    machine.advance(2.02, hand, False, True)
    early = y[2][t <= 0.02].max()
    assert machine.peak_bus_v - before == pytest.approx(early - before, rel=0.03)
    machine.advance(2.6, hand, False, True)
    assert machine.peak_bus_v == pytest.approx(y[2].max(), rel=0.01)
    assert s.crank_rad_s == pytest.approx(y[1, -1], rel=0.01)
    if farad < 1e-4:  # the rest: without inductance it would not get there
        still = Machine(hunting(bus__capacitor_f=farad, motor__inductance_h=0.0),
                        winding_c=20.0, step_s=0.004)
        still.advance(1.0, hand, False, True)
        still.advance(2.0, hand, True, True)
        still.peak_bus_v = 0.0
        still.advance(2.02, hand, False, True)
        assert machine.peak_bus_v - still.peak_bus_v > 0.3


def test_a_small_inductance_is_left_out_and_matters_little():
    """L / (R^2 C) below 0.02: the machine with it and the reference with it agree to 0.5 %."""
    made = hunting(motor__inductance_h=2e-5)
    machine = Machine(made, winding_c=20.0)
    assert machine.parts.henry == 0.0
    hand = Droops(1.6, 85, ripple=0.0)
    machine.advance(1.0, hand, False, True)
    machine.advance(2.0, hand, True, True)
    s = machine.state
    start = (s.theta_rad, s.crank_rad_s, s.bus_v, s.motor_a, s.converter_v)
    _, _, y = Whole(made, s.winding_c, hand).run(start, 0.05, connected=False, method="Radau")
    machine.peak_bus_v = 0.0
    machine.advance(2.05, hand, False, True)
    assert machine.peak_bus_v == pytest.approx(y[2].max(), rel=0.005)


class Dips:
    """A servo whose pace dips for a moment."""

    def torque_nm(self, t_s, theta_rad, crank_rad_s):
        pace = 80 - 25 * np.exp(-((t_s - 2.0) / 0.15) ** 2)
        return min(max(2.0 * (pace * 0.10471975511965977 - crank_rad_s), 0.0), 30.0)


def test_a_device_sags_and_recovers():
    """A buck runs out of headroom while the pace dips: the output follows, the device draws
    less and comes back. Deepest volts 1 %, energy 0.1 %."""
    made = hunting(converter__stop_v=3.5, converter__start_v=6.5, converter__headroom_v=1.2,
                   converter__out_capacitor_f=1e-6, motor__inductance_h=0.0,
                   motor__terminal_ohm=1.6)
    machine = Machine(made, winding_c=20.0, step_s=0.004)
    machine.advance(0.8, Dips(), False, True)
    machine.advance(1.4, Dips(), True, True)
    s = machine.state
    whole = Whole(made, s.winding_c, Dips(), coil=False)
    set_a = whole.bus_a

    def drops(phase, v, out_v):  # C_o is too small to count: the output follows at once
        def miss(ic):
            out = v - whole.series * ic - made.converter.headroom_v
            io = whole.device_a(out)
            return ic * (v - whole.series * ic) - whole.taken_w(out, io)

        set_v = made.converter.out_v + made.converter.headroom_v
        ic = set_a("set", v, made.converter.out_v)[0]
        if v - whole.series * ic >= set_v:
            return ic, 0.0
        return brentq(miss, 0.0, 1.5), 0.0

    whole.bus_a = drops
    start = (s.theta_rad, s.crank_rad_s, s.bus_v, s.motor_a, s.converter_v)
    at = s.time_s
    whole.hand = Later(Dips(), at)
    _, _, y = whole.run(start, 1.6, on=True)
    arm_j, volts, draws = machine.sums.arm, [], []
    while s.time_s < at + 1.6 - 1e-9:
        machine.advance(s.time_s + 0.004, Dips(), True, True)
        volts.append(s.bus_v)
        draws.append(s.out_a)
    assert min(draws) < 0.8 * made.load.draw_a  # it sags
    assert draws[-1] == pytest.approx(made.load.draw_a)  # and recovers
    assert min(volts) == pytest.approx(y[2].min(), rel=0.01)
    assert machine.sums.arm - arm_j == pytest.approx(y[5, -1], rel=0.001)


class Later:
    def __init__(self, hand, by_s):
        self.hand, self.by_s = hand, by_s

    def torque_nm(self, t_s, theta_rad, crank_rad_s):
        return self.hand.torque_nm(t_s + self.by_s, theta_rad, crank_rad_s)


def test_hardware_cuts_are_located():
    """A bus cut acts at its volts, and lets go at 97 % of them, whatever the step."""
    made = hunting()
    made = replace(made, protection=Protection(bus_cut_v=11.0))
    found = []
    for step_s in (0.0005, 0.004):
        machine = Machine(made, winding_c=20.0, step_s=step_s)
        machine.log = []
        machine.advance(2.0, Servo(75), True, True)
        machine.advance(4.0, Servo(110), True, True)
        machine.advance(8.0, Servo(60), True, True)
        assert machine.peak_bus_v > 11.0  # the unloaded bus goes on rising
        found.append({what: t for t, what in reversed(machine.log)})
    for what in ("bus_cut", "bus_back"):
        assert found[0][what] == pytest.approx(found[1][what], abs=2e-3)
