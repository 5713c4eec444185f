"""The board lives on the crank: when it starts, when it dies, and what that does."""

from __future__ import annotations

import dataclasses
import time
from pathlib import Path

import pytest
from steadyturn.model.band import Band
from steadyturn.rig.types import Rig
from steadyturn.twin.person import Idle, Steady
from steadyturn.twin.twin import Twin

PULSES = b"""
import time
from machine import Pin
pin = Pin(16, Pin.OUT, value=0)
level = 0
end = time.ticks_add(time.ticks_ms(), %d)
while time.ticks_diff(end, time.ticks_ms()) > 0:
    level = 1 - level
    pin.value(level)
    time.sleep_ms(20)
%s
"""


def test_it_starts_at_the_wake_up_volts_and_dies_without_a_hand(
    hut: Rig, hut_image: Path, hut_band: Band
) -> None:
    target = hut_band.target_tpm
    assert target is not None
    with Twin(hut, image=hut_image, person=Steady(target), ideal_sensor=True) as twin:
        seen = []
        twin.run(8, watch=seen.append, every_s=0.02)
        assert not seen[0].board_on
        woke = next(g for g in seen if g.board_on)
        assert woke.bus_v >= hut.supply.wake_v
        assert woke.reservoir_v > hut.supply.off_v
        assert seen[-1].board == "running"
        assert seen[-1].connected
        assert seen[-1].out_v > 4.75
        twin.person = Idle()
        twin.run(60, watch=seen.append, every_s=0.02)
        truth = twin.truth
        assert len(truth.boots_s) == len(truth.deaths_s) == 1
        died = next(g for g in seen if g.t_s >= truth.deaths_s[0])
        assert died.reservoir_v < hut.supply.off_v + 0.05
        assert not died.connected
        assert died.light == 0.0
        # and again, from its own flash
        twin.person = Steady(target)
        twin.run(8)
        assert len(twin.truth.boots_s) == 2
        assert twin.glimpse().connected


def test_a_crank_too_slow_never_wakes_it(hut: Rig, hut_image: Path) -> None:
    with Twin(hut, image=hut_image, person=Steady(8)) as twin:
        twin.run(20)
        assert twin.truth.boots_s == ()
        assert twin.glimpse().board == "off"


@pytest.mark.parametrize("feed", ["usb", "cell"])
def test_other_feeds_keep_it_on(hut: Rig, hut_image: Path, feed: str) -> None:
    rig = dataclasses.replace(hut, supply=dataclasses.replace(hut.supply, feed=feed))
    with Twin(rig, image=hut_image) as twin:
        twin.run(5)
        truth = twin.truth
    assert truth.boots_s == (0.4,)
    assert truth.deaths_s == ()


@pytest.mark.parametrize(
    ("after", "why"),
    [(b"", "prompt"), (b"while True:\n    time.sleep_ms(20)\n", "running")],
    ids=["program ended", "program goes on without pulses"],
)
def test_the_load_switch_lets_go_when_no_pulse_comes(
    hut: Rig, tmp_path: Path, after: bytes, why: str
) -> None:
    twin = Twin(hut, image=tmp_path / "a.img", person=Steady(60))
    twin.prepare(files={"/main.py": PULSES % (1000, after)})
    with twin:
        twin.run(5)
        truth = twin.truth
        assert twin.glimpse().board == why
    assert [s.connected for s in truth.switchings] == [True, False]
    on, off = truth.switchings
    assert off.why == "silence"
    last_pulse = on.t_s + 0.98
    assert off.t_s - last_pulse == pytest.approx(hut.switch.hold_s, abs=0.021)


def test_a_hung_program_lets_the_load_go(hut: Rig, tmp_path: Path) -> None:
    """A loop that neither sleeps nor looks at the clock: time goes on without it."""
    twin = Twin(hut, image=tmp_path / "a.img", person=Steady(60))
    twin.prepare(files={"/main.py": PULSES % (500, b"while True:\n    pass\n")})
    with twin:
        twin.run(4)
        twin.run(1)
        truth = twin.truth
    assert [s.connected for s in truth.switchings] == [True, False]
    assert truth.connected_s == pytest.approx(0.48 + hut.switch.hold_s, abs=0.03)


def test_a_cut_tears_the_flash_operation_under_way(hut: Rig, tmp_path: Path) -> None:
    main = b"""
n = 0
while True:
    with open('/n', 'w') as file:
        file.write(str(n) * 500)
    n += 1
"""
    rig = dataclasses.replace(hut, supply=dataclasses.replace(hut.supply, feed="usb"))
    twin = Twin(rig, image=tmp_path / "a.img")
    twin.prepare(files={"/main.py": main})
    with twin:
        for _ in range(3):
            twin.run(1.013)
            twin.cut_power()
        truth = twin.truth
        assert len(truth.deaths_s) == 3
        assert truth.torn >= 2
        twin.run(1)
        assert twin.glimpse().board == "running"  # littlefs mounted and main.py is there


def test_a_board_without_its_sensor_sees_an_error_and_recovers(hut: Rig, tmp_path: Path) -> None:
    main = b"""
import time
from machine import I2C, Pin
bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=400000)
two = bytearray(2)
lamp = Pin(15, Pin.OUT)
while True:
    try:
        bus.readfrom_mem_into(0x40, 0xFE, two)
        lamp.value(two == b'TI')
    except OSError as error:
        lamp.value(0)
    time.sleep_ms(20)
"""
    rig = dataclasses.replace(hut, supply=dataclasses.replace(hut.supply, feed="usb"))
    twin = Twin(rig, image=tmp_path / "a.img")
    twin.prepare(files={"/main.py": main})
    with twin:
        twin.run(1)
        assert twin.glimpse().light == 1.0
        twin.sensor_fitted = False
        twin.run(0.1)
        assert twin.glimpse().light == 0.0
        twin.sensor_fitted = True
        twin.run(0.1)
        assert twin.glimpse().light == 1.0


def test_rest_passes_at_once(hut: Rig, hut_image: Path) -> None:
    with Twin(hut, image=hut_image) as twin:
        began = time.monotonic()
        twin.run(6 * 3600)
        assert time.monotonic() - began < 10
        assert twin.t_s == 6 * 3600


def test_two_runs_are_the_same_to_the_bit(hut: Rig, hut_image: Path) -> None:
    from steadyturn.twin.person import Person

    truths = []
    for name in ("a.img", "b.img"):
        image = hut_image.with_name(name)
        image.write_bytes(hut_image.read_bytes())
        with Twin(hut, image=image, seed=7, person=Person(hut, 7)) as twin:
            twin.run(20)
            truths.append(twin.truth)
    assert truths[0] == truths[1]
    assert truths[0].out_j > 1
