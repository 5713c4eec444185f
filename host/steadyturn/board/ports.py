"""Which serial ports may be a board."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.board.text import printable

# USB vendor -> what hangs there; from the USB-IF's public vendor list, from memory
BOARD_VENDORS = {
    0x2E8A: "Raspberry Pi",
    0xF055: "MicroPython",
    0x303A: "Espressif",
    0x239A: "Adafruit",
    0x1B4F: "SparkFun",
    0x2886: "Seeed",
    0x10C4: "CP210x serial chip",
    0x1A86: "CH34x serial chip",
    0x0403: "FTDI serial chip",
}


@dataclass(frozen=True, slots=True)
class Port:
    """device: what to open; what: what hangs there, as far as USB tells; likely: a board
    or a serial chip that boards use; serial_number: of what hangs there, "" for none."""

    device: str
    what: str
    likely: bool
    serial_number: str = ""

    def __str__(self) -> str:
        return f"{self.device} ({self.what})" if self.what else self.device


def every_port() -> list[Port]:
    """All serial ports of this machine, likely boards first."""
    from serial.tools.list_ports import comports

    found = []
    for port in comports():
        maker = BOARD_VENDORS.get(port.vid or 0, "")
        said = "" if port.description in (None, "n/a") else printable(port.description, 40)
        what = maker or said or ("not USB" if port.vid is None else "")
        serial_number = printable(getattr(port, "serial_number", None) or "", 40)
        found.append(Port(port.device, what, bool(maker), serial_number))
    return sorted(found, key=lambda p: (not p.likely, p.device))


def candidates() -> list[Port]:
    """Ports that may be a board."""
    return [port for port in every_port() if port.likely]
