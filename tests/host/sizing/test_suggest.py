"""Where nothing works: every suggestion is a machine that the exact model bears out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from drawers import CONVERTERS, HOPELESS, MOTOR, REST, drawer
from steadyturn.model.band import find_band
from steadyturn.rig.file import read_rig_text
from steadyturn.sizing.drawer import rig_of
from steadyturn.sizing.parts_file import read_drawer
from steadyturn.sizing.rig_text import rig_text
from steadyturn.sizing.search import search
from steadyturn.sizing.suggest import KINDS, suggest

SHIPPED = read_drawer(None, typical=True)


def suggested(text: str):
    of = drawer(text)
    assert not search(of).rows
    return suggest(of, SHIPPED)


def borne_out(found) -> None:
    assert found
    assert [KINDS.index(s.kind) for s in found] == sorted(KINDS.index(s.kind) for s in found)
    for suggestion in found[:1]:
        rig = rig_of(suggestion.drawer, suggestion.row.build)
        band = find_band(rig, deep=False)
        assert band.feasible, suggestion.change
        assert band.low_tpm == pytest.approx(suggestion.row.low_tpm, abs=0.05)
        assert bool([h for h in band.hazards if h.name != "open_circuit_device_fault"]
                    ) == suggestion.row.unsafe
    for suggestion in found:  # the changed drawer's file says what was searched
        text = rig_text(suggestion.drawer, suggestion.row.build, 1, "x")
        rig, wanted = read_rig_text(text, "x"), rig_of(suggestion.drawer, suggestion.row.build)
        assert replace(rig, name="", note="") == replace(wanted, name="", note="")


def test_hopeless_needs_other_motors() -> None:
    found = suggested(HOPELESS)
    borne_out(found)
    assert {s.kind for s in found} == {"buy"}
    assert all(" of another motor: " in s.change for s in found)


def test_two_changes_where_one_is_not_enough() -> None:
    found = suggested(HOPELESS + "[arm]\npower_w = 4.5\n[limits]\nmax_stages = 2\n")
    borne_out(found)
    assert all(", and " in s.change for s in found)
    assert not any(s.row.unsafe for s in found)


def test_too_few_teeth() -> None:
    """A printer that makes small wheels only: larger ones, or more stages."""
    text = MOTOR + CONVERTERS + REST + "[limits]\nmax_stages = 2\nmax_teeth = 36\n"
    found = suggested(text)
    borne_out(found)
    changes = [s.change for s in found]
    assert any(c.startswith("wheels of up to 54 teeth in place of 36") for c in changes)
    assert any(c == "3 gear stages in place of at most 2" for c in changes)


def test_one_motor_too_few() -> None:
    text = (MOTOR.replace("count = 2", "count = 1") + CONVERTERS + REST
            + "[limits]\nmax_stages = 2\n[arm]\ncomfort_high_tpm = 75\n")
    found = suggested(text)
    borne_out(found)
    assert any(s.change == "1 more of printer motor (2 in all)" for s in found)


def test_a_weak_arm() -> None:
    found = suggested(MOTOR + CONVERTERS + REST
                      + "[arm]\nforce_n = 5.0\n[limits]\nmax_stages = 2\n")
    borne_out(found)
    changes = [s.change for s in found]
    assert any(c.startswith("a handle of") for c in changes)
    assert any(c.startswith("a device (or cable) that draws") for c in changes)
    assert found[0].kind == "choose"


def test_another_kind_of_converter() -> None:
    text = MOTOR + CONVERTERS.split("[[converter]]")[0] + """
[[converter]]
name = "late"
kind = "linear"
out_v = 5.0
start_v = 25
stop_v = 24.5
max_in_v = 30
""" + REST + "[limits]\nmax_stages = 2\n"
    found = suggested(text)
    borne_out(found)
    assert any(s.change.startswith("a step-up/down to 5 V") for s in found)
