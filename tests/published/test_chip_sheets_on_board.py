"""The sensor chips' data-sheet examples, register for register, read by the firmware's own
code under MicroPython on the virtual board.

Sources: Texas Instruments SBOS547 table 1 (INA226) and SBOS448 table 3 (INA219), both of
10 A and 11.98 V on a 2 mohm shunt with a current unit of 1 mA; SBOS576B (INA3221), whose
examples are registers: p. 27, -80 mV over a shunt is C180h; limits of 10 V and 9 V are 2710h
and 2328h in the bus registers' unit.
"""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest
from steadyturn.board.repl import ReplFiles
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.twin.prepare import firmware
from steadyturn.twin.twin import Twin

MAIN = b"""
import time
from machine import I2C, Pin
from steadyturn_fw import sensor_%(chip)s as chip

bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=400000)
two = bytearray(2)

def word(register):
    bus.readfrom_mem_into(0x40, register, two)
    return two[0] << 8 | two[1]

def put(register, value):
    bus.writeto(0x40, bytes((register, value >> 8, value & 255)))

put(chip.CONFIG, %(config)d)
if hasattr(chip, "CALIBRATION"):
    put(chip.CALIBRATION, chip.calibration(1000, 2000))
time.sleep_ms(50)
with open("/read", "w") as file:
    for name in %(names)r:
        file.write("%%s %%04X\\n" %% (name, word(getattr(chip, name))))
    file.write("mv %%d\\n" %% (chip.bus_bits(word(chip.BUS)) * chip.BUS_UV // 1000))
"""

SHEETS = {
    "ina226": (0x4127, ("4127", "1F40", "2570", "12B8", "2710", "0A00")),
    "ina219": (0x019F, ("019F", "07D0", "5D98", "1766", "2710", "5000")),
}


NAMES = ("CONFIG", "SHUNT", "BUS", "POWER", "CURRENT", "CALIBRATION")


@pytest.mark.parametrize("chip", SHEETS)
def test_data_sheet_example(chip: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    config, expected = SHEETS[chip]
    read = read_on_board(chip, 0.002, config, NAMES, (11.98, 10.0), tmp_path, monkeypatch)
    if chip == "ina219":  # bits 1 and 0 of the bus register: conversion ready, overflow
        read["BUS"] = f"{int(read['BUS'], 16) & ~3:04X}"
    assert tuple(read[name] for name in NAMES) == expected
    assert int(read["mv"]) == 11_980
    assert re.fullmatch(r"[0-9A-F]{4}", read["BUS"])


def test_examples_of_the_ina3221(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = ("CONFIG", "SHUNT", "BUS", "OUT_SHUNT", "OUT_BUS", "VALID_UPPER", "VALID_LOWER",
             "MAKER", "DIE", "MASK")
    seen = (10.0, -1.6, 9.0, 1.6)
    read = read_on_board("ina3221", 0.05, 0x7127, names, seen, tmp_path, monkeypatch)
    # the mask's bit 0: a conversion is ready; bit 1 is up after power-up
    assert tuple(read[name] for name in names) == (
        "7127", "C180", "2710", "3E80", "2328", "2710", "2328", "5449", "3220", "0003")
    assert int(read["mv"]) == 10_000


def read_on_board(
    chip: str, shunt_ohm: float, config: int, names: tuple[str, ...], seen: tuple[float, ...],
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> dict[str, str]:
    """Registers by name as the firmware's code reads them while the chip sees volts and amps."""
    path = example_path("lakeside-hut")
    assert path is not None
    rig = read_rig(path)
    out_ohm = shunt_ohm if len(seen) > 2 else None
    rig = dataclasses.replace(
        rig,
        sensor=dataclasses.replace(
            rig.sensor, chip=chip, shunt_ohm=shunt_ohm, address=0x40, out_shunt_ohm=out_ohm),
        supply=dataclasses.replace(rig.supply, feed="usb"),
    )
    files = {name: data for name, data in firmware().items() if name != "/main.py"}
    files["/main.py"] = MAIN % {
        b"chip": chip.encode(), b"config": config, b"names": names}
    twin = Twin(rig, image=tmp_path / "a.img", ideal_sensor=True)
    made = twin._plant.chip
    latch = made.latch
    monkeypatch.setattr(made, "latch", lambda end, *_: latch(end, *seen))
    twin.prepare(files=files)
    with twin:
        twin.run(2)
        board = ReplFiles(str(twin.port))
        text = board.read("/read").decode()
        board.close()
    return dict(line.split() for line in text.splitlines())
