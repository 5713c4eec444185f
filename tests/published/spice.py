"""Writes a rig as a netlist and has ngspice solve it: circuit theory's second opinion.

Nothing of `steadyturn.model` is used. Every motor stands in the netlist by itself, and what
the pages of the model state as laws (brushes, diodes, board, converter, device) stands there
as behavioural sources, so that Kirchhoff's laws, series and parallel, and the choice of the
root are ngspice's. Volts and ampere, as in the rig.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from math import pi
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from steadyturn.rig.types import Motor, Rig

Floats = NDArray[np.float64]

STIFF = 1e5  # V/A by which a converter's output gives way beyond a current limit
CLAMP_OHM = 1e-5
OPTIONS = ".options reltol=1e-7 abstol=1e-11 vntol=1e-9 itl1=1000 itl2=1000 itl4=200"


def needed() -> str:
    """The path of ngspice; skips where there is none, fails where
    STEADYTURN_REQUIRE names it."""
    found = shutil.which("ngspice")
    if found is None:
        if "ngspice" in re.split(r"[,\s]+", os.environ.get("STEADYTURN_REQUIRE", "")):
            pytest.fail("STEADYTURN_REQUIRE names ngspice, but it is not installed")
        pytest.skip("ngspice is not installed (Debian: apt-get install ngspice)")
    return found


def run(netlist: str, analysis: str, wanted: list[str],
        options: str = OPTIONS) -> dict[str, Floats]:
    """Vectors of one analysis by name, and its sweep or time as "at". An analysis that
    ngspice gives up half-way ends where it did; one that it never begins, or that does not
    end (a converter that toggles), is empty."""
    program = needed()
    nothing = {name: np.zeros(0) for name in ["at", *wanted]}
    with tempfile.TemporaryDirectory(prefix="steadyturn_spice_") as folder:
        control = ["* a machine", netlist, options, ".control", "set wr_singlescale",
                   "set numdgt=12", analysis, f"wrdata out.data {' '.join(wanted)}",
                   ".endc", ".end", ""]
        path = Path(folder, "rig.cir")
        path.write_text("\n".join(control))
        try:
            done = subprocess.run([program, "-b", str(path)], cwd=folder, check=False,
                                  timeout=10, stdin=subprocess.DEVNULL, capture_output=True,
                                  text=True)
        except subprocess.TimeoutExpired:
            return nothing
        out = Path(folder, "out.data")
        if not out.exists():
            if "Timestep too small" in done.stdout + done.stderr:
                return nothing
            pytest.fail(f"ngspice gave nothing:\n{done.stdout}\n{done.stderr}\n{netlist}")
        table = np.loadtxt(out, ndmin=2)
    return {name: table[:, i] for i, name in enumerate(["at", *wanted])}


def volts_per_tpm(rig: Rig, winding_c: float = 20.0) -> float:
    """EMF of one motor [V] per turn a minute of the handle."""
    ratio = 1.0
    for stage in rig.stages:
        ratio *= stage.ratio or stage.driver_teeth / stage.driven_teeth
    return constant(rig.motor) * (1 - 0.002 * (winding_c - 20)) * ratio * 2 * pi / 60


def constant(motor: Motor) -> float:
    if motor.emf_v_s is not None:
        return motor.emf_v_s
    left = motor.rated_v - motor.no_load_a * motor.terminal_ohm - motor.brush_drop_v
    return left / motor.no_load_rad_s


def bank(rig: Rig, winding_c: float = 20.0, *, diode_model: str = "",
         start_a: float | None = None) -> str:
    """From the pace (node `pace`, one volt a turn/min) to the node `bus`: every motor, its
    brushes, and the diodes (`diode_model`: a .model line in place of the tanh).

    start_a: with the inductance of every motor, carrying these ampere at first, and a
    nearly ideal diode in each path, since a tanh does not block.
    """
    m, lines = rig.motor, []
    ohm = m.terminal_ohm * (1 + 0.00393 * (winding_c - 20))
    emf = f"{volts_per_tpm(rig, winding_c)!r}*v(pace)"
    own, model = rig.bank.diode_each, diode_model.split()[1] if diode_model else ""
    for string in range(rig.bank.parallel):
        below = "0"
        for i in range(rig.bank.series):
            n = f"{string}_{i}"
            lines += [f"Be{n} e{n} {below} V={emf}", f"Rw{n} e{n} r{n} {ohm!r}",
                      f"Vm{n} r{n} {'a' if start_a is None else 'l'}{n} 0",
                      f"Bb{n} a{n} t{n} V={m.brush_drop_v!r}*tanh(i(Vm{n})/{m.brush_knee_a!r})"]
            if start_a is not None:
                lines.append(f"Lm{n} l{n} a{n} {m.inductance_h!r} ic={start_a!r}")
            below = f"t{n}"
        top = f"own{string}"
        lines.append(f"Vs{string} {below} {top} 0" if start_a is None else
                     f"Vs{string} {below} cut{string} 0\nDcut{string} cut{string} {top} ideal\n"
                     ".model ideal D(Is=1n N=0.02)")
        lines += diodes(rig, top, "bus" if own else "common", f"Vs{string}", model,
                        str(string)) if own else [f"Vj{string} {top} common 0"]
    if not own:
        lines.append("Vbank common bank 0")
        lines += diodes(rig, "bank", "bus", "Vbank", model, "c")
    return "\n".join([*lines, diode_model])


def diodes(rig: Rig, start: str, end: str, meter: str, model: str, name: str) -> list[str]:
    count = {"none": 0, "schottky": 1, "bridge": 2}[rig.rectifier.kind]
    if not count:
        return [f"Vd{name} {start} {end} 0"]
    if model:
        nodes = [start, *(f"d{name}{i}" for i in range(count - 1)), end]
        return [f"D{name}{i} {nodes[i]} {nodes[i + 1]} {model}" for i in range(count)]
    part = rig.rectifier
    return [f"Bd{name} {start} {end} V={count * part.drop_v!r}*tanh(i({meter})/{part.knee_a!r})"]


def resistor(name: str, start: str, end: str, ohm: float) -> str:
    return f"R{name} {start} {end} {ohm!r}" if ohm else f"V{name} {start} {end} 0"


def bus(rig: Rig) -> str:
    """What hangs on the bus, up to the converter's terminals `in`: bleed, clamp, board,
    shunt, bus switch. i(Vin) flows into the converter; the sensor reads at `sense`."""
    supply, clamp = rig.supply, rig.protection.bus_clamp_v
    lines = [f"Rbleed bus 0 {rig.bus.bleed_ohm!r}",
             resistor("shunt", "bus", "sense", rig.sensor.shunt_ohm)]
    if supply.feed == "crank":
        lines.append(f"Bboard bus 0 I={supply.power_w!r}/max(v(bus)-{supply.drop_v!r}, "
                     f"{supply.off_v!r})")
    if clamp is not None:
        lines.append(f"Bclamp bus 0 I=max(v(bus)-{clamp!r}, 0)/{CLAMP_OHM!r}")
    inline = rig.switch.on_ohm if rig.switch.place == "bus_switch" else 0.0
    lines += [resistor("switch", "sense", "feed", inline), "Vin feed in 0"]
    return "\n".join(lines)


def cable(rig: Rig) -> float:
    """Ohms from the converter's output to the socket; copper and gauge as in load.md."""
    across = 0.127e-3 * 92 ** ((36 - rig.load.cable_awg) / 39)
    copper = 2 * rig.load.cable_m * 1.724e-8 / (pi / 4 * across**2)
    return copper + (rig.switch.on_ohm if rig.switch.place == "output_switch" else 0.0)


def converter(rig: Rig, rise_s: float = 0.0) -> str:
    """The running converter from `in` to `out` by the law of its kind (converter.md): losses
    follow the coil's current; limits by an output that gives way steeply; a boost goes over
    to passing within a millivolt. Below half its stop threshold it draws less and less.
    rise_s: length of a soft start."""
    c, floor = rig.converter, 0.5 * rig.converter.stop_v
    given = (f"{c.out_v!r}-{STIFF!r}*max(i(Vin)-{c.in_limit_a!r}, 0)"
             f"-{STIFF!r}*max(i(Vout)-{c.out_limit_a!r}, 0)")
    coil = {"boost": "i(Vin)", "buck": "i(Vout)", "linear": "0",
            "buck_boost": "max(i(Vin), i(Vout))"}[c.kind]
    lost = f"{c.loss_w!r}" if c.kind == "linear" else (
        f"{c.loss_w!r}+({c.loss_v!r}+{c.loss_ohm!r}*v(coil))*v(coil)")
    there = f"max(min(v(in)/{floor!r}, 1), 0)/max(v(in), {floor!r})"
    law = f"(v(out)*i(Vout)+{lost})*{there}"
    direct = f"i(Vout)+{c.loss_w!r}*{there}"
    follows = f"v(in)-{c.pass_drop_v if c.kind == 'boost' else c.headroom_v!r}"
    # the set point follows its limits quickly, not at once: that keeps the equations apart
    lines = [f"Bgive give 0 V=max({given}, 0)", "Rset give set 1",
             "Cset set 0 1e-6 ic=0", "Vout hold out 0",
             f"Bcoil coil 0 V=min(max({coil}, 0), {3 * c.in_limit_a!r})"]
    if c.kind == "boost":
        lines += [f"Bover over 0 V=min(max(({follows}-v(set))/1e-3, 0), 1)",
                  f"Bout hold 0 V=max(v(set), {follows})",
                  f"Bin in 0 I=v(over)*({direct})+(1-v(over))*{law}"]
    elif c.kind == "buck_boost":
        lines += ["Bout hold 0 V=v(set)", f"Bin in 0 I={law}"]
    else:
        lines += [f"Bout hold 0 V=max(min(v(set), {follows}), 0)",
                  f"Bin in 0 I={direct if c.kind == 'linear' else law}"]
    return "\n".join(lines)


def load(rig: Rig) -> str:
    """Cable and device at `out`; the socket is the node `socket`."""
    part = rig.load
    lines = [resistor("cable", "out", "plug", cable(rig)), "Vload plug socket 0"]
    if part.kind == "none":
        lines.append("Rnone socket 0 1e12")
    elif part.kind == "resistor":
        lines.append(f"Rload socket 0 {part.resistance_ohm!r}")
    else:
        share = f"(v(socket)-{part.min_v!r})/{part.sag_v - part.min_v!r}"
        lines.append(f"Bload socket 0 I={part.draw_a!r}*min(max({share}, 0), 1)")
    return "\n".join(lines)


def sweep(rig: Rig, high_tpm: float, low_tpm: float, winding_c: float = 20.0, *,
          seconds: float = 3.0, **how: str) -> dict[str, Floats]:
    """The running machine while the pace falls slowly from high to low.

    A small capacitor on the bus makes it follow the branch that is stable, as the machine
    itself does, until that ends. Empty where ngspice finds nothing to start from.
    pace_tpm [turns/min], motor_a, node_v, bus_v, bus_a, in_v, out_v, out_a.
    """
    top_v = rig.bank.series * volts_per_tpm(rig, winding_c) * high_tpm
    names = {"v(pace)": "pace_tpm", "i(vm0_0)": "motor_a", "v(bus)": "node_v",
             "v(sense)": "bus_v", "i(vin)": "bus_a", "v(in)": "in_v", "v(socket)": "out_v",
             "i(vload)": "out_a"}
    hold = seconds / 10
    netlist = "\n".join([
        f"Vpace pace 0 PWL(0 {high_tpm!r} {hold!r} {high_tpm!r} {seconds!r} {low_tpm!r})",
        f"Cbus bus 0 1e-6 ic={top_v!r}", bank(rig, winding_c, **how), bus(rig),
        converter(rig, hold / 2), load(rig)])
    found = run(netlist, f"tran {seconds / 1000!r} {seconds!r} 0 {seconds / 1000!r} uic",
                list(names))
    settled = found["at"] > hold
    return {names[name]: values[settled] for name, values in found.items() if name in names}


def turned(rig: Rig, torque_nm: str, seconds: float, start_rad_s: float, start_v: float,
           winding_c: float = 20.0) -> dict[str, Floats]:
    """The machine in time, its converter running, with inertia and bus capacitor as
    capacitors: torque_nm is an expression of v(theta) [rad] and v(w) [rad/s] of the handle.

    at [s], crank_rad_s, bus_v, motor_a (of one motor), bus_a.
    """
    motor, n = rig.motor, rig.bank.series * rig.bank.parallel
    ratio, eta = 1.0, 1.0
    for stage in rig.stages:
        ratio *= stage.ratio or stage.driver_teeth / stage.driven_teeth
        eta *= stage.efficiency
    k = constant(motor) * (1 - 0.002 * (winding_c - 20))
    amps = "+".join(f"i(Vm{a}_{b})" for a in range(rig.bank.parallel)
                    for b in range(rig.bank.series))
    pulls = (f"{ratio / eta!r}*({k!r}*({amps})+{n * constant(motor) * motor.no_load_a!r}"
             f"+{n * motor.drag_nm_s * ratio!r}*v(w))+{rig.crank.friction_nm!r}")
    inertia = rig.crank.inertia_kg_m2 + n * motor.inertia_kg_m2 * ratio**2
    names = {"v(w)": "crank_rad_s", "v(bus)": "bus_v", "i(vm0_0)": "motor_a", "i(vin)": "bus_a"}
    netlist = "\n".join([
        f"Cw w 0 {inertia!r} ic={start_rad_s!r}", "Ctheta theta 0 1 ic=0",
        "Bturns 0 theta I=v(w)", f"Barm 0 w I={torque_nm}", f"Bpull w 0 I={pulls}",
        f"Bpace pace 0 V=v(w)*{30 / pi!r}",
        f"Cbus bus 0 {rig.bus.capacitor_f!r} ic={start_v!r}",
        bank(rig, winding_c), bus(rig), converter(rig), load(rig)])
    found = run(netlist, f"tran 1m {seconds!r} 0 1m uic", list(names))
    return {"at": found["at"], **{names[name]: found[name] for name in names}}
