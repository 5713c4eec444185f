"""A board that takes readings for a bench, in memory: its clock is the job's, its machine is in
balance at the pace that it asks for, and a step's samples come from the machine in time."""

from __future__ import annotations

import functools
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from steadyturn.board.framing import frame
from steadyturn.jobs import bench_board, bench_plan
from steadyturn.model import bank, motor
from steadyturn.model.band import find_band
from steadyturn.model.dynamics_parts import Parts
from steadyturn.model.motor import emf_constant
from steadyturn.model.rectifier import DIODES
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig_text
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn_fw import bench_frames as layout
from steadyturn_fw import frames, pages

for room in ("board", "bench"):  # helpers that stand beside those rooms' tests
    sys.path.insert(0, str(Path(__file__).parents[1] / room))

from bursts import Bench  # noqa: E402
from fake_board import FakeBoard, MemoryStream  # noqa: E402

TICK_S = 0.02
SWAY, SWAY_S = 0.04, 2.5  # how a hand wanders about a beat: twin/people.py


class Clock:
    """The job's waits are the board's time."""

    def __init__(self, board):
        self.board = board

    def now(self):
        return self.board.t_s

    def sleep(self, seconds):
        self.board.pass_by(seconds)


class BenchBoard(FakeBoard):
    """rig: the machine as it really is; pace(asked, t_s): what the hand makes of the lamp."""

    def __init__(self, rig, settings):
        super().__init__()
        self.rig, self.settings = rig, encode(settings)
        self.state.update(settings_ok=1)
        self.t_s = 0.0
        self.parts_of = Parts(rig, TICK_S)
        self.parts_of.air_c = self.winding_c = 20.0
        self.pace = lambda asked, t_s: asked * (1 + 0.02 * np.sin(2.1 * t_s))
        self.load_ohm = 33.0
        self.turned, self.first_s = 0.0, None
        self.gains = 1.0, 1.0  # of the sensor's volts and amps
        self.said = {name: 0 for name in layout.places(layout.BENCH_FIELDS)}
        self.blocks = []
        self.parts = []
        self.protects = 0  # so often it ends a loaded plateau to protect itself
        self.connects = True
        self.samples = None
        self.steps = 0
        self.ends = 0
        self.stream_ = MemoryStream(self)

    # ---- as a Direct

    def stream(self):
        return self.stream_

    def files(self):
        raise AssertionError("a bench has no use for files")

    # ---- time

    def pass_by(self, seconds):
        said, rig = self.said, self.rig
        for _ in range(round(seconds / TICK_S)):
            self.t_s += TICK_S
            if not said["on"]:
                continue
            volts, amps = self.balance()
            motors = rig.bank.series * rig.bank.parallel
            wound = motors * (amps / rig.bank.parallel) ** 2 * float(
                motor.ohm_at(rig.motor, self.winding_c))
            self.winding_c = self.parts_of.warmer(self.winding_c, wound * TICK_S, 0.0, TICK_S)
            self.turn()
            mv, ma = (round(1000 * x * gain) for x, gain in zip((volts, amps), self.gains,
                                                                strict=True))
            said.update(now_mv=mv, now_ma=ma, beat_ms=round(600_000 / max(said["pace_dtpm"], 1)))
            said["count"] += 1
            said["mv_sum"] += mv
            said["ma_sum"] += ma
            self.parts.append((mv, ma))
            if len(self.parts) == layout.BLOCK_TICKS:
                block = tuple(sum(x) for x in zip(*self.parts, strict=True))
                self.blocks = [*self.blocks, block][-layout.BLOCKS :]
                self.parts = []

    def turn(self):
        """The turn sensor's magnet, once a turn."""
        said, before = self.said, self.turned
        self.turned += self.pace(said["pace_dtpm"] / 10, self.t_s) / 60 * TICK_S
        if self.rig.sensor.turn_pulses and int(self.turned) > int(before):
            if self.first_s is None:
                self.first_s = self.t_s
            else:
                said.update(pulses=said["pulses"] + 1,
                            pulses_us=round(1e6 * (self.t_s - self.first_s)))

    def balance(self):
        rig, said = self.rig, self.said
        emf = float(bank.emf_v_per_tpm(rig, self.winding_c))
        emf *= self.pace(said["pace_dtpm"] / 10, self.t_s)
        siemens = (said["connected"] / self.load_ohm
                   + said["second"] / (rig.bus.second_load_ohm or np.inf))
        if not siemens:
            return max(emf, 0.0), 0.0
        emf -= rig.bank.series * rig.motor.brush_drop_v
        emf -= DIODES[rig.rectifier.kind] * rig.rectifier.drop_v
        ohm = float(bank.source_ohm(rig, self.winding_c))
        node = max(emf, 0.0) / (1 + siemens * ohm + ohm / rig.bus.bleed_ohm)
        amps = node * siemens
        return node - amps * rig.sensor.shunt_ohm, amps

    # ---- the link

    def answer(self, line):
        word, _, rest = line.partition(b" ")
        if word == frames.ASK_BENCH:
            self.asked.append(line)
            return self.bench(rest)
        if word == frames.ASK_STEP:
            self.asked.append(line)
            self.step()
            return self.told()
        if word == frames.ASK_SAMPLES:
            return self.sampled(int(rest))
        return super().answer(line)

    def bench(self, rest):
        said = self.said
        if rest == layout.BENCH_END:
            self.ends += 1
            said.update(on=0, ended=layout.END_ASKED, connected=0, second=0)
        elif rest:
            pace, tolerance, load = (int(x) for x in rest.split())
            said.update(on=1, ended=0, order=said["order"] + 1, pace_dtpm=pace,
                        tolerance_dtpm=tolerance, load=load, count=0, mv_sum=0, ma_sum=0, pulses=0,
                        pulses_us=0)
            self.first_s = None
            device = load in (layout.LOAD_DEVICE, layout.LOAD_BOTH)
            said.update(connected=int(device and self.connects),
                        second=int(load in (layout.LOAD_BOTH, layout.LOAD_SECOND)),
                        why=0 if self.connects else pages.REASONS.index("collapse")
                        if "collapse" in pages.REASONS else 1)
            self.blocks, self.parts = [], []
        if self.protects and said["connected"] and said["count"] > 200:
            self.protects -= 1
            said.update(on=0, ended=layout.END_PROTECTION, connected=0)
        return self.told()

    def told(self):
        raw = bytearray(layout.BENCH_BYTES)
        self.said["blocks"] = len(self.blocks)
        for name, (at, size, signed) in layout.places(layout.BENCH_FIELDS).items():
            raw[at : at + size] = int(self.said[name]).to_bytes(size, "little", signed=signed)
        for n, (mv, ma) in enumerate(self.blocks):
            at = layout.BENCH_HEAD_BYTES + n * layout.BLOCK_BYTES
            raw[at : at + 4] = int(mv).to_bytes(4, "little")
            raw[at + 4 : at + 8] = int(ma).to_bytes(4, "little", signed=True)
        return self.before + frame(frames.BENCH, bytes(raw))

    def step(self):
        said = self.said
        if not said["connected"]:
            said["step_why"] = layout.STEP_RELEASED
            return
        self.steps += 1
        machine = Bench(self.rig, pace_tpm=said["pace_dtpm"] / 10, first_ohm=self.load_ohm,
                        second_ohm=self.rig.bus.second_load_ohm, seed=self.steps,
                        winding_c=self.winding_c)
        burst = machine.burst()
        self.samples = replace(burst, volts=burst.volts * self.gains[0],
                               amps=burst.amps * self.gains[1])
        said.update(step_why=layout.STEP_DONE, steps=self.steps,
                    step_samples=len(self.samples.t_s))

    def sampled(self, first):
        burst = self.samples
        if burst is None or first >= len(burst.t_s):
            return frame(frames.END, b"")
        rows = range(first, min(first + layout.STEP_SAMPLES, len(burst.t_s)))
        head = {"first": first, "total": len(burst.t_s), "sent": len(rows), "step": self.steps,
                "reason": 0, "amps_signed": 1, "cycle_us": round(1e6 * burst.long_s),
                "on_us": round(1e6 * burst.on_s), "off_us": round(1e6 * burst.off_s),
                "bus_factor": 5, "bus_shift": 2, "bus_offset_mv": 0,  # 1.25 mV
                "amps_factor": 1, "amps_shift": 4, "amps_offset_ma": 0, "amps_zero": 0}
        raw = b"".join(int(head[name]).to_bytes(size, "little", signed=signed)
                       for name, (_, size, signed) in layout.places(layout.STEP_FIELDS).items())
        for n in rows:
            raw += round(1e6 * burst.t_s[n]).to_bytes(4, "little")
            raw += round(burst.volts[n] / 1.25e-3).to_bytes(2, "little")
            raw += round(burst.amps[n] / (1e-3 / 16)).to_bytes(2, "little")
        return frame(frames.SAMPLES, raw)


def swaying(rng):
    """What a hand makes of a beat: it wanders about it, as a person of the virtual board."""
    state = {"t": 0.0, "off": 0.0}

    def pace(asked, t_s):
        dt = t_s - state["t"]
        if dt > 0:
            keeps = np.exp(-dt / SWAY_S)
            state["off"] = keeps * state["off"] + SWAY * np.sqrt(1 - keeps**2) * rng.normal()
            state["t"] = t_s
        return asked * (1 + state["off"])

    return pace


@functools.cache
def _meant():
    text = example_path("lakeside-hut").read_text(encoding="utf-8")
    text = text.replace("capacitor_uf = 2_200", "capacitor_uf = 1_000\nsecond_load_ohm = 22")
    rig = read_rig_text(text, "my.toml")
    return text, rig, find_band(rig, deep=False)


@pytest.fixture
def meant():
    """(text of a rig file, its rig, its band)"""
    return _meant()


@pytest.fixture
def machine(meant, tmp_path, monkeypatch):
    """(rig file, board): the motors turn out to have 8 % more k and 20 % more ohms."""
    text, rig, band = meant
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(bench_board, "find_band", lambda rig, deep: band)
    monkeypatch.setattr(bench_plan, "STEPS", 1)
    path = tmp_path / "my.toml"
    path.write_text(text, encoding="utf-8")
    motor = replace(rig.motor, emf_v_s=1.08 * emf_constant(rig.motor),
                    terminal_ohm=1.2 * rig.motor.terminal_ohm)
    return path, BenchBoard(replace(rig, motor=motor), build(rig, band))
