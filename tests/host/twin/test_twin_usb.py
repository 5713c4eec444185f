"""The console's USB buffer: 256 bytes, then 500 ms for each 64."""

from __future__ import annotations

import os
import time
from pathlib import Path

from steadyturn.rig.types import Rig
from steadyturn.twin.twin import Twin
from steadyturn.twin.usb import UsbBuffer


def test_a_reader_that_keeps_up_never_holds_the_board() -> None:
    usb = UsbBuffer()
    for number in range(50):
        usb.put(bytes([number]) * 200, True)
        assert not usb.holds(number * 1000, 0)
        assert usb.take(256) == bytes([number]) * 200
    assert usb.lost == 0


def test_a_client_that_does_not_read_costs_500_ms_for_64_bytes() -> None:
    usb = UsbBuffer()
    usb.put(bytes(256), True)
    assert not usb.holds(0, 0)
    usb.put(bytes(130), True)  # three pieces: 64, 64, 2
    assert usb.holds(0, 0)
    assert usb.holds(499_999, 0)
    assert usb.holds(500_000, 0)
    assert usb.lost == 64
    assert usb.holds(1_499_999, 0)
    assert not usb.holds(1_500_000, 0)
    assert usb.lost == 130
    assert len(usb) == 256


def test_what_the_host_has_not_read_fills_the_buffer_too() -> None:
    usb = UsbBuffer()
    usb.put(bytes(100), True)
    assert not usb.holds(0, 156)
    assert usb.holds(0, 157)


def test_a_closed_port_throws_away_and_holds_nothing() -> None:
    usb = UsbBuffer()
    usb.put(bytes(1000), False)
    assert len(usb) == 0
    usb.put(bytes(1000), True)
    usb.clear()
    assert not usb.holds(0, 0)


def test_a_frozen_terminal_holds_the_board_and_a_closed_one_frees_it(
    hut: Rig, tmp_path: Path
) -> None:
    main = b"""
import sys, time
while True:
    sys.stdout.buffer.write(b'x' * 80)
    time.sleep_ms(20)
"""
    twin = Twin(hut, image=tmp_path / "a.img")
    twin.prepare(files={"/main.py": main})
    with twin:
        assert twin.port is not None
        client = os.open(twin.port, os.O_RDWR | os.O_NOCTTY)
        time.sleep(1.6)
        buffer = twin._engine.wires.usb
        waiting = len(buffer) + twin._engine.wires.port.unread()
        lost = buffer.lost
        os.close(client)
        # 256 bytes wait and one write is held; of what came more, 64 bytes a half second went
        assert 256 <= waiting <= 256 + 80
        assert lost in (64, 128, 80 + 64)
        twin.run(0.5)
        assert len(buffer) == 0


def test_packets_of_64_nineteen_in_a_millisecond() -> None:
    usb = UsbBuffer()
    assert usb.carry(5_000, 0) == b""  # nothing: the line is free from now on
    usb.put(bytes(range(228)), True)
    assert usb.carry(5_040, 0) == b""  # 1000 / 19 us for one
    assert usb.due_us() == 5_211
    assert usb.carry(5_053, 0) == bytes(range(64))
    assert usb.carry(5_110, 0) == bytes(range(64, 128))
    assert usb.carry(6_000, 0) == bytes(range(128, 228))
    second = UsbBuffer()
    got = 0
    for t_us in range(1_000, 101_001, 50):
        second.put(bytes(256), True)
        got += len(second.carry(t_us, 0))
    assert 0.97 < got / (100 * 19 * 64) <= 1.0


def test_nothing_more_arrives_while_the_host_reads_nothing() -> None:
    usb = UsbBuffer()
    usb.put(bytes(300), True)
    assert len(usb.carry(10_000, 200)) == 56
    assert usb.carry(20_000, 256) == b""
    assert len(usb.carry(30_000, 0)) == 244
