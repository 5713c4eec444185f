"""Any figures at all as points: a sentence or a correction, never a crash; and what is written
keeps to the bounds, whatever was typed."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from memory_board import hut_board
from steadyturn.board import update
from steadyturn.errors import WrongInput
from steadyturn.jobs import calibrate as job
from steadyturn.jobs import calibrate_points
from steadyturn.report import calibrate as report
from steadyturn.settings import corrections
from steadyturn.settings.file import decode

ODD = ("0.0001", "none", "5V/10ohm", "1e3", "nan", "", ".", "199999", "-0", "0,5", "5V", "5A")
METERS = (None, "0.1+2/20000", "0+0/1000", "10+50/100000")


def figure(rng, unit):
    kind = rng.random()
    if kind < 0.6:
        return f"{rng.uniform(0, 30 if unit == 'V' else 3):.3f}"
    if kind < 0.7:
        return f"{-rng.uniform(0, 30):.2f}"
    if kind < 0.8:
        return f"{rng.uniform(0, 30_000):.1f}m{unit}"
    return f"{rng.uniform(0, 1e5):.0f}" if kind < 0.9 else rng.choice(ODD)


@pytest.mark.parametrize("count", [60, pytest.param(3000, marks=pytest.mark.soak)])
def test_any_points(count):
    rng = random.Random(count)
    board = hut_board()
    seen = set()
    for _ in range(count):
        base = rng.uniform(3, 20)
        near = [f"{base * k:.3f}={base * k * rng.uniform(0.98, 1.02):.3f}" for k in (1.0, 1.7)]
        typed = {
            "volts": near if rng.random() < 0.3 else [
                f"{figure(rng, 'V')}={figure(rng, 'V')}" for _ in range(rng.randrange(4))],
            "amps": [f"{figure(rng, 'A')}={figure(rng, 'A')}" for _ in range(rng.randrange(3))]}
        try:
            meter, points = calibrate_points.given(typed, None, rng.choice(METERS), None)
        except WrongInput:
            seen.add("wrong input")
            continue
        if not points:
            continue
        done = job.calibrate(board, meter, points, lambda plan: [j.quantity for j in plan.judged],
                             anchor=False)
        seen.add(done.outcome)
        text = report.plan_text(done) + report.text(done)
        assert max(map(len, text.splitlines())) <= 80, typed
        settings = decode(board.memory.content[update.SETTINGS])
        for quantity in ("bus", "amps"):
            assert not corrections.refusals(settings, quantity, corrections.read(
                settings, quantity)), typed
        if done.outcome == "written" and rng.random() < 0.5:
            job.undo(board, lambda plan: True, anchor=False)
    assert seen == {"wrong input", "nothing", "written"}
