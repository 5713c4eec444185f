"""A rig turned by a script, recorded over time; page: traces.md.

`record` runs the machine of `model.dynamics` and returns `Traces`. A script says what
the hand does and when the load comes and goes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from steadyturn.errors import Problem, WrongInput
from steadyturn.model.dynamics import Machine
from steadyturn.model.dynamics_account import Account
from steadyturn.model.dynamics_parts import Parts
from steadyturn.model.dynamics_step import Hand
from steadyturn.model.hand import ArmHand, ServoHand
from steadyturn.model.stability import full_w
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAMPLE_S = 0.01
STEP_S = 0.008
MOST_SAMPLES = 2_000_000
# what a script may say besides a pace in turns/min
LET_GO, CONNECT, RELEASE, PLUG, UNPLUG = "let go", "connect", "release", "plug", "unplug"
DOES = (LET_GO, CONNECT, RELEASE, PLUG, UNPLUG)
Step = tuple[float, float | str]


@dataclass(frozen=True, slots=True)
class Script:
    """What happens, in order of time: `steps` of (t_s, what).

    what: a pace [turns/min] that the hand comes up to and keeps, or one of `DOES`:
    "let go" (the hand), "connect" and "release" (the load switch), "plug" and "unplug"
    (the device's plug). servo: a stiff servo turns it, in place of an arm with its droop,
    ripple and reaction. The load is plugged in and connected from the start unless
    connected or plugged says otherwise.

    >>> Script.keep(60).steps
    ((0.0, 60),)
    """

    steps: tuple[Step, ...]
    servo: bool = False
    connected: bool = True
    plugged: bool = True

    @staticmethod
    def keep(pace_tpm: float, *, servo: bool = False, connected: bool = True) -> Script:
        """From rest to pace_tpm [turns/min], and on at it."""
        return Script(((0.0, pace_tpm),), servo=servo, connected=connected)

    @staticmethod
    def unplugged(pace_tpm: float, at_s: float, *, what: str = UNPLUG,
                  servo: bool = False) -> Script:
        """Up to pace_tpm; at at_s [s] the load goes: "unplug", or "release"."""
        return Script(((0.0, pace_tpm), (at_s, what)), servo=servo)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at t_s [s] (located within the step); name: for a maker."""

    t_s: float
    name: str


@dataclass(frozen=True, slots=True)
class Traces:
    """What happened. Arrays of n samples, evenly spaced; currents are those of the step
    before the sample.

    t_s [s]; pace_tpm [turns/min]; turns of the handle so far; bus_v: the bus [V]; in_v,
    in_a: at the sensor, into the converter [V, A]; motor_a: of the bank [A]; out_v, out_a:
    at the device's socket [V, A]; converter_v: at the converter's output [V]; crank_nm:
    the arm's torque, mean of the sample [N m]; winding_c [degC]; reservoir_v: the board's
    [V]; converter_on; connected: the load switch; plugged: the device. events: in order of
    time. peak_*: highest volts of any step; peak_after_v: (bus, socket), from when the load
    last went on (the whole, if it never did). step_s: the ordinary step. account: joules of
    the whole.
    """

    step_s: float
    t_s: Floats
    pace_tpm: Floats
    turns: Floats
    bus_v: Floats
    in_v: Floats
    in_a: Floats
    motor_a: Floats
    out_v: Floats
    out_a: Floats
    converter_v: Floats
    crank_nm: Floats
    winding_c: Floats
    reservoir_v: Floats
    converter_on: Flags
    connected: Flags
    plugged: Flags
    events: tuple[Event, ...]
    peak_bus_v: float
    peak_out_v: float
    peak_after_v: tuple[float, float]
    account: Account

    def times(self, name: str) -> list[float]:
        """When `name` happened [s]."""
        return [event.t_s for event in self.events if event.name == name]


STARTS, LETS_GO = "converter starts", "converter lets go"
WAKES, FADES = "board wakes", "board goes off"
# the machine's own events, as a maker calls them
NAMES = {
    "starts": STARTS, "stops": LETS_GO, "soft": "soft start is over",
    "bus_cut": "bus cut acts", "bus_back": "bus cut lets go",
    "out_cut": "output cut acts", "out_back": "output cut lets go",
    "stands": "handle stands still",
}
_DONE = {CONNECT: "load connected", RELEASE: "load released", PLUG: "device plugged in",
         UNPLUG: "device unplugged"}
_FLOATS = (
    "t_s", "pace_tpm", "turns", "bus_v", "in_v", "in_a", "motor_a", "out_v", "out_a",
    "converter_v", "crank_nm", "winding_c", "reservoir_v",
)


def record(
    rig: Rig,
    script: Script,
    seconds: float,
    *,
    sample_s: float = SAMPLE_S,
    step_s: float | None = None,
    winding_c: float | None = None,
    settle_s: float = 0.0,
    progress: Callable[[float], None] | None = None,
) -> Traces:
    """The machine of `rig` from rest, through `script`, for `seconds` [s].

    sample_s [s]: between two samples, a whole number of steps is taken. step_s [s]: the
    ordinary step (None: `ordinary_step_s`, cut to fit the samples). winding_c: at the start
    (None: between the rig's cold and hot air). settle_s [s]: what the hand does at first has
    gone on for so long already, with the load as it is at first; times count from then.
    progress: told the seconds done, ten times a second of the machine's time. A board that
    is fed by the crank wakes at wake_v and goes off at off_v.

    WrongInput: seconds, sample_s or a step of the script that makes no sense.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> traces = record(read_rig(example_path("lakeside-hut")), Script.keep(60), 3.0)
    >>> len(traces.t_s), round(traces.times(STARTS)[0], 2), round(traces.account.out_j, 1)
    (301, 0.73, 5.1)
    """
    _check(script, seconds, sample_s)
    if step_s is None:
        step_s = sample_s / ceil(sample_s / ordinary_step_s(rig) - 1e-9)
    if not (isfinite(settle_s) and 0 <= settle_s <= 3600):
        raise WrongInput(Problem("time", "settle_s", f"{settle_s:g}", "0 to 3600 s."))
    machine = Machine(rig, winding_c=winding_c, step_s=step_s)
    log = machine.log = []
    moves = [(t, None if isinstance(what, str) else float(what)) for t, what in script.steps
             if what == LET_GO or not isinstance(what, str)]
    hand: Hand = ServoHand(moves) if script.servo else ArmHand(rig, moves)
    if settle_s:
        hand = _settled(machine, hand, settle_s, script.connected)
    events = [Event(t, "hand lets go" if goal is None else f"hand goes for {goal:g} turns/min")
              for t, goal in moves if t <= seconds]
    turns_on = [(t, what) for t, what in script.steps if what in _DONE]
    every_s = max(1, round(sample_s / machine.step_s)) * machine.step_s
    rows = np.zeros((int(seconds / every_s + 1e-9) + 1, len(_FLOATS) + 3))
    s = machine.state
    connected, plugged = script.connected, script.plugged
    board_on = not machine.parts.feed_from_bus  # otherwise it wakes when the crank feeds it
    arm_j, theta, before = 0.0, 0.0, (0.0, 0.0)
    for row in range(len(rows)):
        end = row * every_s
        while turns_on and turns_on[0][0] <= end:
            at, what = turns_on.pop(0)
            machine.advance(at, hand, connected, board_on)
            connected = what == CONNECT or (connected and what != RELEASE)
            plugged = what == PLUG or (plugged and what != UNPLUG)
            machine.plugged = plugged
            if what in (RELEASE, UNPLUG):
                before = max(before[0], machine.peak_bus_v), max(before[1], machine.peak_out_v)
                machine.peak_bus_v, machine.peak_out_v = s.bus_v, s.out_v
            events.append(Event(s.time_s, _DONE[str(what)]))
        machine.plugged = plugged
        machine.advance(end, hand, connected, board_on)
        awake = _awake(rig, machine, board_on)
        if awake != board_on:
            board_on = awake
            events.append(Event(s.time_s, WAKES if awake else FADES))
        work, turned = machine.sums.arm - arm_j, s.theta_rad - theta
        arm_j, theta = arm_j + work, s.theta_rad
        rows[row] = (
            s.time_s, s.crank_rad_s / RPM, theta, s.bus_v, s.in_v, s.in_a,
            s.motor_a, s.out_v, s.out_a, s.converter_v,
            work / turned if turned else 0.0, s.winding_c, s.reservoir_v,
            s.converter_on, connected, plugged,
        )
        if progress is not None and row % 10 == 0:
            progress(s.time_s)
    events += [Event(t, NAMES[code]) for t, code in log]
    columns = rows.T.copy()
    columns[2] /= 2 * np.pi
    return Traces(
        step_s=machine.step_s, **dict(zip(_FLOATS, columns[:13], strict=True)),
        converter_on=columns[13] > 0.5, connected=columns[14] > 0.5, plugged=columns[15] > 0.5,
        events=tuple(sorted(events, key=lambda event: event.t_s)),
        peak_bus_v=max(before[0], machine.peak_bus_v),
        peak_out_v=max(before[1], machine.peak_out_v),
        peak_after_v=(machine.peak_bus_v, machine.peak_out_v), account=machine.account,
    )


class _Later:
    """A hand whose time runs settle_s ahead."""

    def __init__(self, hand: Hand, settle_s: float) -> None:
        self._torque_nm, self._settle_s = hand.torque_nm, settle_s

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return self._torque_nm(t_s + self._settle_s, theta_rad, crank_rad_s)


def _settled(machine: Machine, hand: Hand, settle_s: float, connected: bool) -> Hand:
    """Brings `machine` to where it is after settle_s of what `hand` does."""
    first = Machine(machine.rig, winding_c=machine.state.winding_c, step_s=STEP_S)
    first.advance(settle_s, hand, connected, True)
    machine.take_over(first)
    return _Later(hand, settle_s)


def ordinary_step_s(rig: Rig) -> float:
    """The longest ordinary step [s] for traces of `rig`.

    8 ms: a thirtieth of the ripple's period at 125 turns/min, and what happens is located
    within it (energy then is right to 0.02 %, extremes to 0.2 %: dynamics.md). Where the
    inductance could ring against the converter's constant power
    (R / L > P / (C V^2) is near to failing at the volts where it lets go), a twelfth of
    sqrt(L C), at least 5 us: a longer implicit step would damp what does not die down.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> ordinary_step_s(read_rig(example_path("lakeside-hut")))
    0.008
    """
    parts = Parts(rig, STEP_S)
    henry = rig.bank.series * rig.motor.inductance_h / rig.bank.parallel
    watts = full_w(rig)
    if watts is None or not parts.henry:
        return STEP_S
    load_ohm = rig.converter.stop_v**2 / watts
    if henry < 0.5 * parts.r_source * parts.bus_f * load_ohm:
        return STEP_S
    return min(STEP_S, max(sqrt(henry * parts.bus_f) / 12, 5e-6))


def _awake(rig: Rig, machine: Machine, board_on: bool) -> bool:
    """Whether the board runs, at the end of a sample."""
    if not machine.parts.feed_from_bus:
        return True
    if board_on:
        return machine.state.reservoir_v >= rig.supply.off_v
    return machine.state.bus_v >= rig.supply.wake_v and (
        machine.state.reservoir_v >= rig.supply.off_v)


def _check(script: Script, seconds: float, sample_s: float) -> None:
    """WrongInput where nothing sensible would come of it."""
    problems = []
    if not (isfinite(seconds) and 0 < seconds <= 86_400):
        problems.append(Problem("time", "seconds", f"{seconds:g}", "0 to 86400 s (a day)."))
    if not (isfinite(sample_s) and 1e-5 <= sample_s <= 60):
        problems.append(Problem("time", "sample_s", f"{sample_s:g}", "0.00001 to 60 s."))
    elif not problems and seconds / sample_s > MOST_SAMPLES:
        problems.append(Problem(
            "time", "sample_s", f"{sample_s:g}",
            f"{seconds / sample_s:.0f} samples are more than {MOST_SAMPLES}.",
            "Record less time, or fewer samples a second."))
    before = 0.0
    for t_s, what in script.steps:
        if not (isfinite(t_s) and t_s >= before):
            problems.append(Problem("script", "t_s", f"{t_s:g}", "times rise, from 0."))
            break
        before = t_s
        if isinstance(what, str):
            if what not in DOES:
                problems.append(Problem("script", "what", what,
                                        f"a pace in turns/min, or one of: {', '.join(DOES)}."))
        elif not (isfinite(what) and 0 <= what <= 1000):
            problems.append(Problem("script", "pace", f"{what:g}", "0 to 1000 turns/min."))
    if problems:
        raise WrongInput(*problems)
