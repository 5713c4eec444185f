"""From a solved state to figures at the crank, the bus and the socket, with accounts."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import arm, gears, load, motor, rectifier, supply
from steadyturn.model.pair import Pair
from steadyturn.model.states import COLLAPSE, IDLE, PASS_THROUGH, REGIMES
from steadyturn.rig.types import RPM

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LOSSES = (
    "winding", "brush", "motor_friction", "gears", "crank", "rectifier", "clamp",
    "board_supply", "bleed", "sensor", "switch", "converter", "cable",
)


NOT_SHOWN = {"json": False}  # for other parts of the model


@dataclass(frozen=True)
class Points:
    """Operating points, all arrays of one shape.

    pace_tpm [turns/min]; regime, one of `states.REGIMES`; motor_rpm; emf_v of the bank
    [V]; bus_v and bus_a as the sensor reads them, at the converter's input [V, A];
    motor_a of one motor [A]; out_v, out_a, out_w at the device's socket; crank_nm,
    arm_w; losses_w by name (see LOSSES). In collapse all but pace, regime, motor_rpm,
    emf_v and idle_v are NaN: there is no steady state.

    For other parts of the model: node_v of the bus [V]; in_v at the converter's
    terminals [V]; converter_v at its output [V]; idle_v of the node with only bleed
    and board on it [V].
    """

    pace_tpm: Floats
    regime: NDArray[np.str_]
    motor_rpm: Floats
    emf_v: Floats
    bus_v: Floats
    bus_a: Floats
    motor_a: Floats
    out_v: Floats
    out_a: Floats
    out_w: Floats
    crank_nm: Floats
    arm_w: Floats
    losses_w: dict[str, Floats]
    node_v: Floats = field(metadata=NOT_SHOWN)
    in_v: Floats = field(metadata=NOT_SHOWN)
    converter_v: Floats = field(metadata=NOT_SHOWN)
    idle_v: Floats = field(metadata=NOT_SHOWN)


def points(pair: Pair, *, running: bool, connected: bool) -> Points:
    """The state of `pair` that holds when it is running already or starts from rest."""
    rig = pair.rig
    idle, regime = _choose(pair, running, connected)
    found = pair.found
    motor_a = pair.idle.motor_a if found is None else np.where(idle, pair.idle.motor_a, found.x)
    node_v = pair.line.node(motor_a)[0]
    board_on = ~idle | pair.idle.board_on
    board_a = np.where(board_on, supply.amps(rig.supply, node_v)[0], 0.0)
    bled_a = node_v / rig.bus.bleed_ohm
    bank_a = rig.bank.parallel * motor_a
    in_a = np.where(idle, 0.0, np.where(pair.held, pair.held_a, bank_a - board_a - bled_a))
    bus_v = node_v - in_a * rig.sensor.shunt_ohm
    inline = rig.switch.on_ohm
    bus_ohm = inline if rig.switch.place == "bus_switch" else 0.0
    out_ohm = inline if rig.switch.place == "output_switch" else 0.0
    in_v = bus_v - in_a * bus_ohm
    zero = np.zeros_like(in_v)
    out_a = zero if found is None else np.where(idle, 0.0, found.out_a)
    converter_v = zero if found is None else np.where(idle, 0.0, found.out_v)
    cable = load.cable_ohm(rig.load)
    # the account balances whatever the solver left over: by Kirchhoff at the node, and
    # the converter loses what does not come out
    closed = connected or rig.switch.place != "output_switch"
    out_v = converter_v - out_a * (out_ohm + cable) if closed else zero
    out_w = out_v * out_a
    motors = rig.bank.series * rig.bank.parallel
    friction = motor.friction_nm(rig.motor, pair.motor_rad_s)
    motors_nm = motors * (pair.k * motor_a + friction)
    crank_nm = arm.crank_nm(rig, motors_nm)
    shaft_w = motors_nm * pair.motor_rad_s
    diode_a = motor_a if rig.bank.diode_each else bank_a
    losses = {
        "winding": rig.bank.parallel * motor_a**2 * pair.line.ohm,
        "brush": motors * motor_a * motor.brush_v(rig.motor, motor_a),
        "motor_friction": motors * friction * pair.motor_rad_s,
        "gears": shaft_w * (1 / gears.efficiency(rig.stages) - 1),
        "crank": rig.crank.friction_nm * pair.crank_rad_s,
        "rectifier": bank_a * rectifier.drop_v(rig.rectifier, diode_a),
        "clamp": node_v * _clamp_a(pair, idle, bank_a - board_a - bled_a - in_a),
        "board_supply": node_v * board_a,
        "bleed": node_v * bled_a,
        "sensor": in_a**2 * rig.sensor.shunt_ohm,
        "switch": in_a**2 * bus_ohm + out_a**2 * out_ohm,
        "converter": in_v * in_a - converter_v * out_a,
        "cable": out_a**2 * cable,
    }
    gone = regime == COLLAPSE

    def known(values: Floats) -> Floats:
        return np.where(gone, np.nan, values)

    return Points(
        pace_tpm=pair.pace,
        regime=REGIMES[regime],
        motor_rpm=pair.motor_rad_s / RPM,
        emf_v=pair.emf_v,
        bus_v=known(bus_v), bus_a=known(in_a), motor_a=known(motor_a),
        out_v=known(out_v), out_a=known(out_a), out_w=known(out_w),
        crank_nm=known(crank_nm), arm_w=known(arm.power_w(crank_nm, pair.pace)),
        losses_w={name: known(losses[name]) for name in LOSSES},
        node_v=known(node_v), in_v=known(in_v), converter_v=known(converter_v),
        idle_v=pair.idle.node_v,
    )


def joined(pieces: list[Points], shape: tuple[int, ...]) -> Points:
    """One Points of 1-D pieces, its arrays brought to `shape`."""

    def whole(parts: list[Any]) -> Any:
        if isinstance(parts[0], dict):
            return {name: whole([part[name] for part in parts]) for name in parts[0]}
        return np.concatenate(parts).reshape(shape)

    return Points(**{one.name: whole([getattr(piece, one.name) for piece in pieces])
                     for one in fields(Points)})


def _choose(pair: Pair, running: bool, connected: bool) -> tuple[Flags, NDArray[np.int64]]:
    """Where only the board is fed, and the regime of every point."""
    part, found = pair.rig.converter, pair.found
    if found is None:
        idle = np.ones(pair.pace.shape, dtype=bool)
        return idle, np.full(idle.shape, IDLE)
    if not pair.output.enabled:  # a disabled boost passes its input to the device
        alive = found.there & (found.out_v >= pair.rig.load.min_v)
        return ~alive, np.where(alive, PASS_THROUGH, IDLE).astype(np.int64)
    starts = pair.idle.node_v >= part.start_v
    lasts = found.there if running else found.there & starts
    regime = np.where(lasts, found.regime, np.where(starts, COLLAPSE, IDLE))
    return regime == IDLE, regime


def _clamp_a(pair: Pair, idle: Flags, rest_a: Floats) -> Floats:
    """What the clamp takes: the node's current that nothing else does."""
    if pair.rig.protection.bus_clamp_v is None:
        return np.zeros_like(rest_a)
    return np.where(np.where(idle, pair.idle.held, pair.held), rest_a, 0.0)
