"""The output tells a device no more than its class, whatever the tolerances."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from steadyturn.drawings.usb_output import BUS_V, CLASSES, NOTHING_V, cc_volts

PAGE = (Path(__file__).parents[3] / "hardware" / "usb_output.md").read_text(encoding="utf-8")


def test_usual_volts_at_a_cc_pin():
    # computed from ST UM2191 table 2 with 5 V and 5.1 kohm
    assert [round(cc_volts(row)[1], 3) for row in CLASSES] == [0.417, 0.941, 1.689]


def test_no_tolerance_moves_a_socket_into_another_class():
    # thresholds of a sink: 0.20-0.66-1.23 V
    edges = [NOTHING_V, *(row.up_to_v for row in CLASSES)]
    for (least, most), row in zip(pairwise(edges), CLASSES, strict=True):
        low, _, high = cc_volts(row)
        assert least < low < high <= most + 0.005


@pytest.mark.parametrize("row", CLASSES, ids=lambda row: f"{row.amps} A")
def test_the_page_has_each_class(row):
    assert f"{row.rp_ohm // 1000} kohm" in PAGE
    assert row.data in PAGE


def test_the_rigs_range_of_what_is_advertised_has_the_classes():
    from steadyturn.rig.types import Load

    spec = Load.__dataclass_fields__["advertised_a"].metadata["spec"]
    assert all(spec.low <= row.amps <= spec.high for row in CLASSES)
    assert BUS_V[1] == 5.5  # what hazards.md promises
