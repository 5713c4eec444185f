"""Only a tick that ran through keeps the load connected: whatever ends or stops the real firmware,
the charge pump lets go within its hold time, and a fresh start begins released."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from steadyturn.board.stream import SerialStream
from steadyturn.model.band import Band
from steadyturn.rig.types import Rig
from steadyturn.twin.glimpse import Glimpse
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

TICKS = 100  # with the load connected, before it happens
TICK_S = 0.02
# the firmware's own program, with one thing that goes wrong in the middle of a part of its tick
MAIN = """
import machine, time
from steadyturn_fw import loop
from steadyturn_fw import main as program
whole = loop.Loop.{part}
left = [{ticks}]
def odd(self, *given):
    left[0] -= self.now.connected
    if left[0] < 0:
        left[0] = 1 << 20
        {what}
    return whole(self, *given)
loop.Loop.{part} = odd
program.run()
"""
SLEEPS = "while True: time.sleep_ms(5)"
Make = Callable[[str, str], Twin]


@pytest.fixture
def make(
    hut: Rig, hut_band: Band, hut_settings: bytes, firmware_files: dict[str, bytes],
    tmp_path: Path
) -> Make:
    def made(what: str, part: str = "tick") -> Twin:
        main = MAIN.format(part=part, ticks=TICKS, what=what).encode()
        twin = Twin(hut, image=tmp_path / "a.img", person=Steady(hut_band.target_tpm or 0.0))
        twin.prepare(hut_settings, {**firmware_files, "/main.py": main})
        return twin

    return made


def seen(twin: Twin, seconds: float) -> list[Glimpse]:
    found: list[Glimpse] = []
    twin.run(seconds, found.append, 0.005)
    return found


def let_go_after(twin: Twin, rig: Rig) -> tuple[float, str]:
    """Seconds from the moment that it went wrong to the first release, and what released it."""
    on, off = twin.truth.switchings[:2]
    assert (on.connected, off.connected) == (True, False)
    return off.t_s - (on.t_s + (TICKS + 1) * TICK_S), off.why


LONG = pytest.mark.soak


@pytest.mark.parametrize("part", [
    pytest.param("tick", marks=LONG), pytest.param("_protect", marks=LONG),
    pytest.param("_percent", marks=LONG), "_record"])
def test_a_hang_in_any_part_of_a_tick(make: Make, hut: Rig, part: str) -> None:
    """The last: all of the tick is done but the edge."""
    with make(SLEEPS, part) as twin:
        twin.run(12)
        after, why = let_go_after(twin, hut)
        assert why == "silence"
        assert -2 * TICK_S <= after <= hut.switch.hold_s + TICK_S
        assert len(twin.truth.switchings) == 2  # and nothing connects it again


@LONG
def test_a_hang_that_never_looks_up(make: Make, hut: Rig) -> None:
    with make("while True: pass") as twin:
        twin.run(9)
        after, why = let_go_after(twin, hut)
    assert why == "silence"
    assert after <= hut.switch.hold_s + TICK_S


@pytest.mark.parametrize(
    ("what", "why"),
    [("raise ValueError('odd')", "let_go"), ("machine.reset()", "silence"),
     ("machine.soft_reset()", "let_go"), ("raise KeyboardInterrupt", "let_go")],
)
def test_an_end_of_the_program(make: Make, hut: Rig, what: str, why: str) -> None:
    with make(what) as twin:
        twin.run(9)
        after, how = let_go_after(twin, hut)
    assert how == why
    assert after <= hut.switch.hold_s + TICK_S


@pytest.mark.parametrize("what", [
    "machine.soft_reset()", pytest.param("machine.reset()", marks=LONG)])
def test_after_a_reset_the_first_tick_is_released(make: Make, hut: Rig, what: str) -> None:
    """And the next connection comes two seconds after that start, no sooner."""
    with make(what) as twin:
        looks = seen(twin, 14)
        truth = twin.truth
    assert len(truth.boots_s) >= 2
    boot_s = truth.boots_s[1]
    # a tick of 20 ms and what making the parts takes; a hard reset takes longer than the hold
    ticks = [g for g in looks if boot_s + 0.12 < g.t_s < boot_s + 2.0]
    assert ticks
    assert not any(g.connected for g in ticks)
    assert [s.connected for s in truth.switchings[:3]] == [True, False, True]
    assert truth.switchings[2].t_s >= boot_s + 2.0, "at least two seconds apart"


def test_a_loss_of_power(hut: Rig, hut_image: Path, hut_band: Band) -> None:
    with Twin(hut, image=hut_image, person=Steady(hut_band.target_tpm or 0.0)) as twin:
        twin.run(8)
        assert twin.glimpse().connected
        cut_s = twin.t_s
        twin.cut_power()
        twin.run(0.2)
        after = twin.truth.released_after_s(cut_s)
    assert after is not None
    assert after <= hut.switch.hold_s


def test_ctrl_c_and_the_prompt(hut: Rig, hut_image: Path, hut_band: Band) -> None:
    """Released before the prompt comes; nothing that is typed there connects it again; a soft
    reset from there begins released too."""
    with Twin(hut, image=hut_image, person=Steady(hut_band.target_tpm or 0.0)) as twin:
        if twin.port is None:
            pytest.skip("no serial port without the Unix port")
        twin.run(8)
        assert twin.glimpse().connected
        stream = SerialStream(str(twin.port))
        try:
            stream.write(b"\x03")
            until(lambda: twin.glimpse().board == "prompt")
            truth = twin.truth
            assert [s.connected for s in truth.switchings] == [True, False]
            assert truth.switchings[1].why == "let_go"
            stream.write(b"for i in range(9): i\r\n\r\n")
            time.sleep(0.3)
            assert not twin.glimpse().connected
            from_s = twin.t_s
            stream.write(b"\x04")
            until(lambda: twin.t_s > from_s + 1.0)
            assert not twin.glimpse().connected
        finally:
            stream.close()


def until(happened: Callable[[], bool], most_s: float = 10.0) -> None:
    end = time.monotonic() + most_s
    while not happened():
        assert time.monotonic() < end
        time.sleep(0.02)
