"""The real firmware releases the load within 45 ms of an over-voltage, without the alert."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from steadyturn.model.band import find_band
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.glimpse import Glimpse
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin


@pytest.fixture
def barn() -> Rig:
    """A boost that is fed above its set point, its sensor's alert not wired."""
    rig = read_rig(FOLDER / "dangerous-barn.toml")
    assert not rig.sensor.alert
    return rig


def sped_up(rig: Rig, image: Path, seed: int) -> tuple[float, float, str]:
    """Seconds from the bus passing over_mv to the release, the most the device saw [V], and
    what released the load: charging at 48 turns/min, then faster by 40 a second."""
    settings = build(rig, find_band(rig, deep=False))
    seen: list[Glimpse] = []
    hand = Steady(0.0)

    def turn(now: Glimpse) -> None:
        seen.append(now)
        hand.pace_tpm = min(48.0, 20 * now.t_s) + max(0.0, 40 * (now.t_s - 10))

    twin = Twin(rig, image=image, seed=seed, person=hand)
    twin.prepare(encode(settings))
    with twin:
        twin.run(10, turn, 0.02)
        assert twin.glimpse().connected
        twin.run(1.5, turn, 0.001)
        truth = twin.truth
    passed = next(g.t_s for g in seen if g.bus_v >= int(settings["over_mv"]) / 1000)
    after = truth.released_after_s(passed)
    assert after is not None
    off = next(s for s in truth.switchings if s.t_s >= passed)
    return after, max(g.out_v for g in seen), off.why


@pytest.fixture(params=[1, 2])
def seed(request: pytest.FixtureRequest) -> Iterator[int]:
    return request.param


def test_over_voltage_is_released_within_45_ms(barn: Rig, tmp_path: Path, seed: int) -> None:
    after, peak_v, why = sped_up(barn, tmp_path / "a.img", seed)
    assert why == "let_go"
    assert after <= 0.045
    assert peak_v <= 5.5


def test_without_the_let_go_pin_the_pulses_hold_it_longer(barn: Rig, tmp_path: Path) -> None:
    rig = replace(barn, board=replace(barn.board, pins={**barn.board.pins, "let_go_pin": -1}))
    after, _, why = sped_up(rig, tmp_path / "a.img", 1)
    assert why == "silence"
    assert 0.045 < after <= barn.switch.hold_s + 0.045
