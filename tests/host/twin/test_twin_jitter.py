"""Whatever the host at the other end of the cable does, the ticks come when they are due.

Time is granted in steps of some milliseconds, so that the figures are the board's own and not
those of the machine that runs the test. An edge of the load switch's pin ends each tick.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path

import pytest
from steadyturn.rig.types import Rig
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

BEGUN_S = 6.0  # connected by then
SECONDS = 8.0  # with a page or two written
STEP_US = 4000
TICK_US = 20_000
MORE_US = 300  # what an edge may move with what the chip's registers and the flash happen to do

Client = Callable[[int, "Cable"], None]


class Cable:
    """The client's end of the port."""

    def __init__(self, twin: Twin) -> None:
        assert twin.port is not None
        self.twin = twin
        self.fd = -1
        self.got = bytearray()
        self.plug()

    def plug(self) -> None:
        assert self.twin.port is not None
        self.fd = os.open(self.twin.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def pull(self) -> None:
        if self.fd >= 0:
            os.close(self.fd)
        self.fd = -1

    def send(self, data: bytes) -> None:
        if self.fd >= 0:
            os.write(self.fd, data)

    def read(self) -> None:
        if self.fd < 0:
            return
        with suppress(BlockingIOError):
            self.got += os.read(self.fd, 4096)


@contextmanager
def granted(twin: Twin) -> Iterator[Callable[[float, Client, Cable], None]]:
    """Gives what lets virtual time pass with a client, independently of real time."""
    with twin._turn() as engine:
        plant, wires = engine.plant, engine.wires

        def run(seconds: float, client: Client, cable: Cable) -> None:
            end = plant.t_us + round(seconds * 1e6)
            while plant.t_us < end:
                client(plant.t_us // 1000, cable)
                engine.look_for_client()
                if engine.child is not None and engine.asked:
                    wires.listen(engine, 0)
                if engine.asked and wires.holds(plant.t_us):
                    engine._slice(plant.t_us + STEP_US)
                else:
                    engine.free(plant.t_us + STEP_US)

        yield run


def silent(ms: int, cable: Cable) -> None:
    """Open, and nothing comes or goes."""


def watching(ms: int, cable: Cable) -> None:
    """A host that asks ten times a second and reads."""
    cable.read()
    if ms % 100 < STEP_US / 1000:
        cable.send(b":state\n")


def frozen(ms: int, cable: Cable) -> None:
    """The same, that freezes with an answer under way."""
    if ms < 8_001 + STEP_US / 1000:
        watching(ms, cable)


def pulled(ms: int, cable: Cable) -> None:
    """The same, whose cable is pulled with an answer under way and plugged in again."""
    if 8_004 <= ms < 11_000:
        cable.pull()
    elif ms >= 11_000 and cable.fd < 0:
        cable.plug()
    watching(ms, cable)


def garbage(ms: int, cable: Cable) -> None:
    """All that a port can bring, as fast as the board takes it, but Ctrl-C."""
    cable.read()
    rng = random.Random(ms)
    line = bytes(rng.choices(b"\x00\x01\x02\x04AT+:.\r\x1b\xff\xfe abcxyz019", k=90))
    cable.send(line + (b"\n" if ms % 3 else b""))


def intervals(twin: Twin, client: Client) -> list[int]:
    """us between the ends of ticks, from BEGUN_S on."""
    cable = Cable(twin)
    readings = twin.record_readings()
    try:
        with granted(twin) as run:
            run(BEGUN_S + SECONDS, client, cable)
    finally:
        cable.pull()
    (boot,) = readings.boots
    edges = [t for t in boot.edges if t > BEGUN_S * 1e6]
    return [b - a for a, b in pairwise(edges)]


@pytest.fixture
def made(hut: Rig, hut_settings: bytes, firmware_files: dict[str, bytes], tmp_path: Path
         ) -> Callable[[Client], list[int]]:
    def run(client: Client) -> list[int]:
        image = tmp_path / f"{client.__name__}.img"
        with Twin(hut, image=image, seed=3, person=Steady(62.0), ideal_sensor=True) as twin:
            twin.prepare(hut_settings, firmware_files)
            return intervals(twin, client)

    return run


def held_against(alone: list[int], found: list[int]) -> None:
    """As many ticks, none later than there, and as few that are moved at all."""
    assert abs(len(found) - len(alone)) <= 1
    off = [sorted(abs(us - TICK_US) for us in ticks) for ticks in (alone, found)]
    assert off[1][-1] <= off[0][-1] + MORE_US
    for share in (0.5, 0.9, 0.99):
        at = int(share * len(off[0])), int(share * len(off[1]))
        assert off[1][at[1]] <= off[0][at[0]] + MORE_US / 3, share


def test_jitter_is_the_same_whatever_the_host_does(made: Callable[[Client], list[int]]) -> None:
    alone = made(silent)
    assert len(alone) >= 0.97 * SECONDS * 1e6 / TICK_US
    assert max(alone) < TICK_US + 1000
    for client in (frozen, garbage):
        held_against(alone, made(client))


@pytest.mark.soak
def test_also_while_it_is_watched_and_when_the_cable_is_pulled(
    made: Callable[[Client], list[int]]
) -> None:
    alone = made(silent)
    for client in (watching, pulled):
        held_against(alone, made(client))
