"""State and accounts of the machine in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steadyturn.model.dynamics_parts import Parts


@dataclass(slots=True)
class State:
    """The machine at the end of a step. Currents are those that flowed in that step.

    bus_v: the bus node; in_v, in_a: what the sensor sees, after its shunt; motor_a: of
    the whole bank; converter_v, converter_a: at the converter's output, before switch
    and cable; out_v, out_a: at the device's socket (0 V while an output switch or cut
    holds it off); bus_cut, output_cut: a hardware cut has acted and holds.
    """

    winding_c: float
    reservoir_v: float
    time_s: float = 0.0
    theta_rad: float = 0.0
    crank_rad_s: float = 0.0
    bus_v: float = 0.0
    in_v: float = 0.0
    in_a: float = 0.0
    motor_a: float = 0.0
    converter_v: float = 0.0
    converter_a: float = 0.0
    out_v: float = 0.0
    out_a: float = 0.0
    converter_on: bool = False
    bus_cut: bool = False
    output_cut: bool = False


@dataclass(frozen=True, slots=True)
class Account:
    """Joules since the start: arm_j + host_j + stored_start_j
    = out_j + sum of losses_j + stored_j + step_j.

    losses_j has the names of `model.point.LOSSES`. host_j: from USB or a cell, all of
    it into the board. step_j: what the step's arithmetic makes of a change within one
    step, mostly the heat of a capacitor that is charged faster than a step.
    """

    arm_j: float
    host_j: float
    out_j: float
    losses_j: dict[str, float]
    stored_start_j: float
    stored_j: float
    step_j: float


class Sums:
    """Integrals over time, in joules unless named otherwise."""

    __slots__ = (
        "arm", "bled", "board", "brush", "clamp", "converter", "copper", "diode", "drag", "em",
        "feed", "gear", "host", "in_a2s", "in_c", "in_j", "in_v_s", "out", "out_a2s", "rub",
    )

    def __init__(self) -> None:
        self.arm = self.host = self.out = 0.0
        self.rub = self.drag = self.em = self.gear = 0.0
        self.copper = 0.0
        self.brush = self.diode = 0.0  # coulombs times the share of the drop that was there
        self.in_j = 0.0
        self.in_c = 0.0  # C
        self.in_v_s = 0.0  # V s
        self.in_a2s = self.out_a2s = 0.0  # A2 s
        self.converter = self.clamp = self.feed = self.board = self.bled = 0.0

    def motors_rest(self, p: Parts) -> float:
        """Heat of brushes and bearings of all motors, J."""
        return p.brush_v * self.brush + (self.rub * p.rub_share + self.drag) * p.eta

    def account(self, p: Parts, stored_start_j: float, stored_j: float) -> Account:
        """The account, with friction and resistances split between their parts."""
        rubbed, dragged = self.rub * p.rub_share, self.drag  # through the gears
        cable_ohm, in_switch_ohm = p.r_path - p.r_out_shunt, 0.0
        if p.place == "output_switch":
            cable_ohm -= p.switch_ohm
        elif p.place == "bus_switch":
            in_switch_ohm = p.switch_ohm
        out_switch_ohm = p.r_path - p.r_out_shunt - cable_ohm
        losses = {
            "winding": self.copper,
            "brush": p.brush_v * self.brush,
            "motor_friction": (rubbed + dragged) * p.eta,
            "gears": self.gear + (rubbed + dragged) * (1 - p.eta),
            "crank": self.rub - rubbed,
            "rectifier": p.diode_v * self.diode,
            "clamp": self.clamp,
            "board_supply": self.board + self.feed,
            "bleed": self.bled,
            "sensor": p.r_shunt * self.in_a2s + p.r_out_shunt * self.out_a2s,
            "switch": in_switch_ohm * self.in_a2s + out_switch_ohm * self.out_a2s,
            "converter": self.converter,
            "cable": cable_ohm * self.out_a2s,
        }
        given = self.arm + self.host + stored_start_j
        step_j = given - self.out - sum(losses.values()) - stored_j
        return Account(self.arm, self.host, self.out, losses, stored_start_j, stored_j, step_j)
