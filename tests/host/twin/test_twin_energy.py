"""What the board says it measured, against what the machine's physics delivered."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from steadyturn.board.connect import connect
from steadyturn.model.band import find_band
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.person import Idle, Person
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages


@pytest.mark.parametrize(
    ("ideal", "seed", "within"), [(True, 1, 0.01), (False, 1, 0.05), (False, 2, 0.05)])
def test_energy_by_the_adc_alone(
    hut: Rig, tmp_path: Path, firmware_files: dict[str, bytes], ideal: bool, seed: int,
    within: float,
) -> None:
    """1 % with ideal parts; 5 % with dividers, gains and shunts of 1 % and 0.3 mV of offset."""
    sensor = dataclasses.replace(hut.sensor, chip="adc", alert=False, amplifier=20.0)
    rig = dataclasses.replace(
        hut, sensor=sensor, supply=dataclasses.replace(hut.supply, feed="usb"))
    twin = Twin(
        rig, image=tmp_path / "a.img", seed=seed, person=Person(rig, 1), ideal_sensor=ideal)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))), firmware_files)
    with twin:
        twin.run(40)
        twin.person = Idle()
        twin.run(5)
        truth = twin.truth
        with connect(twin.port) as board:
            board.link.wait(10)
            state = board.link.state()
    assert truth.in_j > 50
    assert state["sensor_errors"] == 0
    assert state["connections"] >= 1
    assert state["energy_in_uj"] / 1e6 == pytest.approx(truth.in_j, rel=within)
    # while little current flows the offsets leave the pace a bound, and turns are not counted
    assert 0.8 * truth.turns < state["turns_m"] / 1000 < 1.03 * truth.turns


@pytest.mark.parametrize(("ideal", "within"), [(True, 0.005), (False, 0.03)])
def test_energy_to_the_device_where_the_output_is_measured(
    hut: Rig, tmp_path: Path, firmware_files: dict[str, bytes], ideal: bool, within: float
) -> None:
    """An INA3221's second channel: what the device gets is what was measured less the cable's
    share, and each page of it says so."""
    sensor = dataclasses.replace(
        hut.sensor, chip="ina3221", alert=False, out_shunt_ohm=0.05)
    rig = dataclasses.replace(
        hut, sensor=sensor, supply=dataclasses.replace(hut.supply, feed="usb"))
    twin = Twin(rig, image=tmp_path / "a.img", seed=2, person=Person(rig, 1), ideal_sensor=ideal)
    twin.prepare(encode(build(rig, find_band(rig, deep=False))), firmware_files)
    with twin:
        twin.run(60)
        twin.person = Idle()
        twin.run(5)
        truth = twin.truth
        with connect(twin.port) as board:
            board.link.wait(10)
            state = board.link.state()
            page = board.link.page(state["last_seq"])
    assert truth.out_j > 50
    assert state["energy_out_uj"] / 1e6 == pytest.approx(truth.out_j, rel=within)
    assert page is not None
    assert page[pages.AT_FLAGS] & pages.FLAG_OUT_MEASURED


@pytest.mark.parametrize(
    ("ideal", "seed", "within"),
    [(True, 1, 0.002), (False, 1, 0.02), (False, 2, 0.02), (False, 3, 0.02)],
)
def test_energy_and_charge_into_the_converter(
    hut: Rig, hut_image: Path, ideal: bool, seed: int, within: float
) -> None:
    """0.2 % with an ideal sensor; 2 % with a data-sheet sensor and a 1 % shunt."""
    rig = dataclasses.replace(hut, supply=dataclasses.replace(hut.supply, feed="usb"))
    person = Person(rig, seed)
    with Twin(rig, image=hut_image, seed=seed, person=person, ideal_sensor=ideal) as twin:
        twin.run(60)
        twin.person = Idle()
        twin.run(5)
        truth = twin.truth
        with connect(twin.port) as board:
            board.link.wait(10)
            state = board.link.state()
    assert truth.in_j > 100
    assert state["energy_in_uj"] / 1e6 == pytest.approx(truth.in_j, rel=within)
    assert state["charge_uc"] / 1e6 == pytest.approx(truth.in_c, rel=within)
    assert state["turns_m"] / 1000 == pytest.approx(truth.turns, rel=0.03)
