"""Many machines in time at once: the step of `dynamics_step` over arrays.

The same equations, the same step and the same rules as `Machine(locate=False)`, for rigs of
any kind together: what happens in a step is done at its ends, except that a collapse and the
hardware cuts act within it. Page: dynamics.md.
"""
# the names, and the order of what is done, are those of dynamics_step

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model.dynamics_batch_bus import Bus
from steadyturn.model.dynamics_parts import Parts
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEP_S = 0.002
_WARM_EVERY = 64
_PROBE = 0.01
_PASSES = 6  # a step is taken again at most so often: start, collapse, two cuts

# names of what Parts.cut gives, in its order
_NAMES = """
h half kc r_source inertia_h rest_nm viscous load_slope eta bridge blocks
brush_v brush_a diode_v diode_a brush_ohm diode_ohm l_h
c_h fit_source fit_alone leak rs r_shunt enable bus_switch
boost linear passes drops_out set_v start_v stop_v in_limit out_limit
loss_w loss_v loss_ohm coil direct_v soft_step co_h bleed bleed_j
full_slope min_d full_draw path clamp_v clamp_s cut_bus cut_out
feeds feed_v feed_a feed_r res_h full_v off_v board_w
"""
CUT = _NAMES.split()


class Hands(Protocol):
    """Whatever turns the handles of all machines."""

    def torque_nm(self, t_s: float, theta_rad: Floats, crank_rad_s: Floats) -> Floats: ...


class Machines:
    """Many rigs in time, from rest; arrays of n.

    rigs: n of them, or one; winding_c: at the start [degC], a number or n (None: between cold
    and hot air). State, as in `dynamics_account.State`: theta_rad, crank_rad_s, bus_v, in_v,
    in_a, motor_a, converter_v, converter_a, out_v, out_a, reservoir_v, winding_c,
    converter_on, bus_cut, output_cut. Sums since the start: arm_j, out_j, in_j, in_c, in_v_s,
    winding_j; starts: how often the converter started; peak_bus_v, peak_out_v.
    """

    theta_rad: Floats
    crank_rad_s: Floats
    motor_before_a: Floats
    wound_mark_j: Floats
    rest_mark_j: Floats

    def __init__(self, rigs: Sequence[Rig], *, winding_c: ArrayLike | None = None,
                 step_s: float = STEP_S) -> None:
        if not step_s > 0:
            raise ValueError(f"step_s is {step_s}: it must be above 0")
        self.step_s, self.steps, self.time_s = step_s, 0, 0.0
        self.parts = [Parts(rig, step_s) for rig in rigs]
        n = self.n = len(rigs)
        warm = [p.air_c for p in self.parts] if winding_c is None else winding_c
        self.winding_c = np.array(np.broadcast_to(np.asarray(warm, dtype=float), (n,)))
        for p, celsius in zip(self.parts, self.winding_c, strict=True):
            p.warm(float(celsius))
        rows = [p.cut(step_s) for p in self.parts]
        for name, column in zip(CUT, zip(*rows, strict=True), strict=True):
            setattr(self, name, np.array(column))
        self.blocks_flags: Flags = np.array([p.blocks for p in self.parts])
        self.coil_in: Flags = np.array([p.coil == "in" for p in self.parts])
        self.coil_larger: Flags = np.array([p.coil == "larger" for p in self.parts])
        self.feeds_at_first: Flags = np.array([p.feed_from_bus for p in self.parts])
        self.rub_share = np.array([p.rub_share for p in self.parts])
        for name in ("theta_rad", "crank_rad_s", "bus_v", "in_v", "in_a", "motor_a",
                     "converter_v", "converter_a", "out_v", "out_a", "soft", "motor_before_a",
                     "arm_j", "out_j", "in_j", "in_c", "in_v_s", "winding_j", "rest_j",
                     "wound_mark_j", "rest_mark_j", "peak_bus_v", "peak_out_v"):
            setattr(self, name, np.zeros(n))
        for name in ("converter_on", "bus_cut", "output_cut"):
            setattr(self, name, np.zeros(n, dtype=bool))
        self.starts = np.zeros(n, dtype=np.int64)
        self.reservoir_v = np.where(self.feeds_at_first, 0.0, self.full_v)

    if TYPE_CHECKING:  # the arrays above are set by name
        def __getattr__(self, name: str) -> Any: ...
        def __setattr__(self, name: str, value: Any) -> None: ...

    def advance(self, until_s: float, hands: Hands, connected: ArrayLike = True,
                board_on: ArrayLike = True, plugged: ArrayLike = True) -> None:
        """Step until until_s [s], rounded to whole steps. connected, board_on, plugged: of
        all machines, or flags of n."""
        end = int(until_s / self.step_s + 0.5)
        joined, alive, plugs = (np.broadcast_to(np.asarray(flag, dtype=bool), (self.n,))
                                for flag in (connected, board_on, plugged))
        with np.errstate(all="ignore"):  # what is not chosen may divide by nothing
            while self.steps < end:
                if self.steps % _WARM_EVERY == 0 and self.steps:
                    self._warm()
                self._step(hands, joined, alive, plugs)
                self.steps += 1
                self.time_s = self.steps * self.step_s

    def _warm(self) -> None:
        seconds = _WARM_EVERY * self.step_s
        for n, p in enumerate(self.parts):
            self.winding_c[n] = p.warmer(
                float(self.winding_c[n]), float(self.winding_j[n] - self.wound_mark_j[n]),
                float(self.rest_j[n] - self.rest_mark_j[n]), seconds)
            p.warm(float(self.winding_c[n]))
            whole = p.whole
            self.kc[n], self.r_source[n] = p.kc, p.r_source
            self.load_slope[n], self.fit_source[n] = p.load_slope, whole[19]
        self.wound_mark_j, self.rest_mark_j = self.winding_j.copy(), self.rest_j.copy()

    # ------------------------------------------------------------------------- one step

    def _step(self, hands: Hands, connected: Flags, alive: Flags, plugged: Flags) -> None:
        h = self.step_s
        t = self.steps * h + h / 2
        w, i0 = self.crank_rad_s, self.motor_a
        turn = self.theta_rad + w * (h / 2)
        a0 = hands.torque_nm(t, turn, w)
        rub = np.where(w > 0, self.rest_nm, np.where(
            w < 0, -self.rest_nm, np.clip(a0, -self.rest_nm, self.rest_nm)))
        far = (a0 - rub - self.kc * i0 / self.eta) / self.inertia_h
        far = np.where(np.abs(far) < _PROBE, _PROBE, far)
        slope = np.maximum((a0 - hands.torque_nm(t, turn, w + far)) / far, 0.0)
        damping = slope + self.viscous
        x = (damping + self.load_slope) / self.inertia_h
        lag = np.where(x <= 2.0, 0.5, 1.0 - 1.0 / x)
        heft = self.inertia_h / lag
        d = heft + damping
        w_open = (heft * w + a0 + slope * w - rub) / d
        kd = np.where(self.bridge & (w_open < 0), -self.kc, self.kc)
        slows = np.where(i0 >= 0, d * self.eta, d / self.eta)
        e = kd * w_open + self.l_h * i0
        r = self.r_source + self.kc * self.kc / slows + self.l_h
        guess = 2 * i0 - self.motor_before_a
        bus = Bus(self, e, r, np.where(guess > 0, guess, i0), connected, alive, plugged)
        on_before = self.converter_on
        for _ in range(_PASSES):
            again = bus.take(self)
            if not again.any():
                break
        self.motor_before_a = i0
        self.starts += bus.on & ~on_before

        # -- the handle moves on
        i = bus.i
        slows = np.where(i >= 0, d * self.eta, d / self.eta)
        wm = w_open - kd * i / slows
        w1 = w + (wm - w) / lag
        push, pull = (a0 + slope * (w - wm)) * wm, kd * i * wm
        gear = np.where(i >= 0, pull * (1 / self.eta - 1), pull * (self.eta - 1))
        rests = ((w1 < 0) & (w > 0)) | ((w < 0) & (w1 > 0))
        drag = self.viscous * wm * wm
        rubbed = np.where(rests, push - pull - gear - drag + 0.5 * self.inertia_h * w * w,
                          rub * wm)
        w1 = np.where(rests, 0.0, w1)
        self.theta_rad = self.theta_rad + 0.5 * h * (w + w1)
        self.crank_rad_s = w1
        self.arm_j += push * h
        self.winding_j += self.r_source * i * i * h
        self.rest_j += h * (self.brush_v * np.where(i != 0, i * bus.tb, 0.0)
                            + (rubbed * self.rub_share + drag) * self.eta)
        bus.settle_into(self, h)


class ServoHands:
    """Servos as `hand.Servo`: pace_tpm of n, or one for all [turns/min]."""

    def __init__(self, pace_tpm: ArrayLike, *, stiff_nm_s: float = 20.0,
                 most_nm: float = 30.0) -> None:
        self.rad_s = np.asarray(pace_tpm, dtype=float) * (2 * np.pi / 60)
        self.stiff_nm_s, self.most_nm = stiff_nm_s, most_nm

    def torque_nm(self, t_s: float, theta_rad: Floats, crank_rad_s: Floats) -> Floats:
        """Torques on the handles [N m]."""
        return np.clip(self.stiff_nm_s * (self.rad_s - crank_rad_s), 0.0, self.most_nm)

