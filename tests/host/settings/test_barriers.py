"""No one failure puts more on the device than it bears; where one would, `check` says so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from steadyturn.jobs.hazards import hazards_at
from steadyturn.model.dynamics import Machine
from steadyturn.model.hand import ServoHand
from steadyturn.model.hazards import ratings
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Converter, Protection, Rig
from steadyturn.settings.barriers import FAILURES, device_v, single_faults

SAFE = ("lakeside-hut", "night-ferry", "radio-tent")
PACE_TPM = 80.0


def example(name: str) -> Rig:
    return read_rig(FOLDER / f"{name}.toml")


def boost(place: str, **protection: float) -> Rig:
    """The tent's boost, with the switch elsewhere and other protection; it does not isolate."""
    rig = example("radio-tent")
    return replace(rig, switch=replace(rig.switch, place=place),
                   protection=Protection(**protection))


def runaway(rig: Rig, failed: str) -> float:
    """The most the device sees [V] while its load switch is held closed by whoever has failed
    and the hand runs away to 150 turns/min: the machine in time, hardware alone."""
    p, c = rig.protection, rig.converter
    if failed == "converter":  # from the input to the output without a drop
        c = replace(c, kind="boost", pass_drop_v=0.0)
    if failed in ("bus_clamp", "bus_cut", "output_cut"):
        p = replace(p, **{f"{failed}_v": None})
    if failed == "bus_clamp":
        p = replace(p, bus_clamp_w=None)
    machine = Machine(replace(rig, protection=p, converter=c,
                              supply=replace(rig.supply, feed="usb")))
    machine.advance(4.0, ServoHand([(0.0, 70.0), (2.0, 150.0)]), True, True, True)
    return machine.peak_out_v


@pytest.mark.parametrize("failed", FAILURES)
@pytest.mark.parametrize("name", SAFE)
def test_the_examples_keep_the_rule(name: str, failed: str) -> None:
    rig = example(name)
    fault = device_v(rig, failed, PACE_TPM)
    assert fault.volts <= rig.load.max_v
    assert fault.left, "something holds it"


@pytest.mark.parametrize("name", SAFE)
@pytest.mark.parametrize("failed", ["firmware", "switch", "converter"])
def test_hardware_alone_in_time(name: str, failed: str) -> None:
    """Firmware dead and its switch held: the cut at the output keeps 5.5 V."""
    peak_v = runaway(example(name), failed)
    assert peak_v <= 5.5
    assert peak_v <= device_v(example(name), failed, PACE_TPM).volts + 0.05


@pytest.mark.parametrize("name", SAFE)
def test_a_release_at_full_pace_spares_what_stays_connected(name: str) -> None:
    """Released at 90 turns/min under load, and the hand then runs away: coil and hand lift the
    bus, and every part of it bears that."""
    rig = example(name)
    machine = Machine(replace(rig, supply=replace(rig.supply, feed="usb")))
    hand = ServoHand([(0.0, 90.0), (3.0, 150.0)])
    machine.advance(3.0, hand, True, True, True)
    before_v = machine.peak_out_v
    assert before_v > 4.0, "it was under load"
    machine.advance(6.0, hand, False, True, True)
    assert machine.peak_out_v <= max(before_v, 5.5)
    assert machine.peak_bus_v > machine.state.bus_v * 0.9
    for rating in ratings(rig):
        if rating.name != "open_circuit_device_fault":
            assert float(rating.seen(np.array(machine.peak_bus_v))) <= rating.rating_v, rating


def test_without_the_cut_the_same_run_harms() -> None:
    """So the test above can fail: the boost runs through."""
    rig = example("radio-tent")
    bare = replace(rig, protection=Protection())
    assert runaway(bare, "firmware") > 9.0
    assert device_v(bare, "firmware", PACE_TPM).volts > 9.0
    clamped = replace(rig, protection=Protection(bus_clamp_v=5.4, bus_clamp_w=200.0))
    assert runaway(clamped, "firmware") <= 5.5
    assert runaway(clamped, "bus_clamp") > 9.0


def test_a_cut_alone_is_not_enough() -> None:
    """Enable does not part a plain boost: if the cut fails, nothing is left."""
    rig = boost("enable", output_cut_v=5.45)
    assert [f.failed for f in single_faults(rig, PACE_TPM)] == ["output_cut"]
    shown = {h.name: h for h in hazards_at(rig, PACE_TPM)}["single_fault_output_cut"]
    assert not shown.refuses
    assert shown.volts > 9.0
    assert "bus_switch or an output_switch" in shown.how
    both = boost("output_switch", output_cut_v=5.45, bus_cut_v=5.7)
    assert not single_faults(both, PACE_TPM)


def test_the_firmware_is_no_second_barrier_of_a_boost() -> None:
    """A hand runs away within its 45 ms: tests/host/circuit simulates it."""
    rig = boost("output_switch", output_cut_v=5.45)
    assert [f.failed for f in single_faults(rig, PACE_TPM)] == ["output_cut"]
    assert device_v(rig, "output_cut", PACE_TPM).left == ()
    shown = {h.name: h for h in hazards_at(rig, PACE_TPM)}["single_fault_output_cut"]
    assert "bus_cut_v" in shown.how


def test_a_cut_that_acts_through_the_switch_fails_with_it() -> None:
    rig = boost("bus_switch", bus_cut_v=5.4)
    assert {f.failed for f in single_faults(rig, PACE_TPM)} == {"switch", "bus_cut"}
    assert not single_faults(boost("bus_switch", bus_cut_v=5.4, output_cut_v=5.45), PACE_TPM)


def test_a_converter_that_shorts_is_there_at_once() -> None:
    """Firmware and alert are too late for it."""
    rig = replace(example("lakeside-hut"), protection=Protection())
    fault = device_v(rig, "converter", PACE_TPM)
    assert fault.volts > 12
    assert fault.left == ()
    names = [h.name for h in hazards_at(rig, PACE_TPM)]
    assert "open_circuit_device_fault" in names


def test_nothing_at_the_output_is_nothing_to_harm() -> None:
    rig = example("radio-tent")
    assert single_faults(replace(rig, load=replace(rig.load, kind="none")), 80.0) == []


def test_a_converter_that_regulates_needs_no_barrier() -> None:
    made = Converter(kind="buck", out_v=5.1, start_v=7.0, stop_v=6.0, max_in_v=30.0)
    rig = replace(example("night-ferry"), converter=made, protection=Protection())
    assert device_v(rig, "firmware", PACE_TPM).volts == pytest.approx(5.1)


def test_the_words_reach_the_screen(tmp_path: Path) -> None:
    from steadyturn.jobs.check import check
    from steadyturn.report.check import text

    rig = (FOLDER / "radio-tent.toml").read_text().replace('"output_switch"', '"enable"')
    path = tmp_path / "rig.toml"
    path.write_text(rig)
    found = check(path)
    said = " ".join(text(found).split())
    assert "if the output cut does not act, nothing else parts the device" in said
    assert found.safe
