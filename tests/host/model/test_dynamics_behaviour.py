"""What the machine does: starts and hunts, cuts and switches, turns backwards, replays."""

import numpy as np
import pytest
from dynamics_rigs import BOOST, BUCK, BUCK_BOOST, Droops, LetGo, Servo, rig
from steadyturn.model.dynamics import Machine
from steadyturn.model.thermal import settled_c
from steadyturn.rig.types import RPM, Load, Protection, Supply

USB = Supply(feed="usb")
STRONG = {"converter": BOOST, "supply": USB}  # two motors in series: 9 V and more at 70 tpm


def steps(machine, hand, seconds, *, connected=True, board_on=True, host_power=False):
    """The state after each step, as it goes on."""
    start = machine.state.time_s
    for n in range(1, round(seconds / machine.step_s) + 1):
        machine.advance(start + n * machine.step_s, hand, connected, board_on, host_power)
        yield machine.state


def run(machine, hand, seconds, **how):
    for _ in steps(machine, hand, seconds, **how):
        pass
    return machine.state


# --------------------------------------------------------------- start and collapse


def test_too_slow_a_pace_hunts():
    """Below the fold it starts, collapses, lets go and starts again: a hiccup, no voltage."""
    made = rig(supply=USB, converter=BUCK)
    machine = Machine(made)
    run(machine, Servo(52), 1.0, connected=False)
    assert machine.state.bus_v > BUCK.start_v
    was_on, starts, volts = False, 0, []
    for s in steps(machine, Servo(52), 2.0):
        starts += s.converter_on and not was_on
        was_on = s.converter_on
        volts.append(s.bus_v)
    assert starts >= 5
    assert min(volts[100:]) < BUCK.stop_v + 0.05
    assert max(volts[100:]) >= BUCK.start_v - 0.3
    # released, it recovers
    assert run(machine, Servo(52), 0.5, connected=False).bus_v > BUCK.start_v


def test_between_stop_and_start_two_states_exist():
    """A running converter runs on where one that stands still does not start."""
    made = rig(supply=USB, converter=BUCK_BOOST, converter__start_v=7.5, converter__stop_v=4.0)
    fresh, running = Machine(made), Machine(made)
    run(running, Servo(75), 1.0)
    assert running.state.converter_on
    slow = Servo(52)
    run(running, slow, 2.0)
    run(fresh, slow, 3.0)
    assert running.state.converter_on
    assert not fresh.state.converter_on
    assert fresh.state.bus_v < 7.5


def test_soft_start_takes_its_time():
    made = rig(supply=USB, converter__soft_start_s=0.1)
    machine = Machine(made)
    run(machine, Servo(75), 1.0, connected=False)
    rises = [s.converter_v for s in steps(machine, Servo(75), 0.2)]
    assert rises[10] == pytest.approx(5.1 * 0.22, rel=0.1)  # 22 ms of 100
    assert rises[-1] == pytest.approx(5.1)


def test_a_device_that_sags_draws_less_and_recovers():
    made = rig(supply=USB, load__draw_a=1.0, converter__out_limit_a=0.7)
    machine = Machine(made)
    run(machine, Servo(85), 1.5)
    assert machine.state.out_a == pytest.approx(0.7, abs=0.005)
    assert machine.state.out_v < made.load.sag_v


# ------------------------------------------------------------ the load switch, the cuts


def test_a_plain_boost_passes_its_input_even_when_disabled():
    for isolates, flows in ((False, True), (True, False)):
        made = rig(**STRONG, switch__place="enable", converter__isolates=isolates)
        machine = Machine(made)
        s = run(machine, Servo(80), 2.0, connected=False)
        assert not s.converter_on
        assert (s.out_a > 0.1) is flows
        assert (s.out_v > 5.5) is flows


@pytest.mark.parametrize("place", ["bus_switch", "output_switch"])
def test_a_switch_parts_the_device_from_an_overrun_boost(place):
    machine = Machine(rig(**STRONG, switch__place=place))
    s = run(machine, Servo(80), 2.0, connected=False)
    assert s.out_a == 0.0
    assert machine.peak_out_v < 0.1


def test_releasing_raises_the_bus():
    made = rig(supply=USB)
    machine = Machine(made)
    loaded = run(machine, Servo(70), 1.5).bus_v
    assert run(machine, Servo(70), 0.5, connected=False).bus_v > loaded + 0.8


def test_the_output_cut_acts_within_the_step_and_holds():
    made = rig(**STRONG, protection=Protection(output_cut_v=5.45))
    machine = Machine(made)
    run(machine, Servo(48), 1.0)
    assert machine.state.out_v == pytest.approx(5.06, abs=0.1)
    run(machine, Servo(110), 1.0)
    assert machine.state.output_cut
    assert machine.state.out_a == 0.0
    assert machine.peak_out_v <= 5.45
    # at the old pace the unloaded bus still stands above it: it lets go only lower down
    assert run(machine, Servo(48), 10.0).output_cut
    assert not run(machine, Servo(40), 15.0).output_cut


def test_without_a_cut_the_phone_sees_the_generator():
    machine = Machine(rig(**STRONG))
    run(machine, Servo(110), 2.0)
    assert machine.peak_out_v > 8.0


def test_the_bus_cut_releases_the_load_until_the_bus_falls():
    made = rig(protection=Protection(bus_cut_v=10.0))  # the board empties the bus
    machine = Machine(made)
    assert run(machine, Servo(70), 1.5).in_a > 0.1
    run(machine, Servo(110), 1.0)
    assert machine.state.bus_cut
    assert machine.state.in_a == 0.0
    assert run(machine, Servo(70), 1.5).in_a > 0.1


# -------------------------------------------------------------------------- direction


def test_a_bridge_charges_either_way_and_a_diode_only_one():
    class Backwards:
        def torque_nm(self, t_s, theta_rad, crank_rad_s):
            return 20.0 * (-70 * RPM - crank_rad_s)

    volts = {}
    for kind in ("bridge", "schottky", "none"):
        made = rig(supply=USB, rectifier__kind=kind)
        s = run(Machine(made), Backwards(), 1.5, connected=False)
        volts[kind] = s.bus_v
        assert s.crank_rad_s < -6.0
    assert volts["bridge"] > 7.0
    assert volts["schottky"] == 0.0
    assert volts["none"] < -7.0  # below ground: why a rig with a board refuses it


def test_without_a_rectifier_the_bus_drives_the_handle():
    made = rig(supply=USB, rectifier__kind="none", bus__capacitor_f=0.2,
               crank__friction_nm=0.001, motor__no_load_a=0.001, switch__place="bus_switch")
    machine = Machine(made)
    machine.state.bus_v = 8.0
    turning = max(s.crank_rad_s for s in steps(machine, LetGo(), 1.0, connected=False))
    assert turning > 2.0
    blocked = Machine(rig(supply=USB))
    blocked.state.bus_v = 8.0
    assert run(blocked, LetGo(), 1.0, connected=False).crank_rad_s == 0.0


def test_friction_holds_a_handle_that_is_pushed_too_little():
    machine = Machine(rig(supply=USB))
    still = machine.parts.rest_nm

    class Push:
        nm = 0.99 * still

        def torque_nm(self, t_s, theta_rad, crank_rad_s):
            return self.nm

    hand = Push()
    assert run(machine, hand, 0.5).theta_rad == 0.0
    hand.nm = 1.05 * still
    assert run(machine, hand, 0.5).theta_rad > 0.0
    hand.nm = 0.0
    assert run(machine, hand, 2.0).crank_rad_s == 0.0


# --------------------------------------------------------------------- board and warmth


def test_the_reservoir_fills_from_the_crank_and_feeds_the_board():
    made = rig()
    machine = Machine(made)
    assert machine.state.reservoir_v == 0.0
    s = run(machine, Servo(60), 1.0, connected=False)
    assert s.reservoir_v == pytest.approx(made.supply.reservoir_max_v, abs=0.01)
    # let go, the bus empty: C (V1^2 - V2^2) / 2 = P t
    run(machine, LetGo(), 0.5, connected=False)
    s.bus_v = 0.0
    before = s.reservoir_v
    run(machine, LetGo(), 0.3, connected=False)
    wanted = (before**2 - 2 * 0.3 * made.supply.power_w / made.supply.reservoir_f) ** 0.5
    assert s.reservoir_v == pytest.approx(wanted, rel=1e-3)
    held = s.reservoir_v
    assert run(machine, LetGo(), 1.0, connected=False, board_on=False).reservoir_v == held


def test_a_usb_host_feeds_the_board_and_the_account_knows():
    machine = Machine(rig())
    s = run(machine, LetGo(), 2.0, host_power=True)
    assert s.reservoir_v == 5.2
    account = machine.account
    assert account.host_j == pytest.approx(2 * 0.12 + 0.5 * rig().supply.reservoir_f * 5.2**2)
    assert account.losses_j["board_supply"] == pytest.approx(0.24)
    assert account.step_j == pytest.approx(0.0, abs=1e-12)


def test_the_winding_warms_to_where_the_steady_model_has_it():
    made = rig(supply=USB, motor__winding_j_k=0.5, load=Load(draw_a=1.2))
    machine = Machine(made)
    s = run(machine, Servo(85), 60.0)
    air_c = machine.parts.air_c
    wanted = settled_c(made, np.array([s.crank_rad_s / RPM]), air_c)[0][0]
    assert wanted > air_c + 5
    assert s.winding_c == pytest.approx(wanted, abs=0.3)


# ------------------------------------------------------------------------------ replay


def _bits(machine):
    s = machine.state
    floats = [getattr(s, n) for n in s.__slots__]
    sums = [getattr(machine.sums, n) for n in machine.sums.__slots__]
    return [x.hex() if isinstance(x, float) else x for x in (*floats, *sums, machine.peak_out_v)]


def test_the_same_calls_give_the_same_bits():
    def whole():
        machine = Machine(rig(protection=Protection(output_cut_v=5.45, bus_cut_v=14.0)))
        for n in range(1, 301):
            machine.advance(n * 0.02, Droops(0.9, 70 if n < 200 else 120), n > 40, n > 20)
        return _bits(machine)

    assert whole() == whole()


def test_how_time_is_cut_into_calls_changes_no_state():
    ends = []
    for part in (0.02, 0.1, 1.0):
        machine = Machine(rig())
        for n in range(1, round(4 / part) + 1):
            machine.advance(n * part, Droops(0.9, 70), True, True)
        ends.append(machine.state)
    assert ends[0] == ends[1] == ends[2]


def test_time_does_not_drift_and_never_runs_back():
    machine = Machine(rig())
    for n in range(1, 1001):
        machine.advance(n * 0.02, LetGo(), False, False)
    assert machine.state.time_s == 20.0
    machine.advance(3.0, LetGo(), False, False)
    assert machine.state.time_s == 20.0
    with pytest.raises(ValueError, match="step_s"):
        Machine(rig(), step_s=0.0)
