"""Each lamp kind on the virtual board, played by the real firmware, is understood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from steadyturn.model.band import Band
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.glimpse import Glimpse
from steadyturn.twin.person import Person, Steady
from steadyturn.twin.twin import Twin

KINDS = ("led", "two_led", "rgb", "piezo", "vibration")


def with_lamp(rig: Rig, kind: str, **more: object) -> Rig:
    return replace(rig, board=replace(rig.board, lamp=kind, **more))  # type: ignore[arg-type]


class Reader(Steady):
    """Turns as it is told and keeps all that the lamp shows."""

    def __init__(self, pace_tpm: float) -> None:
        super().__init__(pace_tpm)
        self.seen: list[tuple[float, float]] = []

    def see(self, t_s: float, light: float) -> None:
        self.seen.append((t_s, light))

    def lit_s(self, since_s: float) -> list[float]:
        """How long each light lasted that began after since_s."""
        return [b[0] - a[0] for a, b in pairwise(self.seen)
                if a[1] and not b[1] and a[0] > since_s]


@pytest.mark.parametrize("kind", KINDS)
def test_somebody_who_heeds_it_charges_the_phone(
    kind: str, hut: Rig, hut_band: Band, firmware_files: dict[str, bytes], tmp_path: Path
) -> None:
    rig = with_lamp(hut, kind)
    seen: list[Glimpse] = []
    with Twin(rig, image=tmp_path / "a.img", person=Person(rig, 3)) as twin:
        twin.prepare(encode(build(rig, hut_band)), firmware_files)
        twin.run(45, seen.append, 0.1)
    steady = [g for g in seen if g.t_s > 20]
    assert hut_band.low_tpm is not None
    assert hut_band.high_tpm is not None
    inside = [hut_band.low_tpm * 0.97 <= g.pace_tpm <= hut_band.high_tpm * 1.03 for g in steady]
    assert sum(inside) >= 0.7 * len(inside)
    assert sum(g.connected for g in steady) >= 0.7 * len(steady)


@pytest.mark.parametrize("kind", KINDS)
def test_without_settings_the_fault_is_seen(
    kind: str, hut: Rig, firmware_files: dict[str, bytes], tmp_path: Path
) -> None:
    rig = with_lamp(hut, kind)
    reader = Reader(60.0)
    with Twin(rig, image=tmp_path / "a.img", person=reader) as twin:
        twin.prepare(None, firmware_files)
        twin.run(12)
    long = reader.lit_s(1.0)
    if kind == "piezo":
        assert not long  # it only clicks: the specification says so
    else:
        assert len(long) >= 3
        assert all(s == pytest.approx(0.6, abs=0.03) for s in long)


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_that_ended_in_darkness_is_shown_first(
    kind: str, hut: Rig, hut_band: Band, firmware_files: dict[str, bytes], tmp_path: Path
) -> None:
    rig = with_lamp(hut, kind)
    reader = Reader(60.0)
    with Twin(rig, image=tmp_path / "a.img", person=reader) as twin:
        twin.prepare(encode(build(rig, hut_band)), firmware_files)
        twin.run(8)
        twin.sensor_fitted = False
        twin.run(10)
        twin.sensor_fitted = True
        twin.cut_power()
        since = twin.t_s
        twin.run(7)
    assert [round(s, 1) for s in reader.lit_s(since + 0.3)[:4]] == [0.6] * 4
    gaps = since_of(reader.seen, since + 0.3)
    assert 0.35 < gaps[0] < 0.45  # two to a count
    assert gaps[1] > 1.5


def spells(seen: Sequence[tuple[float, float]], since_s: float) -> list[tuple[float, float]]:
    """(level, seconds) of all that was shown from since_s on."""
    return [(a[1], b[0] - max(a[0], since_s)) for a, b in pairwise(seen) if b[0] > since_s]


def read_count(kind: str, shown: Sequence[tuple[float, float]]) -> int:
    """What somebody counts who knows the table: from the dark before it to the pause."""
    first = next(i for i, (level, s) in enumerate(shown) if not level and s > 0.75)
    lit = []
    for level, s in shown[first + 1 :]:
        if not level and s > 1.2:
            break
        if level:
            lit.append(round(s, 2))
    tens = {"piezo": (0.6, 1), "vibration": (0.25, 2)}.get(kind, (1.0, 1))
    one = {"piezo": 0.15, "vibration": 0.2}.get(kind, 0.25)
    long = sum(s == pytest.approx(tens[0], abs=0.024) for s in lit)
    short = sum(s == pytest.approx(one, abs=0.024) for s in lit)
    assert long + short == len(lit), lit
    return 10 * long // tens[1] + short


@pytest.mark.parametrize("kind", KINDS)
def test_the_button_counts_out_what_the_device_got(
    kind: str, hut: Rig, hut_band: Band, firmware_files: dict[str, bytes], tmp_path: Path
) -> None:
    """Also after a rest that cut the power; and none once the count was begun anew."""
    assert hut_band.target_tpm is not None
    rig = with_lamp(hut, kind)
    rig = replace(rig, load=replace(rig.load, capacity_j=0.1 * 3600))
    hand = Reader(hut_band.target_tpm)
    with Twin(rig, image=tmp_path / "a.img", person=hand, ideal_sensor=True) as twin:
        twin.prepare(encode(build(rig, hut_band)), firmware_files)
        twin.run(38)
        counted = []
        for _ in range(2):
            twin.press()
            pressed, percent = twin.t_s, twin.glimpse().percent
            twin.run(9)
            counted.append((read_count(kind, spells(hand.seen, pressed)), percent))
            hand.pace_tpm = 0.0
            twin.run(12)
            assert not twin.glimpse().board_on
            hand.pace_tpm = hut_band.target_tpm
            twin.run(14)
        for read, percent in counted:
            assert read >= 11
            assert read == pytest.approx(percent, abs=1.05)
        assert counted[1][0] > counted[0][0]
        twin.press(5.3)
        begun = twin.t_s
        twin.run(3)
        lit = [s for level, s in spells(hand.seen, begun) if level and s > 0.025]
        assert lit[0] == pytest.approx(0.08, abs=0.024)
        twin.run(9)
        twin.press()
        pressed = twin.t_s
        twin.run(9)
        assert 2 <= read_count(kind, spells(hand.seen, pressed)) <= 9


def since_of(seen: Sequence[tuple[float, float]], since_s: float) -> list[float]:
    """The dark after each light that began after since_s."""
    return [b[0] - a[0] for a, b in pairwise(seen)
            if not a[1] and b[1] and a[0] > since_s + 0.5]


def test_the_second_led_and_the_pixel_say_too_much(
    hut: Rig, hut_band: Band, firmware_files: dict[str, bytes], tmp_path: Path
) -> None:
    assert hut_band.target_tpm is not None
    assert hut_band.high_tpm is not None
    for kind, calm, excited in (
        ("two_led", (0.6, 0.0), (0.6, 0.6)),
        ("rgb", (0, 52, 26), (121, 52, 0)),
    ):
        rig = with_lamp(hut, kind)
        hand = Steady(hut_band.target_tpm)
        shown: set[tuple[float, ...]] = set()

        def look(
            _: Glimpse, kind: str = kind, shown: set[tuple[float, ...]] = shown
        ) -> None:
            lights = twin._plant.lights
            both = (round(lights.first, 2), round(lights.second, 2))
            shown.add(both if kind == "two_led" else lights.rgb)

        with Twin(rig, image=tmp_path / f"{kind}.img", person=hand) as twin:
            twin.prepare(encode(build(rig, hut_band)), firmware_files)
            twin.run(12)
            twin.run(1.0, look, 0.02)
            assert shown == {calm}
            hand.pace_tpm = hut_band.high_tpm * 1.12
            twin.run(5)
            shown.clear()
            twin.run(2.0, look, 0.02)
            assert shown == {excited, tuple(0 for _ in excited)}
