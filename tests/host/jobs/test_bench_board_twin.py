"""The built machine measured by the real firmware on the virtual board, by somebody who keeps the
lamp's beat: motors with 8 % more k and 20 % more ohms than the rig file says."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from pathlib import Path

import pytest
from steadyturn.jobs import bench_answer, bench_board
from steadyturn.model import gears
from steadyturn.model.band import find_band
from steadyturn.model.motor import emf_constant
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig, read_rig_text
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin import interpreter
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin

RIGS = (("lakeside-hut", "capacitor_uf = 1_000\nsecond_load_ohm = 22", "2_200"),
        ("radio-tent", "capacitor_uf = 4_700\nsecond_load_ohm = 8.2", "4_700"),
        ("night-ferry", "capacitor_uf = 1_000\nsecond_load_ohm = 33", "1_000"))


@pytest.fixture
def board(request, tmp_path, monkeypatch):
    """(rig file, what it really is, port): cranked, in real time."""
    monkeypatch.chdir(tmp_path)
    name, bus, was = request.param
    text = example_path(name).read_text(encoding="utf-8")
    text = text.replace(f"capacitor_uf = {was}", bus)
    # a handle of 20 g m2: what a light one does within milliseconds is as quick as the capacitor
    text = text.replace("[crank]\n", "[crank]\ninertia_gm2 = 20\n", 1)
    path = Path("my.toml")
    path.write_text(text, encoding="utf-8")
    rig = read_rig(path)
    load = text.replace('kind = "phone"', 'kind = "resistor"\nresistance_ohm = 12').replace(
        'kind = "power_bank"', 'kind = "resistor"\nresistance_ohm = 12')
    real = read_rig_text(load, "real.toml")
    real = replace(real, motor=replace(
        real.motor, emf_v_s=1.08 * emf_constant(rig.motor),
        terminal_ohm=1.2 * rig.motor.terminal_ohm))
    twin = Twin(real, seed=1, person=Person(real, 1, plan=[(0.0, "beat")]), real_time=True)
    with contextlib.closing(contextlib.ExitStack()) as stack:
        stack.callback(twin.stop)
        twin.prepare(encode(build(rig, find_band(rig, deep=False))))
        twin.start()
        yield path, real, twin.port


@pytest.mark.soak
@pytest.mark.timeout(1200)
@pytest.mark.skipif(interpreter.find().kind != "unix", reason="needs a serial port")
@pytest.mark.parametrize("board", RIGS, indirect=True, ids=lambda one: one[0])
def test_what_a_real_board_finds(board):
    path, real, port = board
    with bench_board.evening(path, port, room_c=17.5, slots=60) as (made, there):
        for _ in bench_board.run(made, there):
            pass
    file = bench_answer.keep(made, path)
    answer = bench_answer.answer(made, path, file)
    by = {one.key: one for one in answer.bench.result.values}
    k, ohm, train = by["emf_v_per_krpm"], by["terminal_ohm"], by["efficiency"]
    true_k = emf_constant(real.motor) / 9.5493e-3
    step = answer.step
    print(f"\n{real.name}: {answer.minutes:.1f} minutes, {answer.plateaus} plateaus, "
          f"{answer.skipped} left out; k {100 * (k.value / true_k - 1):+.1f} % "
          f"({k.low / true_k:.3f} to {k.high / true_k:.3f}); ohms "
          f"{100 * (ohm.value / real.motor.terminal_ohm - 1):+.1f} % "
          f"({ohm.low / real.motor.terminal_ohm:.3f} to {ohm.high / real.motor.terminal_ohm:.3f});"
          f" step {'none' if step is None else step.refused or f'{100 * step.share:.1f} %'}; "
          f"efficiency {train.value:.3f} ({train.low:.3f} to {train.high:.3f}), really "
          f"{gears.efficiency(real.stages):.3f}; drop told: {by['brush_drop_v'].told}, "
          f"friction told: {by['no_load_a'].told}")
    assert answer.minutes < 8
    assert 0.95 * k.low < true_k < 1.05 * k.high
    assert 0.95 * ohm.low < real.motor.terminal_ohm < 1.05 * ohm.high
    assert abs(k.value / true_k - 1) < 0.06
