"""The small text picture of volts over pace."""

from __future__ import annotations

from dataclasses import replace

import pytest
from steadyturn.jobs.pace import pace
from steadyturn.report.pace_picture import picture
from steadyturn.rig.examples import example_path


@pytest.mark.parametrize("heavy", [True, False])
@pytest.mark.parametrize("passing", [True, False])
def test_the_key_fits_whatever_it_names(heavy, passing):
    found = pace(example_path("dangerous-barn"))
    count = len(found.curve.pace_tpm)
    lines = picture(replace(found, curve=replace(
        found.curve, too_heavy=(heavy,) * count, passing=(False,) * (count - 1) + (passing,))))
    assert max(map(len, lines)) <= 80
    assert ("x beyond the arm" in "\n".join(lines)) is heavy
    assert ("! not limited" in "\n".join(lines)) is passing


@pytest.mark.parametrize("last", [40, 110, 160, 170, 400, 1000, 1200])
def test_the_axis_fits_and_its_numbers_stand_apart(last):
    found = pace(example_path("toy-motor"))
    count = len(found.curve.pace_tpm)
    paces = tuple(last * i / (count - 1) for i in range(count))
    lines = picture(replace(found, curve=replace(found.curve, pace_tpm=paces)))
    assert max(map(len, lines)) <= 80
    *numbers, _ = next(line for line in lines if line.endswith(" turns/min")).split()
    step = int(numbers[1])
    assert numbers == [str(step * i) for i in range(len(numbers))]
    assert last - step < int(numbers[-1]) <= last
