"""A bench's readings from the virtual board, against what its machine is."""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import pairwise
from math import tanh
from pathlib import Path
from statistics import median

import pytest
from steadyturn.board import bench
from steadyturn.board.connect import connect
from steadyturn.model.band import find_band
from steadyturn.model.dynamics_parts import Parts
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.types import RPM, Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.person import Person, Steady
from steadyturn.twin.twin import Twin
from steadyturn_fw import bench_frames as layout

PACE = 64.0
OHM = 33.0


def rig_with(chip: str = "ina226") -> Rig:
    """The hut's rig with a second load and four magnets, its switch behind the converter, so
    that a step needs no connection; a USB host feeds the board."""
    text = (FOLDER / "lakeside-hut.toml").read_text(encoding="utf-8")
    text = text.replace("[sensor]\n", "[sensor]\nturn_pulses = 4\n", 1)
    text = text.replace("[bus]\n", f"[bus]\nsecond_load_ohm = {OHM}\n", 1)
    rig = read_rig_text(text, "hut.toml")
    sensor = replace(rig.sensor, chip=chip)
    if chip == "adc":
        sensor = replace(sensor, amplifier=20.0, amplifier_zero_v=0.0)
    return replace(rig, sensor=sensor, supply=replace(rig.supply, feed="usb"),
                   switch=replace(rig.switch, place="output_switch"))


def lost_v(parts: Parts, amps: float) -> float:
    """Between EMF and bus."""
    return (amps * parts.r_source + parts.brush_v * tanh(amps * parts.brush_a)
            + parts.diode_v * tanh(amps * parts.diode_a))


@pytest.mark.parametrize("chip", [
    "ina226", *(pytest.param(c, marks=pytest.mark.soak) for c in ("ina219", "ina3221", "adc"))])
def test_plateau_and_step_are_the_machine(
    chip: str, tmp_path: Path, firmware_files: dict[str, bytes]
) -> None:
    rig = rig_with(chip)
    twin = Twin(rig, image=tmp_path / "a.img", seed=3, person=Steady(PACE), ideal_sensor=True)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))), firmware_files)
    with twin:
        twin.run(4)
        with connect(twin.port) as board:
            link = board.link
            link.wait(10)
            bench.order(link, round(10 * PACE), 0, layout.LOAD_SECOND)
            time.sleep(0.4)
            bench.order(link, round(10 * PACE), 0, layout.LOAD_SECOND)
            time.sleep(1.2)
            told = bench.look(link)
            after = bench.step(link)
            samples = bench.samples(link)
    parts = twin._plant.machine.parts
    bleed = 1 / rig.bus.bleed_ohm
    assert told["count"] > 20
    assert told["second_count"] >= told["count"] - 1
    pace_tpm = 60e6 * told["pulses"] / 4 / told["pulses_us"]
    assert pace_tpm == pytest.approx(PACE, rel=0.01)
    # the EMF is what the bus has and what is lost at that current
    mean_v, mean_a = (told[name] / told["count"] / 1000 for name in ("mv_sum", "ma_sum"))
    emf_v = parts.kc * pace_tpm * RPM
    assert mean_v + lost_v(parts, mean_a + mean_v * bleed) == pytest.approx(emf_v, rel=0.005)

    assert layout.STEP_REASONS[after["step_why"]] == "none"
    assert samples is not None
    times = samples.t_us
    # time is real here: a busy computer makes some of them late
    assert median(b - a for a, b in pairwise(times)) < 900
    # off, then on: what the machine is in the end
    assert samples.off_us < samples.on_us
    volts, amps = samples.volts[-1], samples.amps[-1]
    found_ohm = (emf_v - volts - lost_v(parts, amps + volts * bleed)) / amps + parts.r_source
    print(chip, "R", found_ohm, "is", parts.r_source, "k", (mean_v + lost_v(
        parts, mean_a + mean_v * bleed)) / emf_v, "samples", len(times))
    assert found_ohm == pytest.approx(parts.r_source, rel=0.05)
    # in between the bus has risen, but not at once: its capacitor
    soon = samples.volts[min(i for i, t in enumerate(times) if t > samples.off_us + 4000)]
    late = samples.volts[max(i for i, t in enumerate(times) if t < samples.on_us)]
    assert volts + 0.1 * (late - volts) < soon < volts + 0.9 * (late - volts)
    assert late > volts + 0.5


@pytest.mark.soak
def test_somebody_follows_the_beat(tmp_path: Path, firmware_files: dict[str, bytes]) -> None:
    """Open circuit, no turn sensor used by the lamp: it beats, and the hand keeps to that."""
    rig = rig_with()
    hand = Person(rig, 2, plan=[(0.0, "beat")])
    twin = Twin(rig, image=tmp_path / "a.img", seed=3, person=hand)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))), firmware_files)
    with twin:
        twin.run(6)
        with connect(twin.port) as board:
            link = board.link
            link.wait(10)
            for pace in (600, 800):
                bench.order(link, pace, 0, layout.LOAD_NONE)
                time.sleep(6)
                begun = bench.look(link)["t_ms"], twin.turning.turns
                time.sleep(4)
                turns = twin.turning.turns - begun[1]
                kept = 600e3 * turns / (bench.look(link)["t_ms"] - begun[0])
                assert kept == pytest.approx(pace, rel=0.08)
