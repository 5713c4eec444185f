"""A whole machine with a buck converter for scipy's integrator, written out a second time:
thresholds as its events, soft start, device, inductance. Only the rig's numbers are shared."""

from math import tanh

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

BLEED_OHM = 1e5  # the assumption of dynamics.md


class Whole:
    """State: theta, w, bus volts, current of the bank, output volts, arm's work, energy to the
    device. connected: the load, behind a bus switch."""

    def __init__(self, made, winding_c, hand, *, coil=True):
        motor, n_s, n_p = made.motor, made.bank.series, made.bank.parallel
        ratio = made.stages[0].ratio * made.stages[1].ratio
        self.hand, self.part, self.load = hand, made.converter, made.load
        self.eta = made.stages[0].efficiency * made.stages[1].efficiency
        self.k = n_s * ratio * motor.emf_v_s * (1 - 0.002 * (winding_c - 20))
        self.ohm = n_s * motor.terminal_ohm * (1 + 0.00393 * (winding_c - 20)) / n_p
        self.henry = n_s * motor.inductance_h / n_p if coil else 0.0
        self.drops = ((n_s * motor.brush_drop_v, n_p * motor.brush_knee_a),
                      (made.rectifier.drop_v, made.rectifier.knee_a))
        self.inertia = made.crank.inertia_kg_m2 + n_s * n_p * motor.inertia_kg_m2 * ratio**2
        self.still = (made.crank.friction_nm
                      + n_s * n_p * motor.emf_v_s * motor.no_load_a * ratio / self.eta)
        self.viscous = n_s * n_p * motor.drag_nm_s * ratio**2 / self.eta
        self.farad, self.bleed = made.bus.capacitor_f, made.bus.bleed_ohm
        self.series = made.sensor.shunt_ohm + made.switch.on_ohm
        gauge = 0.127e-3 * 92 ** ((36 - made.load.cable_awg) / 39)
        self.cable = 2 * made.load.cable_m * 1.724e-8 / (np.pi * gauge**2 / 4)

    def device_a(self, out_v):
        load = self.load
        span = load.sag_v - load.min_v + load.draw_a * self.cable
        return min(max(load.draw_a * (out_v - load.min_v) / span, 0.0), load.draw_a)

    def source_a(self, w, v):
        spare = self.k * w - v
        if spare <= 0:
            return 0.0
        return brentq(lambda i: spare - self.ohm * i - sum(u * tanh(i / a) for u, a in self.drops),
                      0.0, spare / self.ohm + 1e-12, xtol=1e-10)

    def into(self, v, watts):
        """Current that takes `watts` behind shunt and switch."""
        return 2 * watts / (v + max(v * v - 4 * self.series * watts, 0.0) ** 0.5)

    def taken_w(self, out_v, io):
        p = self.part
        return out_v * io + p.loss_w + io * (p.loss_v + p.loss_ohm * io)

    def bus_a(self, phase, v, out_v):
        """Current from the bus and slope of the output."""
        p = self.part
        idev = self.device_a(out_v)
        if phase in ("off", "waits"):  # waits: the set point is below what is left there
            drawn = 0.0 if phase == "off" else self.into(v, p.loss_w)
            return drawn, -(idev + out_v / BLEED_OHM) / p.out_capacitor_f
        rate = p.out_v / p.soft_start_s if phase == "rises" else 0.0
        io = idev + p.out_capacitor_f * rate
        return self.into(v, self.taken_w(out_v, io)), rate

    def slopes(self, phase):
        def of(t, y):
            theta, w, v, i, out_v = y[:5]
            push = self.hand.torque_nm(t, theta, w)
            if self.henry:
                volts = (self.k * w - v - self.ohm * i
                         - sum(u * tanh(i / a) for u, a in self.drops))
                rate = volts / self.henry if i > 0 or volts > 0 else 0.0
                i = max(i, 0.0)
            else:
                i, rate = self.source_a(w, v), 0.0
            drawn, out_rate = self.bus_a(phase, v, out_v)
            rub = self.still if w > 1e-9 else min(max(push, 0.0), self.still)
            turn = (push - rub - self.viscous * w - self.k * i / self.eta) / self.inertia
            return [w, turn, (i - drawn - v / self.bleed) / self.farad, rate, out_rate, push * w,
                    self.device_a(out_v) * (out_v - self.cable * self.device_a(out_v))]
        return of

    def watch(self, phase, began):
        """What ends this phase; the first is the converter's start or stop."""
        p = self.part

        def starts(t, y):
            return y[2] - p.start_v

        def stops(t, y):
            return y[2] - self.series * self.bus_a(phase, y[2], y[4])[0] - p.stop_v

        def meets(t, y):  # the set point comes up to what is left
            return p.out_v * (t - began) / p.soft_start_s - y[4]

        for event, direction in ((starts, 1), (stops, -1), (meets, 1)):
            event.terminal, event.direction = True, direction
        if phase == "off":
            return [starts]
        return [stops, meets] if phase == "waits" else [stops]

    def run(self, start, seconds, *, connected=True, on=False, method="LSODA", most=40,
            rtol=1e-7, atol=1e-8, max_step=2e-3):
        """(events, times, states): starts and stops with their times, up to `most`."""
        p = self.part
        t, y = 0.0, np.array([*start, 0.0, 0.0])
        phase, began = ("set" if on else "off"), 0.0
        log, times, states = [], [], []
        while t < seconds - 1e-9 and len(log) < most:
            watched = self.watch(phase, began) if connected else None
            until = min(seconds, began + p.soft_start_s) if phase == "rises" else seconds
            found = solve_ivp(self.slopes(phase), (t, until), y, method=method, rtol=rtol,
                              atol=atol, max_step=max_step, events=watched)
            times.append(found.t)
            states.append(found.y)
            t, y = float(found.t[-1]), found.y[:, -1].copy()
            if found.status == 0:
                if phase == "rises" and t >= began + p.soft_start_s - 1e-12:
                    phase, y[4] = "set", p.out_v
                continue
            if phase == "off":
                log.append((t, "starts"))
                phase, began = "waits", t
                if y[4] <= 1e-6:
                    phase = "rises"
            elif found.t_events[0].size:
                log.append((t, "stops"))
                phase = "off"
            else:
                phase = "rises"
        return log, np.concatenate(times), np.concatenate(states, axis=1)
