"""The virtual board's watchdog, the word that outlives a reset, and the sign of a host."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from steadyturn.rig.types import Rig
from steadyturn.twin.twin import Twin

NOTE, CONTROL, CLEAR, FRAME = 0x4005800C, 0x40058000, 0x4005B000, 0x50110048
MAIN = f"""
import time
from machine import WDT, Pin, mem32, reset_cause
note = mem32[{NOTE}]
mem32[{NOTE}] = note + 1
lamp = Pin(15, Pin.OUT, value=1 if mem32[{FRAME}] else 0)
dog = WDT(timeout=1000)
%s
while True:
    time.sleep_ms(20)
    if note < 2:
        dog.feed()
    %s
"""


def starts(rig: Rig, image: Path, before: str, each: str) -> tuple[list[float], Twin]:
    rig = replace(rig, supply=replace(rig.supply, feed="usb"))
    twin = Twin(rig, image=image)
    twin.prepare(files={"/main.py": (MAIN % (before, each)).encode()})
    with twin:
        twin.run(8)
    return list(twin._engine.boots), twin


def test_it_bites_when_it_is_not_fed(hut: Rig, tmp_path: Path) -> None:
    """Two starts hang after 2 s, the third does not feed it at all: the note counts on."""
    hang = "if time.ticks_ms() - begun > 2000:\n        time.sleep(100)"
    boots, twin = starts(hut, tmp_path / "a.img", "begun = time.ticks_ms()", hang)
    apart = [round(b - a, 1) for a, b in pairwise(boots)]
    assert apart[:2] == pytest.approx([3.4, 3.4], abs=0.1)  # 2 s, its second, and the start
    assert twin._plant.note >= 2


def test_it_can_be_stopped(hut: Rig, tmp_path: Path) -> None:
    stop = f"mem32[{CLEAR}] = 1 << 30\nassert not mem32[{CONTROL}] >> 30 & 1"
    boots, _ = starts(hut, tmp_path / "a.img", stop, "note = 5")
    assert boots == [0.4]


def test_a_note_is_lost_with_the_power(hut: Rig, tmp_path: Path) -> None:
    _, twin = starts(hut, tmp_path / "a.img", "", "")
    assert twin._plant.note == 1
    twin._plant.power_lost()
    assert twin._plant.note == 0
