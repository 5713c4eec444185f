"""Outings for tests as a rig's own model would give them: a pace for each 0.2 s in, pages out.

Volts and amps are those of `model.point.operate`, with what a hand and a sensor add; totals are
added up as a board does. Settings are the real ones of the rig.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from page_maker import make_page, seal
from steadyturn.model.band import find_band
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sessions.decode import decode
from steadyturn.sessions.losses import parts_w
from steadyturn.settings.build import build
from steadyturn_fw import pages as layout

SAMPLE_S = layout.SAMPLE_MS / 1000


def wander(seconds, pace_tpm, *, spread=3.0, seed=0):
    """A hand that keeps a pace: it drifts about it within seconds, `spread` its deviation."""
    rng = np.random.default_rng(seed)
    count = round(seconds / SAMPLE_S)
    keeps = np.exp(-SAMPLE_S / 2.0)
    shocks = rng.normal(0, spread * np.sqrt(1 - keeps**2), count)
    off = np.zeros(count)
    for i in range(1, count):
        off[i] = keeps * off[i - 1] + shocks[i]
    return pace_tpm + off


@cache
def machine(name):
    """An example's rig and the settings of its board."""
    rig = read_rig(example_path(name))
    return rig, build(rig, find_band(rig, deep=False))


class Maker:
    """Pages of one machine, boot after boot."""

    def __init__(self, name="lakeside-hut", *, exact=False):
        """exact: paces of 1.5 turns/min and currents of 5 mA apart, of which a sample's energy,
        charge and turns are whole numbers in the units of the totals."""
        self.rig, self.settings = machine(name)
        self.step_tpm, self.step_ma = (1.5, 5) if exact else (0.5, 1)
        self.low, self.target, self.high = (
            self.settings[f"{edge}_dtpm"] / 10 for edge in ("low", "target", "high"))
        self.seq, self.boot, self.raw = 1, 0, b""
        self.totals = dict.fromkeys(
            ("energy_in", "energy_out", "charge", "turns", "on", "band", "connected",
             "connections", "faults"), 0)

    def boot_of(
        self, paces, *, connected=True, draw_a=None, winding_c=20.0, rise_k=0, seed=1,
        noise=0.004, events=(), flags=0, valid=None, ohms=1.0, last=layout.FLAG_FADING,
    ):
        """One boot. connected, draw_a: one for all samples or one for each; events: (sample,
        code, argument). ohms: of the motors, times what the rig says. valid: for all samples
        (None: by the current)."""
        paces = np.round(np.asarray(paces, float) / self.step_tpm) * self.step_tpm
        rng = np.random.default_rng(seed)
        connected = np.broadcast_to(connected, paces.shape)
        volts, amps = self._bus(paces, connected, draw_a, winding_c, ohms)
        volts = volts * (1 + rng.normal(0, noise, len(paces)))
        amps = np.maximum(0, amps * (1 + rng.normal(0, noise, len(paces))))
        self.boot += 1
        events = sorted([(0, layout.EV_BOOT, 1), *events])
        for at in range(0, len(paces), layout.SAMPLES):
            part = slice(at, min(at + layout.SAMPLES, len(paces)))
            told = [((i - at) * 20, code, argument) for i, code, argument in events
                    if part.start <= i < part.stop]
            is_last = part.stop == len(paces)
            self._page(at, paces[part], volts[part], amps[part], connected[part],
                       [(code, when, argument) for when, code, argument in told[:3]],
                       flags | (last if is_last else 0), rise_k, valid)
        return self

    def _bus(self, paces, connected, draw_a, winding_c, ohms):
        volts, amps = np.zeros(len(paces)), np.zeros(len(paces))
        draws = np.broadcast_to(self.rig.load.draw_a if draw_a is None else draw_a, paces.shape)
        motor = replace(self.rig.motor, terminal_ohm=self.rig.motor.terminal_ohm * ohms)
        for draw in np.unique(draws):
            for on in (False, True):
                which = (draws == draw) & (connected == on)
                if not which.any():
                    continue
                rig = replace(self.rig, motor=motor,
                              load=replace(self.rig.load, draw_a=float(draw)))
                grid = np.linspace(1.0, max(2.0, paces[which].max() + 1), 400)
                at = operate(rig, grid, winding_c=winding_c, connected=on)
                bus_v = np.where(np.isfinite(at.bus_v), at.bus_v, self.rig.converter.stop_v)
                volts[which] = np.interp(paces[which], grid, bus_v)
                amps[which] = np.interp(paces[which], grid, np.nan_to_num(at.bus_a))
        return volts, amps

    def _page(self, at, paces, volts, amps, connected, events, flags, rise_k, valid):
        s, t = self.settings, self.totals
        units = 1 << s["bus_shift"], 1 << s["amps_shift"]
        mv, ma = np.round(volts * 1000 / units[0]).astype(int) * units[0], \
            np.round(amps * 1000 / units[1] / self.step_ma).astype(int) * units[1] * self.step_ma
        half = np.round(paces * 2).astype(int)
        lost = parts_w(s, mv / 1000, ma / 1000)
        out_w = np.maximum(mv * ma / 1e6 - sum(lost.values()), 0)
        samples = []
        for i in range(len(paces)):
            kind = valid if valid is not None else (
                layout.VALID if ma[i] + s["supply_ma"] >= s["conduct_ma"] else layout.BOUND)
            cue = (layout.REST if paces[i] * 10 < s["rest_dtpm"] else
                   layout.FASTER if paces[i] < self.low else
                   layout.SLOWER if paces[i] > self.high else layout.HOLD)
            samples.append((mv[i] // units[0], ma[i] // units[1], half[i], 2, 1, cue,
                            int(connected[i]), kind))
            t["energy_in"] += int(mv[i] * ma[i]) / 5
            t["energy_out"] += out_w[i] * 2e5 if connected[i] else 0
            t["charge"] += int(ma[i]) * 200
            t["turns"] += int(half[i]) * 5 / 3 if kind == layout.VALID else 0
            t["on"] += 1
            t["band"] += bool(self.low <= paces[i] <= self.high)
            t["connected"] += bool(connected[i])
        t["connections"] += sum(code == layout.EV_CONNECTED for code, _, _ in events)
        t["faults"] += sum(code == layout.EV_FAULT for code, _, _ in events)
        page = bytearray(make_page(
            self.seq, boot=self.boot, t0_ms=at * layout.SAMPLE_MS, samples=samples, events=events,
            flags=flags, shifts=(s["bus_shift"], s["amps_shift"]),
            totals={name: round(value) for name, value in t.items()}
            | {"peak_mv": int(mv.max()), "peak_ma": int(ma.max())}))
        page[layout.AT_RISE] = rise_k
        self.raw += seal(page)
        self.seq += 1

    def burst(self, readings):
        """A burst's page after the last one; readings: (V, A) of 23 ticks."""
        units = 1 << self.settings["bus_shift"], 1 << self.settings["amps_shift"]
        samples = [(round(1000 * v / units[0]), round(1000 * a / units[1]), 130, 0, 0,
                    layout.HOLD, 1, layout.VALID) for v, a in readings]
        self.raw += make_page(
            self.seq, boot=self.boot, t0_ms=20_000, samples=samples, flags=layout.FLAG_BURST,
            shifts=(self.settings["bus_shift"], self.settings["amps_shift"]),
            events=[(layout.EV_LOAD_STEP, 16, 1), (layout.EV_LOAD_STEP, 32, 0)],
            version=layout.VERSION_WIDER,
            totals={name: round(value) for name, value in self.totals.items()})
        self.seq += 1
        return self

    def pages(self):
        return decode(self.raw)
