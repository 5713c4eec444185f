"""Bursts of a simulated machine: the model's dynamics in fine steps, an arm, the sensor's
conversions with its noise and its digits, read as the board reads them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from steadyturn.bench.step import Burst, Machine
from steadyturn.model import bank, dynamics
from steadyturn.model.hand import ArmHand
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM

FINE_S = 1e-5  # with 4e-5 a small capacitor's ringing dies down too soon: 0.19 mF, 1.5 % more ohms
ON_S, OFF_S, END_S = 0.010, 0.042, 0.074  # as the board switches: link.md
# INA226, 140 us for each of both: units of TI SBOS547, noise as in twin/chips.py
CYCLE, EVERY_S, UNIT_V, UNIT_SHUNT_V = 28, 500e-6, 1.25e-3, 2.5e-6
NOISE_V, NOISE_SHUNT_V = 0.5e-3 * (8244 / 140) ** 0.5, 1e-6 * (8244 / 140) ** 0.5


def hut(capacitor_f=2.2e-3, inertia_kg_m2=0.03, **motor):
    """The lakeside hut with another bus capacitor, and that inertia at the handle."""
    rig = read_rig(example_path("lakeside-hut"))
    return replace(
        rig, bus=replace(rig.bus, capacitor_f=capacitor_f),
        crank=replace(rig.crank, inertia_kg_m2=inertia_kg_m2),
        motor=replace(rig.motor, inertia_kg_m2=0.0, **motor))


def machine_of(rig, share=1.0):
    """What the fit is told; share: how far what is printed on the capacitor is off."""
    bank_of = rig.bank
    return Machine(
        capacitor_f=share * rig.bus.capacitor_f, shunt_ohm=rig.sensor.shunt_ohm,
        henry=bank_of.series * rig.motor.inductance_h / bank_of.parallel,
        brush_v=bank_of.series * rig.motor.brush_drop_v,
        brush_a=bank_of.parallel * rig.motor.brush_knee_a,
        diode_v=rig.rectifier.drop_v, diode_a=rig.rectifier.knee_a, bleed_ohm=rig.bus.bleed_ohm)


def true_ohm(rig):
    return float(bank.source_ohm(rig, 20.0))


@dataclass
class Bench:
    """A machine that an arm turns at pace_tpm with first_ohm across the bus, until the pace is
    steady; then `burst` switches second_ohm on beside it, and off."""

    rig: object
    pace_tpm: float = 65.0
    first_ohm: float = 33.0
    second_ohm: float = 15.0
    seed: int = 0
    winding_c: float = 20.0

    def __post_init__(self):
        rig = self.rig
        self.rng = np.random.default_rng(self.seed)
        self.machine = dynamics.Machine(
            replace(rig, supply=replace(rig.supply, feed="usb")), winding_c=self.winding_c,
            step_s=2e-3)
        self.hand = ArmHand(rig, [(0.0, self.pace_tpm)], from_tpm=self.pace_tpm)
        self.machine.state.crank_rad_s = self.pace_tpm * RPM
        self.bleed(1 / self.first_ohm)
        self.run(3.0 + self.rng.uniform(0.0, 1.0))  # it settles, and ends somewhere in a turn

    def bleed(self, siemens):
        parts = self.machine.parts
        parts.bus_bleed = 1 / self.rig.bus.bleed_ohm + siemens
        parts.warm(self.machine.state.winding_c)
        self.siemens = siemens

    def run(self, seconds):
        machine = self.machine
        machine.advance(machine.steps * machine.step_s + seconds, self.hand, False, False, True)

    def burst(self):
        """One burst, each reading of the newest conversion that is over."""
        coarse = self.machine
        fine = dynamics.Machine(coarse.rig, winding_c=self.winding_c, step_s=FINE_S)
        fine.take_over(coarse)
        self.machine = fine
        hand, self.hand = self.hand, _Later(self.hand, coarse.steps * coarse.step_s)
        changes = {0: 0.0, round(ON_S / FINE_S): 1 / self.second_ohm, round(OFF_S / FINE_S): 0.0}
        volts, amps = [], []
        for n in range(round(END_S / FINE_S)):
            if n in changes:
                self.bleed(1 / self.first_ohm + changes[n])
            v = self.machine.state.bus_v / 2
            self.run(FINE_S)
            v += self.machine.state.bus_v / 2  # the mean over the step
            volts.append(v)
            amps.append(v * self.siemens)
        pace = self.machine.state.crank_rad_s / RPM
        self.machine, self.hand = coarse, hand
        self.bleed(1 / self.first_ohm)
        self.run(2.0 + self.rng.uniform(0, 1.0))
        return self._read(np.array(volts), np.array(amps), pace)

    def _read(self, volts, amps, pace_tpm):
        shunt, rng = self.rig.sensor.shunt_ohm, self.rng
        phase = int(rng.integers(CYCLE))
        volts, amps = (x[phase : phase + (len(x) - phase) // CYCLE * CYCLE].reshape(
            -1, CYCLE).mean(axis=1) for x in (volts, amps))
        volts = volts - amps * shunt + rng.normal(0, NOISE_V, len(volts))
        amps = amps + rng.normal(0, NOISE_SHUNT_V / shunt, len(amps))
        at_s = 1e-3 + EVERY_S * np.arange(146) + rng.uniform(0, 3e-5, 146)
        newest = np.floor((at_s / FINE_S - phase) / CYCLE).astype(int) - 1
        unit_a = UNIT_SHUNT_V / shunt
        return Burst(
            t_s=at_s, on_s=ON_S, off_s=OFF_S, long_s=CYCLE * FINE_S,
            volts=np.round(volts[newest] / UNIT_V) * UNIT_V,
            amps=np.round(amps[newest] / unit_a) * unit_a, unit_v=UNIT_V, unit_a=unit_a,
            pace_tpm=pace_tpm)


class _Later:
    """The same hand, for a machine whose time began later."""

    def __init__(self, hand, offset_s):
        self.hand, self.offset_s = hand, offset_s

    def torque_nm(self, t_s, theta_rad, crank_rad_s):
        return self.hand.torque_nm(t_s + self.offset_s, theta_rad, crank_rad_s)
