"""Failures of one part on the virtual board, while the hand runs away: the phone's volts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from steadyturn.model.band import find_band
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Protection, Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.glimpse import Glimpse
from steadyturn.twin.load_switch import LoadSwitch
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

CALM_S, CALM_TPM, FAST_TPM = 7.0, 60.0, 150.0
WILD = b"""
import time
from machine import Pin
pin = Pin(16, Pin.OUT, value=0)
level = 0
while True:
    level = 1 - level
    pin.value(level)
    time.sleep_ms(20)
"""


@pytest.fixture
def tent() -> Rig:
    """A boost, its switch and a cut at the output."""
    return read_rig(FOLDER / "radio-tent.toml")


def runaway(twin: Twin, hand: Steady, watch: list[Glimpse] | None = None) -> None:
    """Connected and calm, then in two seconds to the pace of a hand whose load has gone."""
    twin.run(CALM_S)
    assert twin.glimpse().connected

    def faster(now: Glimpse) -> None:
        hand.pace_tpm = min(FAST_TPM, CALM_TPM + 45 * (now.t_s - CALM_S))
        if watch is not None:
            watch.append(now)

    twin.run(4.0, faster, 0.02)


def made(rig: Rig, image: Path, files: dict[str, bytes]) -> tuple[Twin, Steady]:
    hand = Steady(CALM_TPM)
    twin = Twin(rig, image=image, seed=3, person=hand)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))), files)
    return twin, hand


def test_a_firmware_that_holds_the_load_for_ever(
    tent: Rig, tmp_path: Path, firmware_files: dict[str, bytes]
) -> None:
    """It pulses and looks at nothing, so there is no alert either: the cut at the output acts."""
    twin, hand = made(tent, tmp_path / "a.img", {**firmware_files, "/main.py": WILD})
    with twin:
        runaway(twin, hand)
        assert twin.glimpse().connected, "nobody releases it"
        assert twin.truth.peak_bus_v > 8, "the boost runs through"
        assert twin.truth.peak_out_v <= 5.5


def test_an_output_cut_that_does_not_act(
    tent: Rig, tmp_path: Path, firmware_files: dict[str, bytes]
) -> None:
    """And no alert wired: the firmware is the barrier."""
    rig = replace(tent, protection=Protection(), sensor=replace(tent.sensor, alert=False))
    twin, hand = made(rig, tmp_path / "a.img", firmware_files)
    with twin:
        runaway(twin, hand)
        assert not twin.glimpse().connected
        assert twin.truth.peak_bus_v > 8
        assert twin.truth.peak_out_v <= 5.5


def test_a_sensor_that_dies_while_the_hand_runs_away(
    tent: Rig, tmp_path: Path, firmware_files: dict[str, bytes]
) -> None:
    """Neither cut nor alert: the ADC's divider shows it."""
    rig = replace(tent, protection=Protection(), sensor=replace(tent.sensor, alert=False))
    twin, hand = made(rig, tmp_path / "a.img", firmware_files)
    with twin:
        twin.bus.fault("nack", CALM_S + 0.2)
        runaway(twin, hand)
        assert not twin.glimpse().connected
        assert twin.truth.peak_out_v <= 5.5


def test_fed_by_a_host_and_by_the_crank(hut: Rig, hut_image: Path) -> None:
    """The host's volts stay behind the supply's diode: neither device nor reservoir see more."""
    hand = Steady(65.0)
    with Twin(hut, image=hut_image, person=hand) as twin:
        twin._plant.host_power = True
        looks: list[Glimpse] = []
        twin.run(8, looks.append, 0.05)
        assert twin.glimpse().connected
        assert twin.truth.peak_out_v <= 5.5
        assert max(g.reservoir_v for g in looks) <= hut.supply.reservoir_max_v + 0.01


def test_too_hot(hut: Rig, tmp_path: Path, firmware_files: dict[str, bytes]) -> None:
    """A thermistor on the converter: released at its limit, connected again 10 K below; a broken
    wire releases too."""
    rig = replace(hut, protection=replace(hut.protection, ntc_at="converter"),
                  supply=replace(hut.supply, feed="usb"))
    hand = Steady(65.0)
    twin = Twin(rig, image=tmp_path / "a.img", person=hand)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))), firmware_files)
    with twin:
        twin.run(7)
        assert twin.glimpse().connected
        for celsius, connected in ((68.0, True), (72.0, False), (62.0, False), (58.0, True)):
            twin.analog.thermistor_c = celsius
            twin.run(5)
            assert twin.glimpse().connected == connected, celsius
        for wire, connected in (("broken", False), ("", True), ("shorted", False)):
            twin.analog.thermistor_wire = wire
            twin.run(5)
            assert twin.glimpse().connected == connected, wire


# --------------------------------------------------------- the keep-alive circuit by itself

PINS = {"switch_pin": 16, "let_go_pin": 19}


def pulses(switch: LoadSwitch, from_ms: int, to_ms: int, let_go: bool | None = None) -> None:
    level = 0
    for ms in range(from_ms, to_ms, 20):
        level ^= 1
        if let_go is not None:
            switch.let_go_changed(1000 * ms, let_go)
        switch.pin_changed(1000 * ms, level)


def test_a_keep_alive_pin_that_is_stuck(hut: Rig) -> None:
    """At either level there are no edges, so nothing is held."""
    for level in (0, 1):
        switch = LoadSwitch(hut, PINS, lambda t_us: None)
        pulses(switch, 0, 1000)
        assert switch.connected
        last_us = switch.expires_us - round(1e6 * hut.switch.hold_s)
        for ms in range(1000, 2000, 20):
            switch.pin_changed(1000 * ms, level)
        assert switch.expires_us <= last_us + 20_000 + round(1e6 * hut.switch.hold_s)
        switch.expire()
        assert not switch.connected


def test_a_let_go_wire_that_is_stuck_high(hut: Rig) -> None:
    """It can only release."""
    switch = LoadSwitch(hut, PINS, lambda t_us: None)
    pulses(switch, 0, 2000, let_go=True)
    assert not switch.connected
    assert switch.switchings == []
