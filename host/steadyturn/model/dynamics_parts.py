"""What a rig's parts come to in the machine's equations: constants made once, so that a
step is arithmetic on numbers. Equations and sources stand with the parts and in
dynamics.md."""

from __future__ import annotations

from math import exp, inf, sqrt, tanh
from typing import Any

from steadyturn.model import bank, converter, gears, line, load, motor
from steadyturn.model.rectifier import DIODES
from steadyturn.rig.types import RPM, Rig

# Assumptions of this model, not of a rig: they shape a few milliseconds and no mean.
FEED_LIMIT_A = 0.5  # the board's regulator takes no more while it fills the reservoir
FEED_OHM = 0.5  # diode and wire between bus and regulator
CLAMP_OHM = 0.01  # how far a clamp gives way
BLEED_OHM = 1e5  # the converter's feedback divider empties an output that nothing fills
SMALL_SWAY = 0.02  # L / (R^2 C) up to which inductance is left out: below 1 % of the volts
RINGING = 1.0  # L / (R^2 C) from which on what follows an event is taken in fine steps

Cut = tuple[Any, ...]


class Parts:
    """Constants of one rig for steps of `step_s` [s]; `warm` sets those that heat moves.
    Names end in their unit where it is not plain: SI throughout, speeds of the handle."""

    def __init__(self, rig: Rig, step_s: float) -> None:
        motors = rig.bank.series * rig.bank.parallel
        ratio = gears.ratio(rig.stages)
        part = rig.converter
        self.rig = rig
        self.step_s = step_s
        self.air_c = (rig.air.cold_c + rig.air.hot_c) / 2

        # -- the handle; torques and inertia as felt there
        self.eta = gears.efficiency(rig.stages)
        self.inertia = rig.crank.inertia_kg_m2 + motors * rig.motor.inertia_kg_m2 * ratio**2
        still_nm = float(motor.friction_nm(rig.motor, 0.0))
        per_rad_s = float(motor.friction_nm(rig.motor, 1.0)) - still_nm
        self.motor_rest_nm = motors * still_nm * ratio  # before the gears' losses
        self.motor_viscous = motors * per_rad_s * ratio**2
        self.crank_nm = rig.crank.friction_nm
        self.rest_nm = self.crank_nm + self.motor_rest_nm / self.eta
        self.viscous = self.motor_viscous / self.eta
        # of the friction felt at the handle, the share that comes through the gears
        self.rub_share = self.motor_rest_nm / self.eta / self.rest_nm if self.rest_nm else 0.0

        # -- the source: drops are those of the whole bank at the bank's current
        self.bridge = rig.rectifier.kind == "bridge"
        self.blocks = rig.rectifier.kind != "none"
        self.brush_v = rig.bank.series * rig.motor.brush_drop_v
        self.brush_a = 1 / (rig.bank.parallel * rig.motor.brush_knee_a)
        self.diode_v = DIODES[rig.rectifier.kind] * rig.rectifier.drop_v
        through = rig.bank.parallel if rig.bank.diode_each else 1
        self.diode_a = 1 / (through * rig.rectifier.knee_a)
        self.motors = motors
        self._kc = bank.emf_v_per_tpm(rig, 20.0) / RPM
        self._kc_per_k = (bank.emf_v_per_tpm(rig, 30.0) / RPM - self._kc) / 10
        self._ohm = bank.source_ohm(rig, 20.0)
        self._ohm_per_k = (bank.source_ohm(rig, 30.0) - self._ohm) / 10
        henry = rig.bank.series * rig.motor.inductance_h / rig.bank.parallel

        # -- the bus
        self.bus_f = rig.bus.capacitor_f
        self.bus_bleed = 1 / rig.bus.bleed_ohm
        # inductance counts where L / R is not small against R C (dynamics.md)
        sways = henry / (self._ohm**2 * self.bus_f)
        self.henry = henry if sways > SMALL_SWAY else 0.0
        self.sway_s = sqrt(henry * self.bus_f) if sways > RINGING else 0.0
        clamp = rig.protection.bus_clamp_v
        self.clamp_v = inf if clamp is None else clamp
        self.clamp_s = 1 / CLAMP_OHM
        cuts = rig.protection
        self.bus_cut_v = inf if cuts.bus_cut_v is None else cuts.bus_cut_v
        self.output_cut_v = inf if cuts.output_cut_v is None else cuts.output_cut_v
        self.r_shunt = rig.sensor.shunt_ohm
        self.r_out_shunt = rig.sensor.out_shunt_ohm or 0.0
        self.r_input = line.series_ohm(rig)
        self.place = rig.switch.place
        self.switch_ohm = rig.switch.on_ohm if self.place != "enable" else 0.0

        # -- the board's supply
        self.feed_from_bus = rig.supply.feed == "crank"
        self.board_w = rig.supply.power_w
        self.board_off_v = rig.supply.off_v
        self.feed_drop_v = rig.supply.drop_v
        self.feed_limit_a = FEED_LIMIT_A
        self.reservoir_f = rig.supply.reservoir_f
        self.reservoir_max_v = rig.supply.reservoir_max_v

        # -- the converter
        self.kind = part.kind
        self.boost = part.kind == "boost"
        self.linear = part.kind == "linear"
        self.drops_out = part.kind in ("buck", "linear")
        self.passes = converter.passes_when_off(part)
        self.coil = converter.coil(part.kind)
        self.loss_w, self.loss_v, self.loss_ohm = converter.loss_constants(part)
        self.set_v, self.start_v, self.stop_v = part.out_v, part.start_v, part.stop_v
        self.in_limit, self.out_limit = part.in_limit_a, part.out_limit_a
        self.direct_v = part.pass_drop_v if self.boost else part.headroom_v
        self.soft_s = part.soft_start_s
        self.out_f = part.out_capacitor_f

        # -- the device: amps = min(device_a, slope * (volts - device_min_v)) at the output
        self.r_path = load.path_ohm(rig)
        self.device_slope, self.device_min_v, self.device_a = 0.0, 0.0, 0.0
        if rig.load.kind == "resistor":
            self.device_slope = 1 / ((rig.load.resistance_ohm or 1e9) + self.r_path)
            self.device_a = inf
        elif rig.load.kind != "none":
            self.device_a, self.device_min_v = rig.load.draw_a, rig.load.min_v
            full_v = load.volts_for(rig.load, self.r_path, self.device_a)
            self.device_slope = self.device_a / max(full_v - self.device_min_v, 1e-9)
        self.warm(20.0)

    def warm(self, winding_c: float) -> None:
        """Set what depends on the winding's temperature [degC]."""
        above = winding_c - 20.0
        # V s/rad and N m/A, at the handle
        self.kc = max(self._kc + self._kc_per_k * above, 0.1 * self._kc)
        self.r_source = max(self._ohm + self._ohm_per_k * above, 0.1 * self._ohm)
        # how the bank's current slows the handle, for the choice of the step's weight
        self.load_slope = self.kc**2 / (self.eta * self.r_source)
        self._cuts: dict[float, Cut] = {}
        self.whole = self.cut_of(self.step_s)

    def cut_of(self, h: float) -> Cut:
        """`cut`, remembered until the winding's temperature changes."""
        found = self._cuts.get(h)
        if found is None:
            found = self.cut(h)
            if len(self._cuts) < 64:
                self._cuts[h] = found
        return found

    def cut(self, h: float) -> Cut:
        """All constants for steps of h [s], in the order that `dynamics_step` takes them."""
        x = h / self.bus_f
        left = exp(-h / (BLEED_OHM * self.out_f))
        soft_step = h / self.soft_s if self.soft_s else 1.0
        return (
            h, h / 2, self.kc, self.r_source, self.inertia / h, self.rest_nm, self.viscous,
            self.load_slope, self.eta, self.bridge, self.blocks,
            self.brush_v, self.brush_a, self.diode_v, self.diode_a,
            self.brush_v * self.brush_a, self.diode_v * self.diode_a, self.henry / h,
            self.bus_f / h, _fit(x * (1 / self.r_source + self.bus_bleed)),
            _fit(x * self.bus_bleed),  # while the rectifier blocks
            self.bus_bleed, self.r_input, self.r_shunt,
            self.place == "enable", self.place == "bus_switch",
            self.boost, self.linear, self.passes, self.drops_out,
            self.set_v, self.start_v, self.stop_v, self.in_limit, self.out_limit,
            self.loss_w, self.loss_v, self.loss_ohm, self.coil, self.direct_v,
            soft_step, self.out_f / h, 1 - left, 1 / left**2 - 1,
            self.device_slope, self.device_min_v, self.device_a, self.r_path,
            self.clamp_v, self.clamp_s, self.bus_cut_v, self.output_cut_v,
            self.feed_from_bus, self.feed_drop_v, self.feed_limit_a,
            FEED_OHM + h / self.reservoir_f, self.reservoir_f / h, self.reservoir_max_v,
            self.board_off_v, self.board_w,
        )

    def warmer(self, winding_c: float, wound_j: float, rest_j: float, seconds: float) -> float:
        """Winding temperature [degC] after `seconds` in which all motors' windings made
        wound_j [J], brushes and bearings rest_j [J]; settles where `model.thermal` does."""
        part = self.rig.motor
        watts = 1 / (self.motors * seconds)
        goal = self.air_c + watts * (
            (wound_j + rest_j) * part.case_air_k_w + wound_j * part.winding_case_k_w)
        lag_s = (part.winding_case_k_w + part.case_air_k_w) * part.winding_j_k
        return goal + (winding_c - goal) * exp(-seconds / lag_s)


def _fit(x: float) -> float:
    """Weight of the step's end that is exact for a capacitor behind a resistance; x: step
    over time constant."""
    return 0.5 + x / 12 if x < 1e-3 else 1 / (1 - exp(-x)) - 1 / x


def device_a(volts: float, slope: float, min_v: float, most_a: float) -> float:
    """Current of the device [A] with `volts` [V] at the converter's output: slope [A/V] times
    what is above min_v [V], at most most_a [A].

    >>> device_a(4.6, 1.0, 4.1, 0.4), round(device_a(4.3, 1.0, 4.1, 0.4), 3)
    (0.4, 0.2)
    """
    amps = slope * (volts - min_v)
    if amps >= most_a:
        return most_a
    return amps if amps > 0.0 else 0.0


def settle(start_v: float, in_a: float, co_h: float, slope: float, min_v: float,
           most_a: float) -> float:
    """Output [V] a step later when the converter gives in_a [A]; co_h: capacitor / step [F/s],
    the rest as in `device_a`, whose current flows at the volts of the step's end.

    >>> volts = settle(5.0, 0.3, 0.1, 1.0, 4.1, 0.5)
    >>> round(0.1 * (volts - 5.0), 6) == round(0.3 - device_a(volts, 1.0, 4.1, 0.5), 6)
    True
    """
    volts = start_v + (in_a - most_a) / co_h
    if slope * (volts - min_v) >= most_a:
        return volts
    volts = (co_h * start_v + in_a + slope * min_v) / (co_h + slope)
    return volts if volts >= min_v else start_v + in_a / co_h


def settle_power(start_v: float, in_w: float, co_h: float, slope: float, min_v: float,
                 most_a: float) -> float:
    """Output [V] a step later when the converter gives in_w [W]; below zero counts as none.
    The rest as in `settle`.

    >>> volts = settle_power(5.0, 2.0, 0.1, 1.0, 4.1, 0.5)
    >>> round(0.1 * (volts - 5.0), 6) == round(2.0 / volts - device_a(volts, 1.0, 4.1, 0.5), 6)
    True
    """
    if in_w <= 0.0:
        return settle(start_v, 0.0, co_h, slope, min_v, most_a)
    if most_a < inf:
        volts = _root(co_h, most_a - co_h * start_v, in_w)
        if slope * (volts - min_v) >= most_a:
            return volts
    volts = _root(co_h + slope, -co_h * start_v - slope * min_v, in_w)
    return volts if volts >= min_v else _root(co_h, -co_h * start_v, in_w)


def _root(a: float, b: float, power: float) -> float:
    """Upper root of a * v**2 + b * v = power."""
    q = sqrt(b * b + 4.0 * a * power)
    return 2.0 * power / (b + q) if b > 0.0 else (q - b) / (2.0 * a)


def source_a(over_v: float, r: float, brush_v: float, brush_a: float, diode_v: float,
             diode_a: float) -> float:
    """Current [A] of the source with `over_v` [V] across its resistance r [ohm] and drops [V],
    brush_a and diode_a [1/A] one over the currents of their knees; none below zero volts.

    >>> source_a(3.0, 2.0, 0.2, 50.0, 0.35, 50.0)  # (3 - 0.55) / 2
    1.225
    """
    if over_v <= 0.0:
        return 0.0
    # from below, on a concave curve: Newton's steps never pass the root
    amps = max(0.0, over_v - brush_v - diode_v) / r
    for _ in range(40):
        b, d = tanh(amps * brush_a), tanh(amps * diode_a)
        miss = over_v - r * amps - brush_v * b - diode_v * d
        slope = r + brush_v * brush_a * (1 - b * b) + diode_v * diode_a * (1 - d * d)
        amps += miss / slope
        if abs(miss) < 1e-9:
            break
    return amps
