"""Has ngspice run a rig's power path through a mishap, and reads from it what counts.

As a script it runs everything and writes host/steadyturn/circuit/protection.json, from which
hardware/protection.md and its pictures are made:

    python tests/host/circuit/power_bench.py [CASE ...]
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn.circuit import mishaps, results
from steadyturn.circuit.mishaps import MISHAPS, Mishap
from steadyturn.circuit.netlist import RUN_S, netlist
from steadyturn.circuit.table import Part, fitted
from steadyturn.circuit.values import Design, design, values
from steadyturn.model.band import find_band
from steadyturn.model.point import operate
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Converter, Protection, Rig
from steadyturn.settings.thresholds import over_limit_v

Floats = NDArray[np.float64]
OPTIONS = ".options reltol=2e-3 abstol=1e-8 vntol=1e-6 itl4=200 method=gear"


def example(name: str) -> Rig:
    return read_rig(FOLDER / f"{name}.toml")


def placed(name: str, place: str) -> Rig:
    rig = example(name)
    return replace(rig, switch=replace(rig.switch, place=place))


def linear() -> Rig:
    """The ferry with a linear regulator, its switch at the output."""
    rig = placed("night-ferry", "output_switch")
    made = Converter(kind="linear", out_v=5.1, loss_w=0.03, headroom_v=1.2, start_v=6.4,
                     stop_v=6.3, max_in_v=36.0, in_limit_a=1.5, out_limit_a=1.5)
    return replace(rig, converter=made)


def barn() -> Rig:
    """The barn with what the power path brings: its file names none of it."""
    return replace(example("dangerous-barn"), protection=Protection(output_cut_v=5.45))


def parallel() -> Rig:
    """The hut with its motors side by side, each behind its own diode."""
    rig = example("lakeside-hut")
    return replace(rig, bank=replace(rig.bank, series=1, parallel=2, diode_each=True))


# name of a case -> its rig: every example with a band, every place, every kind of converter
RIGS = {
    "lakeside-hut": lambda: example("lakeside-hut"),
    "radio-tent": lambda: example("radio-tent"),
    "night-ferry": lambda: example("night-ferry"),
    "dangerous-barn, cut fitted": barn,
    "lakeside-hut, enable": lambda: placed("lakeside-hut", "enable"),
    "night-ferry, linear, output switch": linear,
    "radio-tent, bus switch": lambda: placed("radio-tent", "bus_switch"),
    "lakeside-hut, parallel motors": parallel,
    "radio-tent, enable": lambda: placed("radio-tent", "enable"),
}
DRAWN = ("lakeside-hut", "radio-tent", "radio-tent, enable")  # with a picture each


@dataclass(frozen=True)
class Case:
    name: str
    rig: Rig
    made: Design
    parts: tuple[Part, ...]
    band: tuple[float, float, float]
    over_v: float
    bus_v: dict[str, float]


def case(name: str) -> Case:
    rig = RIGS[name]()
    band = find_band(rig, deep=False)
    low, target, high = band.low_tpm, band.target_tpm, band.high_tpm
    assert low is not None
    assert target is not None
    assert high is not None
    made = design(rig, low, high)
    if rig.converter.kind == "boost":  # cold and unloaded below what its bus cut allows
        target = high = min(target, 0.95 * made.trip.low_v / made.far.open_v * made.far.pace_tpm)
        low = min(low, target)
    bus = {what: float(operate(rig, pace).node_v)
           for what, pace in (("low", low), ("target", target), ("high", high))}
    return Case(name, rig, made, fitted(rig, values(rig, made)), (low, target, high),
                over_limit_v(rig), bus)


def program() -> str | None:
    return shutil.which("ngspice")


def simulate(one: Case, mishap: Mishap, firmware: str) -> dict[str, Floats]:
    """Vectors by name, and "at" [s]."""
    drive = mishaps.drive(mishap, firmware, one.made, one.band, one.over_v,
                          one.bus_v.get(mishap.pace[0], one.bus_v["high"]))
    wanted = results.vectors(one.parts)
    text = netlist(one.rig, one.parts, one.made, drive)
    with tempfile.TemporaryDirectory(prefix="steadyturn_spice_") as folder:
        control = ["* power path", text, OPTIONS, ".control", "set wr_singlescale",
                   f"tran 10u {RUN_S!r} 0 0.1m uic", f"wrdata out.data {' '.join(wanted)}",
                   ".endc", ".end", ""]
        path = Path(folder, "path.cir")
        path.write_text("\n".join(control))
        found = program()
        assert found is not None
        done = subprocess.run([found, "-b", str(path)], cwd=folder, check=False, timeout=60,
                              stdin=subprocess.DEVNULL, capture_output=True, text=True)
        said = done.stdout + done.stderr
        trouble = re.search(r"^.*(?:[Ee]rror|too small|abort).*$", said, re.M)
        if trouble or not Path(folder, "out.data").exists():
            raise AssertionError(f"{one.name}, {mishap.name}, {firmware}: "
                                 f"{trouble and trouble[0]}\n{said[-800:]}")
        table = np.loadtxt(Path(folder, "out.data"), ndmin=2)
    return {name: table[:, i] for i, name in enumerate(["at", *wanted])}


def measure(one: Case, mishap: Mishap, firmware: str) -> dict[str, Any]:
    found = simulate(one, mishap, firmware)
    return {**results.figures(one.rig, one.parts, one.made, found),
            "trace": results.trace(found)}


def all_rows(one: Case) -> dict[str, Any]:
    """Every mishap that the case has parts for, under every firmware."""
    rows = {}
    for mishap in MISHAPS:
        if not mishaps.possible(mishap, one.parts):
            continue
        for firmware in mishap.firmware:
            row = measure(one, mishap, firmware)
            if one.name not in DRAWN or firmware != mishap.firmware[0]:
                del row["trace"]
            rows[f"{mishap.name}/{firmware}"] = row
    return {"limits": results.limits(one.rig, one.parts, one.made), "rows": rows}


def main(names: list[str]) -> None:
    """Named cases anew, or all; the others stay as they are stored."""
    path = results.STORED
    stored = json.loads(path.read_text()) if path.exists() else {}
    for name in names or RIGS:
        stored[name] = all_rows(case(name))
        kept = {name: stored[name] for name in RIGS if name in stored}
        path.write_text(json.dumps(kept, separators=(",", ":")).replace('},"', '},\n"') + "\n")
        print(name, len(stored[name]["rows"]), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
