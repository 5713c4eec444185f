"""From a solved state to figures at the crank, the bus and the socket, with accounts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import arm, gears, load, motor, supply
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
    """The state of `pair` that holds when it is running already or starts from rest.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.pair import Pair
    >>> at = points(Pair(hut, np.array([70.0]), np.array([20.0])), running=True, connected=True)
    >>> at.regime.tolist(), round(float(at.out_w[0]), 3)
    (['regulating'], 2.529)
    """
    rig, found, line = pair.rig, pair.found, pair.line
    idle, regime = _choose(pair, running, connected)
    some_idle, zero = bool(idle.any()), np.zeros(idle.shape)

    def pick(resting: Floats, active: Floats) -> Floats:
        return np.where(idle, resting, active) if some_idle else active

    motor_a = pair.idle.motor_a if found is None else pick(pair.idle.motor_a, found.x)
    brush_v, diode_v = line.drops(motor_a)
    node_v = line.emf_v - line.ohm * motor_a - brush_v - diode_v
    board_a = zero
    if line.fed:
        board_a = supply.takes_a(rig.supply, node_v)
        if some_idle:
            board_a = np.where(idle & ~pair.idle.board_on, 0.0, board_a)
    bled_a = node_v / rig.bus.bleed_ohm
    bank_a = rig.bank.parallel * motor_a
    rest_a = bank_a - board_a - bled_a
    held = rig.protection.bus_clamp_v is not None
    in_a = pick(zero, np.where(pair.held, pair.held_a, rest_a) if held else rest_a)
    bus_v = node_v - in_a * rig.sensor.shunt_ohm
    inline = rig.switch.on_ohm
    bus_ohm = inline if rig.switch.place == "bus_switch" else 0.0
    out_ohm = inline if rig.switch.place == "output_switch" else 0.0
    in_v = bus_v - in_a * bus_ohm if bus_ohm else bus_v
    out_a = zero if found is None else pick(zero, found.out_a)
    converter_v = zero if found is None else pick(zero, found.out_v)
    out_shunt = rig.sensor.out_shunt_ohm or 0.0
    cable = load.cable_ohm(rig.load)
    # the account balances whatever the solver left over: by Kirchhoff at the node, and
    # the converter loses what does not come out
    closed = connected or rig.switch.place != "output_switch"
    out_v = converter_v - out_a * (out_shunt + out_ohm + cable) if closed else zero
    out_w = out_v * out_a
    motors = rig.bank.series * rig.bank.parallel
    friction = motors * motor.friction_nm(rig.motor, pair.motor_rad_s)
    motors_nm = motors * pair.k * motor_a + friction
    crank_nm = arm.crank_nm(rig, motors_nm)
    in_aa, out_aa = in_a * in_a, out_a * out_a
    losses = {
        "winding": bank_a * motor_a * line.ohm,
        "brush": bank_a * brush_v,
        "motor_friction": friction * pair.motor_rad_s,
        "gears": motors_nm * pair.motor_rad_s * (1 / gears.efficiency(rig.stages) - 1),
        "crank": rig.crank.friction_nm * pair.crank_rad_s,
        "rectifier": bank_a * diode_v,
        "clamp": _clamp_w(pair, idle, node_v, rest_a - in_a) if held else zero,
        "board_supply": node_v * board_a,
        "bleed": node_v * bled_a,
        "sensor": in_aa * rig.sensor.shunt_ohm + out_aa * out_shunt,
        "switch": in_aa * bus_ohm + out_aa * out_ohm if inline else zero,
        "converter": in_v * in_a - converter_v * out_a,
        "cable": out_aa * cable,
    }
    gone = regime == COLLAPSE
    some_gone = bool(gone.any())

    def known(values: Floats) -> Floats:
        return np.where(gone, np.nan, values) if some_gone else values

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


class Gathered:
    """Points written piece by piece into arrays made once."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.arrays: dict[str, NDArray[Any]] = {}

    def put(self, start: int, piece: Points) -> None:
        """The points from index `start` on."""
        for name, values in self._flat(piece):
            if name not in self.arrays:
                self.arrays[name] = np.zeros(self.size, dtype=values.dtype)
            if values.size and (values[0] or values.any()):  # what stays zero costs no memory
                self.arrays[name][start:start + values.size] = values

    @staticmethod
    def _flat(piece: Points) -> Iterator[tuple[str, NDArray[Any]]]:
        for one in fields(Points):
            if one.name != "losses_w":
                yield one.name, getattr(piece, one.name)
        for loss, values in piece.losses_w.items():
            yield f"losses_w.{loss}", values

    def points(self, shape: tuple[int, ...]) -> Points:
        """All of them, in `shape`."""
        whole = {name: values.reshape(shape) for name, values in self.arrays.items()}
        losses = {name: whole.pop(f"losses_w.{name}") for name in LOSSES}
        return Points(losses_w=losses, **whole)


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


def _clamp_w(pair: Pair, idle: Flags, node_v: Floats, rest_a: Floats) -> Floats:
    """Power in the clamp: it takes the node's current that nothing else does."""
    return np.where(np.where(idle, pair.idle.held, pair.held), node_v * rest_a, 0.0)
