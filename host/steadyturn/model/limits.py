"""Every constraint of the band as a margin over pace: not below zero where it holds.

NaN means there is nothing to judge (nothing runs); `holding` and `start` say so.
Each is evaluated for the hot and for the cold machine and has to hold in both.
Names, meanings and sources in limits.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import arm, kept, supply
from steadyturn.model.converter import window_v
from steadyturn.model.hazards import FASTEST_TPM, let_go_tpm, open_circuit_v, ratings
from steadyturn.model.load import USB
from steadyturn.model.states import PASS_THROUGH
from steadyturn.model.view import View
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]

HAIR = 1e-9  # a value that stands exactly at its limit has reached it


@dataclass(frozen=True)
class Constraint:
    """margin: 1-D over the view's paces. say: the reason at one of its paces."""

    name: str
    margin: Callable[[View], Floats]
    say: Callable[[View, int], str]


def _board(rig: Rig) -> list[Constraint]:
    board = rig.supply
    if board.feed != "crank":
        return []
    return [
        Constraint(
            "board_wake",
            lambda v: np.where(v.pair.idle.board_on, v.on.emf_v / board.wake_v - 1, -1.0),
            lambda v, i: f"the board wakes when the bus reaches {board.wake_v:.2f} V"),
        Constraint(
            "board_fade",
            lambda v: v.while_on(supply.reservoir_v(board, v.on.node_v) / board.fade_v - 1),
            lambda v, i: f"under load the board's own supply would fall below "
            f"{board.fade_v:.2f} V, where it releases the load and saves"),
    ]


def _state(view: View) -> str:
    return "hot windings" if view.hot else "cold windings"


def _running(rig: Rig) -> list[Constraint]:
    part = rig.converter

    def start(v: View) -> Floats:
        reach = v.pair.idle.node_v / part.start_v - 1
        return np.where(v.runs, reach, np.minimum(reach, -HAIR))

    def holding(v: View) -> Floats:
        # where nothing runs, more EMF is nearer to running
        short = -part.stop_v / np.maximum(v.pair.emf_v, HAIR)
        return np.where(v.runs, 1.0, np.minimum(short, -HAIR))

    def why_holding(v: View, i: int) -> str:
        if v.on.in_v[i] < part.stop_v * 1.01:
            return f"below this pace a running converter lets go at {part.stop_v:.2f} V"
        volts = "" if np.isnan(v.on.in_v[i]) else f" from {v.on.in_v[i]:.2f} V"
        return ("below this pace a running converter is too much load for the pace: its "
                f"input collapses{volts}")

    def why_start(v: View, i: int) -> str:
        idle = v.pair.idle.node_v[i]
        if idle < part.start_v * 1.001:
            return f"from rest the converter starts when the bus reaches {part.start_v:.2f} V"
        return (f"from rest the converter starts ({idle:.2f} V unloaded), but below this pace "
                "its load pulls the volts down again")

    return [
        Constraint("start", start, why_start),
        Constraint("holding", holding, why_holding),
        Constraint(
            "collapse_margin", lambda v: v.while_on(v.spare),
            lambda v, i: "below this pace a tenth more load would be too much: the volts collapse "
            f"(here {v.on.bus_v[i]:.2f} V, {_state(v)})"),
        Constraint(
            "input_limit",
            lambda v: v.while_on(1 - v.on.bus_a / part.in_limit_a - HAIR),
            lambda v, i: "the converter's input current reaches its limit, "
            f"{part.in_limit_a:.2f} A"),
        Constraint(
            "output_limit",
            lambda v: v.while_on(1 - v.on.out_a / part.out_limit_a - HAIR),
            lambda v, i: f"the device draws {v.on.out_a[i]:.2f} A, the converter's limit is "
            f"{part.out_limit_a:.2f} A"),
    ]


def _volts(rig: Rig) -> list[Constraint]:
    low_v, high_v = window_v(rig.converter)
    part, load, guard = rig.converter, rig.load, rig.protection
    found = [
        Constraint("window_low", lambda v: v.while_on(v.on.in_v / low_v - 1),
                   lambda v, i: f"under load the converter's input leaves its window below, "
                   f"{low_v:.2f} V"),
        Constraint("window_high", lambda v: v.while_on(1 - v.on.in_v / high_v),
                   lambda v, i: f"under load the converter's input leaves its window above, "
                   f"{high_v:.2f} V"),
    ]
    if part.kind == "boost":
        ends = part.out_v + part.pass_drop_v

        def passes(v: View) -> Floats:
            assert v.pair.found is not None
            room = 1 - v.on.in_v / ends
            passing = v.pair.found.regime == PASS_THROUGH
            return v.while_on(np.where(passing, np.minimum(room, -HAIR), room))

        found.append(Constraint(
            "pass_through", passes,
            lambda v, i: "above this pace the converter no longer limits the voltage: its input "
            f"({v.on.in_v[i]:.2f} V) passes to the device"))
    if load.kind in USB:
        found.append(Constraint(
            "output_low", lambda v: v.while_on(v.on.out_v / load.sag_v - 1),
            lambda v, i: f"the device's socket falls below {load.sag_v:.2f} V and it draws less"))
    if load.kind != "none":
        found.append(Constraint(
            "output_high", lambda v: v.while_on(1 - v.on.out_v / load.max_v),
            lambda v, i: f"the device's socket would get more than {load.max_v:.2f} V"))
    for name, volts, say in (
        ("bus_cut", guard.bus_cut_v, "the over-voltage cut would release the load"),
        ("clamp", guard.bus_clamp_v, "the bus clamp would begin to burn the arm's work"),
    ):
        if volts is not None:
            found.append(Constraint(
                name, lambda v, at=volts: v.while_on(1 - v.on.node_v / at - HAIR),  # type: ignore[misc]
                lambda v, i, at=volts, say=say: f"{say} at {at:.2f} V"))  # type: ignore[misc]
    if guard.output_cut_v is not None:
        cut = guard.output_cut_v
        found.append(Constraint(
            "output_cut", lambda v: v.while_on(1 - v.on.converter_v / cut - HAIR),
            lambda v, i: f"the output's over-voltage cut would act at {cut:.2f} V"))
    return found


def _open(rig: Rig) -> list[Constraint]:
    """Ratings that a slower band saves. One that the fastest hand breaks in any case is
    a hazard, not a limit of pace."""
    found = []
    worst = open_circuit_v(rig, FASTEST_TPM)
    for rating in ratings(rig):
        if float(rating.seen(worst)) > rating.rating_v:
            continue
        found.append(Constraint(
            rating.name,
            lambda v, r=rating: 1 - r.seen(open_circuit_v(rig, let_go_tpm(v.pace))) / r.rating_v,  # type: ignore[misc]
            lambda v, i, r=rating: f"{r.reason}: {r.rating_v:.1f} V if the hand runs away to "  # type: ignore[misc]
            f"{let_go_tpm(v.pace)[i]:.0f} turns/min"))
    return found


def _motor(rig: Rig) -> list[Constraint]:
    motor = rig.motor
    return [
        Constraint("motor_speed", lambda v: 1 - v.pair.motor_rad_s / motor.max_rad_s,
                   lambda v, i: f"the motor turns at its highest speed, "
                   f"{motor.max_rad_s / RPM:.0f} rpm"),
        Constraint("motor_current", lambda v: v.while_on(1 - v.on.motor_a / motor.max_a),
                   lambda v, i: f"each motor carries its highest current, {motor.max_a:.2f} A"),
        Constraint("winding_temperature",
                   lambda v: v.while_on((motor.max_winding_c - v.winding_c) / 100),
                   lambda v, i: f"the winding would reach {motor.max_winding_c:.0f} degC in time"),
        Constraint("mount_temperature",
                   lambda v: v.while_on((rig.bank.mount_max_c - v.case_c) / 100),
                   lambda v, i: f"the motor's case would soften its mount in time, "
                   f"{rig.bank.mount_max_c:.0f} degC"),
    ]


def _arm(rig: Rig) -> list[Constraint]:
    person = rig.arm
    return [
        Constraint("arm_force",
                   lambda v: v.while_on(1 - arm.force_n(rig, v.on.crank_nm) / person.force_n),
                   lambda v, i: f"the grip needs {person.force_n:.0f} N, as much as this arm "
                   f"gives ({v.on.crank_nm[i]:.2f} N m)"),
        Constraint("arm_power", lambda v: v.while_on(1 - v.on.arm_w / person.power_w),
                   lambda v, i: f"the arm gives {person.power_w:.0f} W, as much as it can "
                   "keep up"),
        Constraint("comfort_low", lambda v: v.pace / kept.slowest_tpm(rig) - 1,
                   lambda v, i: kept.why_slowest(rig)),
        Constraint("comfort_high", lambda v: 1 - v.pace / kept.fastest_tpm(rig),
                   lambda v, i: kept.why_fastest(rig)),
    ]


def constraints(rig: Rig) -> list[Constraint]:
    """All constraints that this rig has.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> [one.name for one in constraints(hut)][:4]
    ['board_wake', 'board_fade', 'start', 'holding']
    """
    return [*_board(rig), *_running(rig), *_volts(rig), *_open(rig), *_motor(rig), *_arm(rig)]


class Sheet:
    """Margins of all constraints at 1-D paces: [constraint, pace], the worse of the hot
    and the cold machine; by_state keeps both apart."""

    def __init__(self, rig: Rig, listed: list[Constraint], pace: Floats,
                 views: tuple[View, View] | None = None) -> None:
        """views: those of a rig that differs only in ratings and limits."""
        self.rig, self.listed, self.pace = rig, listed, pace
        self.views = views or (View(rig, pace, hot=True), View(rig, pace, hot=False))
        self.by_state = np.array([[c.margin(view) for c in listed] for view in self.views])
        self.margins = np.fmin(self.by_state[0], self.by_state[1])

    def reason(self, row: int, column: int) -> str:
        """Why constraint `row` limits at pace `column`, in the state where it is worse."""
        hot, cold = self.by_state[:, row, column]
        worse_cold = bool(cold < hot) or bool(np.isnan(hot))
        return self.listed[row].say(self.views[worse_cold], column)
