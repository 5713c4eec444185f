"""The operating point once more, written out separately for one point and solved by
scipy's brentq: the tests' second opinion on `model.point`.

Nothing of the model is imported. The parameter is the current of one motor; the
volts fall as it grows, so that the first crossing is the upper root.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, sqrt, tanh

from scipy.optimize import brentq

STEPS = 700


@dataclass
class Answer:
    runs: bool
    regime: str = ""
    motor_a: float = 0.0
    bus_v: float = 0.0
    bus_a: float = 0.0
    out_v: float = 0.0
    out_a: float = 0.0
    arm_w: float = 0.0


class Machine:
    def __init__(self, rig, pace_tpm: float, winding_c: float = 20.0):
        m, self.rig = rig.motor, rig
        if m.emf_v_s is not None:
            k = m.emf_v_s
        else:
            k = (m.rated_v - m.no_load_a * m.terminal_ohm - m.brush_drop_v) / m.no_load_rad_s
        self.friction = k * m.no_load_a
        self.k = k * (1 - 0.002 * (winding_c - 20))
        self.ohm = m.terminal_ohm * (1 + 0.00393 * (winding_c - 20))
        self.gear, self.efficiency = 1.0, 1.0
        for stage in rig.stages:
            teeth = stage.driver_teeth is not None
            self.gear *= stage.driver_teeth / stage.driven_teeth if teeth else stage.ratio
            self.efficiency *= stage.efficiency
        self.crank = pace_tpm * 2 * pi / 60
        self.speed = self.gear * self.crank
        across = 0.127e-3 * 92 ** ((36 - rig.load.cable_awg) / 39)
        self.cable = 2 * rig.load.cable_m * 1.724e-8 / (pi / 4 * across**2)
        place = rig.switch.place
        self.r_in = rig.sensor.shunt_ohm + (rig.switch.on_ohm if place == "bus_switch" else 0)
        self.r_out = self.cable + (rig.switch.on_ohm if place == "output_switch" else 0)
        self.set_v = rig.converter.out_v
        if self.draw(self.set_v) > rig.converter.out_limit_a:
            most = rig.converter.out_limit_a
            self.set_v = brentq(lambda v: self.draw(v) - most, 0, self.set_v, xtol=1e-14)

    def draw(self, volts: float) -> float:
        """Device current with the converter's output at `volts`."""
        load = self.rig.load
        if load.kind == "none" or volts <= 0:
            return 0.0
        if load.kind == "resistor":
            return volts / (load.resistance_ohm + self.r_out)
        full = load.draw_a
        if volts - full * self.r_out >= load.sag_v:
            return full
        if volts <= load.min_v:
            return 0.0
        # full * (v_dev - min) / (sag - min) = i, v_dev = volts - i * r_out
        g = full / (load.sag_v - load.min_v)
        return min(full, g * (volts - load.min_v) / (1 + g * self.r_out))

    def node(self, i: float) -> float:
        rig = self.rig
        volts = rig.bank.series * (self.k * self.speed - i * self.ohm
                                   - rig.motor.brush_drop_v * tanh(i / rig.motor.brush_knee_a))
        n = {"none": 0, "schottky": 1, "bridge": 2}[rig.rectifier.kind]
        through = i if rig.bank.diode_each else i * rig.bank.parallel
        return volts - n * rig.rectifier.drop_v * tanh(through / rig.rectifier.knee_a)

    def board(self, node_v: float) -> float:
        supply = self.rig.supply
        if supply.feed != "crank":
            return 0.0
        return supply.power_w / max(node_v - supply.drop_v, supply.off_v)

    def demand(self, v: float) -> tuple[float, str]:
        """Current a running converter takes at `v` volts on its terminals, and how."""
        c, rig = self.rig.converter, self.rig
        if v <= 0:
            return 0.0, "none"
        loss = (c.loss_w, c.loss_v, c.loss_ohm) if c.kind != "linear" else (c.loss_w, 0, 0)
        a0, a1, a2 = loss
        out_a = self.draw(self.set_v)
        regime = "limited" if self.set_v < rig.converter.out_v else "regulating"
        need = self.set_v * out_a + a0

        def by_input() -> float:  # v i = need + a1 i + a2 i**2, the smaller root
            b = v - a1
            under = b * b - 4 * a2 * need
            return inf if b <= 0 or under < 0 else 2 * need / (b + sqrt(under))

        def by_output(volts: float) -> float:
            i = self.draw(volts)
            return (volts * i + a0 + a1 * i + a2 * i * i) / v

        if c.kind == "boost":
            passed = self.draw(v - c.pass_drop_v) + a0 / v
            if v > self.set_v + c.pass_drop_v:
                return passed, "pass_through"
            i = by_input()
            if i <= c.in_limit_a:
                return i, regime
            # the input limit cannot hold back what passes by itself
            limited = c.in_limit_a, "limited"
            return (passed, "pass_through") if passed > c.in_limit_a else limited
        if c.kind == "buck_boost":
            i = by_output(self.set_v)
            if i > out_a:
                i = max(by_input(), out_a)
        else:
            volts = self.set_v
            if v < self.set_v + c.headroom_v:
                volts, regime = v - c.headroom_v, "dropout"
            i = by_output(volts) if c.kind == "buck" else self.draw(volts) + a0 / v
        return (c.in_limit_a, "limited") if i > c.in_limit_a else (i, regime)

    def into(self, i: float) -> float:
        node_v = self.node(i)
        return (self.rig.bank.parallel * i - self.board(node_v)
                - node_v / self.rig.bus.bleed_ohm)

    def excess(self, i: float) -> float:
        """Current given less current wanted."""
        given = self.into(i)
        return given - self.demand(self.node(i) - given * self.r_in)[0]

    def solve(self) -> Answer:
        rig = self.rig
        emf = rig.bank.series * self.k * self.speed
        top = emf / (rig.bank.series * self.ohm)
        if top <= 0:
            return Answer(False)
        before = 0.0
        for step in range(1, STEPS + 1):
            # fine near no current, where the drops set in
            i = top * (step / STEPS) ** 3
            if self.node(i) - self.into(i) * self.r_in < 0.5 * rig.converter.stop_v:
                return Answer(False)
            if self.excess(i) >= 0:
                return self.answer(brentq(self.excess, before, i, xtol=1e-16, rtol=1e-15))
            before = i
        return Answer(False)

    def answer(self, i: float) -> Answer:
        rig, node_v, in_a = self.rig, self.node(i), self.into(i)
        clamp = rig.protection.bus_clamp_v
        if clamp is not None and node_v > clamp:
            i = brentq(lambda x: self.node(x) - clamp, 0, 1e3, xtol=1e-16, rtol=1e-15)
            node_v = clamp

            def over(a: float) -> float:
                return a - self.demand(clamp - a * self.r_in)[0]

            in_a = brentq(over, 0, clamp / self.r_in, xtol=1e-16, rtol=1e-15)
            if self.into(i) < in_a:  # the source cannot feed it at the clamp's volts
                return Answer(False)
        v = node_v - in_a * self.r_in
        if v < rig.converter.stop_v:
            return Answer(False)
        _, regime = self.demand(v)
        torque = rig.bank.series * rig.bank.parallel * (
            self.k * i + self.friction + rig.motor.drag_nm_s * self.speed)
        arm_w = (torque * self.gear / self.efficiency + rig.crank.friction_nm) * self.crank
        return Answer(True, regime, i, node_v - in_a * rig.sensor.shunt_ohm, in_a, arm_w=arm_w)
