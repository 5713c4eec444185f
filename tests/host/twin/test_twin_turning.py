"""Turn sensor, warm windings and the second load on the virtual board: the real firmware, the
machine's own physics."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from steadyturn.board.connect import connect
from steadyturn.model.band import find_band
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.types import Rig
from steadyturn.sessions.burst import bursts, resistance
from steadyturn.sessions.decode import Pages, decode, seq_of
from steadyturn.sessions.figures import review
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.person import Person, Steady
from steadyturn.twin.twin import Hand, Twin
from steadyturn_fw import pages as layout

WARM = ("winding_to_case_k_per_w = 9\ncase_to_air_k_per_w = 22\nwinding_j_per_k = 6\n")


def rig_with(sensor: str = "", motor: str = "", bus: str = "") -> Rig:
    """The hut's rig, with more lines in these sections; a USB host feeds the board."""
    text = (FOLDER / "lakeside-hut.toml").read_text(encoding="utf-8")
    for part, lines in (("sensor", sensor), ("motor", motor), ("bus", bus)):
        text = text.replace(f"[{part}]\n", f"[{part}]\n{lines}", 1)
    rig = read_rig_text(text, "hut.toml")
    return replace(rig, supply=replace(rig.supply, feed="usb"))


def outing(rig: Rig, image: Path, hand: Hand, files: dict[str, bytes], *plan: float,
           change: object = None) -> tuple[Twin, dict[str, int], Pages]:
    """A run of plan[0] s, `change(twin)`, then plan[1] s ...; the state and the pages then."""
    settings = build(rig, find_band(rig, deep=False))
    twin = Twin(rig, image=image, seed=3, person=hand, ideal_sensor=True)
    twin.prepare(encode(settings), files)
    with twin:
        for i, seconds in enumerate(plan):
            if i:
                change(twin)  # type: ignore[operator]
            twin.run(seconds)
        with connect(twin.port) as board:
            board.link.wait(10)
            state = board.link.state()
            board.link.flush()
            raw, page = b"", board.link.page(0)
            while page is not None:
                raw += page
                page = board.link.page(seq_of(page) + 1)
        return twin, state, decode(raw)


def events(pages: Pages, code: int) -> list[int]:
    return pages.events["argument"][pages.events["code"] == code].tolist()


@pytest.mark.parametrize("pulses", [4, pytest.param(1, marks=pytest.mark.soak)])
def test_turns_are_those_of_the_handle(
    pulses: int, tmp_path: Path, firmware_files: dict[str, bytes]
) -> None:
    rig = rig_with(sensor=f"turn_pulses = {pulses}\n")
    twin, state, pages = outing(rig, tmp_path / "a.img", Person(rig, 1), firmware_files, 45)
    turns = twin.turning.turns
    assert turns > 30
    assert abs(state["turns_m"] / 1000 - turns) < 1 + 1 / pulses
    assert layout.STATE_VALIDITY[state["validity"]] == "measured"
    found = review(pages)
    assert found.pace_kind == "partly measured"  # until the first whole turn
    assert found.slips == 0
    assert found.check.agrees
    assert state["connected"] == 1


def test_slip_and_a_dead_sensor_are_told_and_charging_goes_on(
    tmp_path: Path, firmware_files: dict[str, bytes]
) -> None:
    rig = rig_with(sensor="turn_pulses = 4\n")

    def slip(twin: Twin) -> None:
        twin.turning.slip = 0.25

    def die(twin: Twin) -> None:
        twin.turning.dead = True

    for change, low, high in ((slip, 1200, 1500), (die, 0, 0)):
        _, state, pages = outing(rig, tmp_path / f"{change.__name__}.img", Steady(68.0),
                                 firmware_files, 20, 25, change=change)
        told = events(pages, layout.EV_SLIP)
        assert len(told) == 1
        assert low <= told[0] <= high
        assert set(events(pages, layout.EV_FAULT)) == {layout.FAULT_GEARS}
        assert (state["connected"], state["connections"]) == (1, 1)
        assert layout.STATE_VALIDITY[state["validity"]] == "valid"


def pace_error(rig: Rig, image: Path, files: dict[str, bytes], seconds: float) -> float:
    """Mean of the last ten seconds' pace over the servo's, less one."""
    _, _, pages = outing(rig, image, Steady(68.0), files, seconds)
    last = pages.samples[pages.samples["valid"] == layout.VALID][-50:]
    return float(last["pace_tpm"].mean(dtype=float) / 68.0 - 1)


@pytest.mark.soak
def test_a_warm_winding_is_corrected(tmp_path: Path, firmware_files: dict[str, bytes]) -> None:
    """Motors of 9 + 22 K/W and 6 J/K in ten minutes at 68 turns/min: without the correction the
    constants are those half-way to hours of it, so both ends are off."""
    rig = rig_with(motor=WARM)
    bare = replace(rig, origins={k: v for k, v in rig.origins.items() if "_k_per_w" not in k})
    with_, without = [], []
    for seconds in (25, 600):
        with_.append(pace_error(rig, tmp_path / f"w{seconds}.img", firmware_files, seconds))
        without.append(pace_error(bare, tmp_path / f"b{seconds}.img", firmware_files, seconds))
    print(f"pace error after 25 s and 600 s: with {with_}, without {without}")
    drift = abs(without[1] - without[0])
    assert drift > 0.02
    assert abs(with_[1] - with_[0]) < 0.15 * drift
    assert abs(with_[1]) < 0.012  # half a turn a minute is one step of a sample


def test_a_burst_tells_the_resistance(tmp_path: Path, firmware_files: dict[str, bytes]) -> None:
    """A servo holds the pace: R to 3 %. A light machine in an arm's hand gives way at once: an
    interval that holds."""
    rig = rig_with(bus="second_load_ohm = 47\n")
    for hand, held in ((Steady(68.0), True), (Person(rig, 2), False)):
        twin, _, pages = outing(
            rig, tmp_path / f"{held}.img", hand, firmware_files, 40 if held else 60)
        parts = twin._plant.machine.parts
        true_ohm = parts.r_source + parts.r_input  # the sensor's pin is the converter's
        settings = build(rig, find_band(rig, deep=False))
        (burst,) = bursts(pages)
        found = resistance(
            burst, held=held, capacitor_f=rig.bus.capacitor_f,
            drop_v=int(settings["drop_mv"]) / 1000, knee_a=int(settings["drop_knee_ma"]) / 1000)
        assert found is not None
        print(f"{true_ohm:.3f} ohm: {found}")
        if held:
            assert found.ohm == pytest.approx(true_ohm, rel=0.03)
        else:
            assert found.low_ohm <= true_ohm <= found.high_ohm
        assert pages.missing == ()
