"""Many builds of one rig: every number the band depends on, as an array or a scalar."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model import converter, gears, load, motor, supply
from steadyturn.model.batch_open import highest_tpm
from steadyturn.model.change import with_value
from steadyturn.model.edges import FASTEST_TPM, SLOWEST_TPM
from steadyturn.model.kept import slowest_tpm
from steadyturn.model.limits import HAIR
from steadyturn.model.line import series_ohm
from steadyturn.model.rectifier import DIODES
from steadyturn.rig.types import RPM, Rig, Stage

Floats = NDArray[np.float64]
WARM = 1.15  # of the windings' cold resistance, where one stands for hot and cold
LOSSES = ("converter.loss_w", "converter.loss_v", "converter.loss_ohm")


@dataclass
class Level:
    """The source with its node held at some volts: EMF = volts + motor_a * string ohm."""

    volts: Any
    motor_a: Any


@dataclass
class Frame:
    """Kinds are plain, numbers are floats or arrays of one value a build [SI].

    ohm, brush_v: of one string at 20 degC; diode_knee_a: by the current of one motor;
    heat_k_w, case_k_w: rise of winding and case over the air by the winding's own watts
    and by all others; friction_nm, drag: of one motor; nm_gear: torque at the handle by
    one motor's; emf_tpm: EMF of the bank by turns/min at 20 degC; base_w: what the
    converter takes at no coil current; wish_tpm: the target that the rig asks for, None for
    the cheapest; shut: index of the broken limit that no pace
    mends, or -1.
    """

    kind: str
    usb: bool
    parallel: Any
    strings: Any
    k: Any
    emf_tpm: Any
    ohm: Any
    motor_ohm: Any
    brush_v: Any
    brush_knee_a: Any
    motor_brush_v: Any
    diode_v: Any
    diode_knee_a: Any
    friction_nm: Any
    drag: Any
    rad_tpm: Any
    nm_gear: Any
    crank_nm: Any
    bleed: Any
    board_w: Any
    board_drop_v: Any
    board_off_v: Any
    series_ohm: Any
    switch_ohm: Any
    set_v: Any
    set_a: Any
    out_w: Any
    base_w: Any
    loss_v: Any
    loss_ohm: Any
    low_v: Any
    stops: Any
    high_v: Any
    pass_v: Any
    in_limit_a: Any
    node_low_v: Any
    node_high_v: Any
    node_high_name: Any
    max_a: Any
    max_winding_c: Any
    mount_max_c: Any
    winding_k_w: Any
    case_k_w: Any
    max_nm: Any
    power_w: Any
    slow_tpm: Any
    wish_tpm: Any
    fast_tpm: Any
    fast_name: Any
    cold_c: Any
    hot_c: Any
    wake_v: Any
    shut: Any
    live: Level | None
    start: Level
    passing: Level | None
    arrays: tuple[str, ...] = ()
    levels: tuple[str, ...] = ()

    def take(self, which: Any) -> Frame:
        """These builds only; which: a slice, flags or indices."""
        made = copy(self)
        for name in self.arrays:
            setattr(made, name, getattr(self, name)[which])
        for name in self.levels:
            one = getattr(self, name)
            setattr(made, name, Level(*(value[which] if isinstance(value, np.ndarray) else value
                                        for value in (one.volts, one.motor_a))))
        return made

    def sort(self) -> None:
        """Notes which fields are arrays of builds, for `take`."""
        self.arrays = tuple(f.name for f in fields(self)
                            if getattr(getattr(self, f.name), "ndim", 0))
        self.levels = tuple(f.name for f in fields(self)
                            if isinstance(getattr(self, f.name), Level))


def size(values: Mapping[str, ArrayLike]) -> int:
    """Number of builds, one value each [SI]; ValueError where lengths differ or a value is no
    finite number.

    >>> size({"motor.terminal_ohm": [1.0, 2.0], "converter.out_v": 5.0})
    2
    """
    n = 1
    for key, value in values.items():
        array = np.asarray(value, dtype=float)
        if array.ndim > 1 or array.size == 0 or (array.size > 1 and n not in (1, array.size)):
            raise ValueError(f"{key}: one number, or as many in a row as the others have")
        if not np.isfinite(array).all():
            raise ValueError(f"{key}: not a finite number")
        n = max(n, array.size)
    return n


def part(values: Mapping[str, ArrayLike], start: int, stop: int) -> Mapping[str, ArrayLike]:
    """The same of builds start to stop only.

    >>> part({"motor.terminal_ohm": [1.0, 2.0, 3.0], "converter.out_v": 5.0}, 1, 3)
    {'motor.terminal_ohm': array([2., 3.]), 'converter.out_v': 5.0}
    """
    return {key: np.asarray(value)[start:stop] if np.ndim(value) and np.size(value) > 1 else value
            for key, value in values.items()}


def spread(rig: Rig, values: Mapping[str, ArrayLike]) -> Rig:
    """The rig with its fields replaced by arrays [SI]; KeyError for a key it has not.

    A converter's loss constants stand in place of its measured points.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> wide = spread(hut, {"motor.terminal_ohm": [1.34, 6.0], "train.ratio": 20.0})
    >>> wide.motor.terminal_ohm.tolist(), wide.stages[0].ratio
    ([1.34, 6.0], 20.0)
    """
    constants = converter.loss_constants(rig.converter)
    rig = replace(rig, converter=replace(rig.converter, points=()))
    for key, constant in zip(LOSSES, constants, strict=True):
        rig = with_value(rig, key, constant)
    if "train.ratio" in values or "train.efficiency" in values:
        rig = replace(rig, stages=(Stage(ratio=gears.ratio(rig.stages),
                                         efficiency=gears.efficiency(rig.stages)),))
    for key, value in values.items():
        array = np.array(value, dtype=float)
        if array.size == 1:
            array = array.reshape(())
        if key in ("train.ratio", "train.efficiency"):
            key = "stage[1]." + key.removeprefix("train.")  # noqa: PLW2901
        if key == "motor.emf_v_per_krpm" or array.ndim:
            rig = with_value(rig, key, array)
        else:
            rig = with_value(rig, key, float(array))
    return rig


def build(rig: Rig, names: tuple[str, ...], n: int) -> Frame:
    """The frame of n builds of a rig whose fields may be arrays; names: of the limits.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> two.ohm.tolist(), round(float(two.base_w), 6)  # 5.1 V x 0.5 A, and 0.04 W
    ([2.68, 12.0], 2.59)
    >>> round(float(two.emf_tpm), 6)  # two motors of 3.06 V per 1000 rpm, 1:25
    0.153
    """
    m, part, board = rig.motor, rig.converter, rig.supply
    linear = part.kind == "linear"
    series, parallel = rig.bank.series, rig.bank.parallel
    k = motor.emf_constant(m)
    ratio, gear = gears.ratio(rig.stages), gears.efficiency(rig.stages)
    path = load.path_ohm(rig)
    set_a = load.draw(rig.load, path, part.out_v)[0]
    out_v = part.out_v - set_a * path
    ends = part.out_v + part.pass_drop_v
    low_v, high_v = part.stop_v, part.max_in_v
    if part.kind in ("buck", "linear"):
        low_v = np.maximum(low_v, part.out_v + part.headroom_v)
    pass_v: Any = np.inf
    if part.kind == "boost":
        high_v, pass_v = np.minimum(high_v, part.out_v), ends
    node_low: Any = 0.0
    if board.feed == "crank":
        node_low = board.fade_v + board.drop_v
    node_high, node_name = _node_high(rig, names)
    fast, fast_name = highest_tpm(rig, names)
    through = 1 if rig.bank.diode_each else parallel
    frame = Frame(
        kind=part.kind, usb=rig.load.kind in load.USB, parallel=parallel,
        strings=series * k, k=k,
        emf_tpm=series * k * ratio * RPM, ohm=series * m.terminal_ohm,
        motor_ohm=m.terminal_ohm, brush_v=series * m.brush_drop_v,
        brush_knee_a=m.brush_knee_a, motor_brush_v=m.brush_drop_v,
        diode_v=DIODES[rig.rectifier.kind] * rig.rectifier.drop_v,
        diode_knee_a=rig.rectifier.knee_a / through, friction_nm=k * m.no_load_a,
        drag=m.drag_nm_s, rad_tpm=ratio * RPM,
        nm_gear=series * parallel * ratio / gear, crank_nm=rig.crank.friction_nm,
        bleed=1 / rig.bus.bleed_ohm, board_w=supply.draw_w(board),
        board_drop_v=board.drop_v, board_off_v=board.off_v, series_ohm=series_ohm(rig),
        switch_ohm=series_ohm(rig) - rig.sensor.shunt_ohm, set_v=part.out_v, set_a=set_a,
        out_w=out_v * set_a,
        base_w=part.loss_w + (0.0 if linear else part.out_v * set_a),
        loss_v=0.0 if linear else part.loss_v, loss_ohm=0.0 if linear else part.loss_ohm,
        low_v=low_v, stops=low_v <= part.stop_v, high_v=high_v, pass_v=pass_v,
        in_limit_a=part.in_limit_a * (1 - HAIR), node_low_v=node_low,
        node_high_v=node_high, node_high_name=node_name, max_a=m.max_a,
        max_winding_c=m.max_winding_c, mount_max_c=rig.bank.mount_max_c,
        winding_k_w=m.winding_case_k_w, case_k_w=m.case_air_k_w,
        max_nm=rig.arm.force_n * rig.crank.radius_m, power_w=rig.arm.power_w,
        slow_tpm=slowest_tpm(rig), wish_tpm=rig.band.target_tpm,
        fast_tpm=fast, fast_name=fast_name, cold_c=rig.air.cold_c, hot_c=rig.air.hot_c,
        wake_v=board.wake_v if board.feed == "crank" else 0.0,
        shut=_shut(rig, names, set_a, out_v), live=None, start=Level(0.0, 0.0), passing=None)
    frame.start = level(frame, part.start_v)
    frame.sort()
    if board.feed == "crank":
        frame.live = _above_fold(frame, board.off_v + board.drop_v, n)
        frame.start = _above_fold(frame, part.start_v, n)
    if part.kind == "boost":
        frame.passing = level(frame, ends, set_a + part.loss_w / ends)
    frame.slow_tpm = np.maximum(frame.slow_tpm, SLOWEST_TPM)
    frame.fast_tpm = np.minimum(frame.fast_tpm, FASTEST_TPM)
    frame.sort()
    return frame


def level(frame: Frame, in_v: Any, in_a: Any = 0.0) -> Level:
    """in_v [V], in_a [A]: at the converter's terminals, of each build.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> idle = level(two, 3.6)  # 3.6 V, board and bleed through brushes and diode
    >>> round(float(idle.volts), 2), round(3.6 / 4700 + 0.12 / (3.6 - 0.3), 4)
    (4.28, 0.0371)
    >>> round(float(idle.motor_a), 4)
    0.0371
    """
    node_v = in_v + frame.series_ohm * in_a
    motor_a = (in_a + board_a(frame, node_v)[0] + frame.bleed * node_v) / frame.parallel
    volts = (node_v + frame.brush_v * np.tanh(motor_a / frame.brush_knee_a)
             + frame.diode_v * np.tanh(motor_a / frame.diode_knee_a))
    return Level(volts, motor_a)


def _above_fold(frame: Frame, node_v: Any, n: int) -> Level:
    """The idle bus at node_v, or, where its board draws so much that less EMF gives more
    volts, at the fold above it: the least EMF with which the bus reaches node_v."""
    node_v = np.broadcast_to(node_v, (n,)).astype(float)
    motor_a = level(frame, node_v).motor_a
    by_v = frame.bleed + board_a(frame, node_v)[1]
    steep = frame.ohm * WARM + sum(
        full / knee / np.cosh(np.minimum(motor_a / knee, 300.0)) ** 2 for full, knee in (
            (frame.brush_v, frame.brush_knee_a), (frame.diode_v, frame.diode_knee_a)))
    which = np.nonzero(1 + by_v * steep / frame.parallel < 0)[0]
    if which.size:  # rare
        some, low = frame.take(which), node_v[which]
        high, every = 4 * low, np.arange(which.size)
        for _ in range(6):
            fan = low + (high - low) * np.linspace(0.0, 1.0, 9)[:, None]
            at = level(some, fan)
            row = np.argmin(at.volts + at.motor_a * (some.ohm * WARM), axis=0)
            low, high = fan[np.maximum(row - 1, 0), every], fan[np.minimum(row + 1, 8), every]
        node_v[which] = fan[row, every]
    return level(frame, node_v)


def board_a(frame: Frame, node_v: Any) -> tuple[Any, Any]:
    """`supply.amps` of each build: current of the board [A], and its slope [A/V].

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> [round(float(value), 4) for value in board_a(two, 5.3)]
    [0.024, -0.0048]
    """
    if not isinstance(frame.board_w, np.ndarray) and not frame.board_w:
        return 0.0, 0.0
    behind = node_v - frame.board_drop_v
    held = np.maximum(behind, frame.board_off_v)
    amps = frame.board_w / held
    return amps, -amps / held * (behind > frame.board_off_v)


def _node_high(rig: Rig, names: tuple[str, ...]) -> tuple[Any, Any]:
    guard = rig.protection
    cut = np.inf if guard.bus_cut_v is None else guard.bus_cut_v
    clamp = np.inf if guard.bus_clamp_v is None else guard.bus_clamp_v
    name = np.where(np.less_equal(cut, clamp), names.index("bus_cut"), names.index("clamp"))
    return np.minimum(cut, clamp) * (1 - HAIR), name


def _shut(rig: Rig, names: tuple[str, ...], set_a: Any, out_v: Any) -> Any:
    """What the set point alone breaks, at every pace."""
    part, device, guard, board = rig.converter, rig.load, rig.protection, rig.supply
    broken: list[tuple[str, Any]] = [
        ("output_limit", set_a > part.out_limit_a * (1 - HAIR))]
    if device.kind in load.USB:
        broken.append(("output_low", out_v < device.sag_v))
    if device.kind != "none":
        broken.append(("output_high", out_v > device.max_v))
    if guard.output_cut_v is not None:
        broken.append(("output_cut", part.out_v > guard.output_cut_v * (1 - HAIR)))
    if board.feed == "crank":
        broken.append(("board_fade", np.less(board.reservoir_max_v, board.fade_v)))
    if guard.bus_clamp_v is not None:
        broken.append(("start", np.less(guard.bus_clamp_v, part.start_v)))
    shut: Any = -1
    for name, where in reversed(broken):
        shut = np.where(where, names.index(name), shut)
    return shut
