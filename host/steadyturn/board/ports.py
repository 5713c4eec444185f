"""Which serial ports may be a board, and which one is."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.board.link import Link, NoAnswer, NotUnderstood, Who
from steadyturn.board.stream import SerialStream
from steadyturn.board.text import printable
from steadyturn.errors import Failed

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
MANY = 8  # ports probed at most


@dataclass(frozen=True, slots=True)
class Port:
    """device: what to open; what: what hangs there, as far as USB tells; likely: a board
    or a serial chip that boards use."""

    device: str
    what: str
    likely: bool

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
        found.append(Port(port.device, what, bool(maker)))
    return sorted(found, key=lambda p: (not p.likely, p.device))


def candidates() -> list[Port]:
    """Ports that may be a board."""
    return [port for port in every_port() if port.likely]


def probe(device: str, answer_s: float = 0.4) -> Who:
    """Who answers there; raises Failed with the reason when nobody does."""
    stream = SerialStream(device)
    try:
        return Link(stream, answer_s=answer_s, tries=2).who()
    finally:
        stream.close()


def find(port: str | None = None) -> str:
    """The port to use: as given, the only candidate, or the only one of several that
    answers. Raises Failed that lists what was looked at."""
    if port is not None:
        return port
    likely = candidates()
    if len(likely) == 1:
        return likely[0].device
    if not likely:
        others = every_port()
        seen = ", ".join(str(p) for p in others[:MANY]) or "this machine has no serial port"
        raise Failed(
            f"No board found. Looked at: {seen}.",
            "Check the cable (many only charge), the plug, and that MicroPython is on the board "
            "(a Pico without it shows up as a drive). '--port' names a port; 'steadyturn twin "
            "RIG' gives a virtual board.",
        )
    answers, lines = [], []
    for candidate in likely[:MANY]:
        try:
            who = probe(candidate.device)
        except NoAnswer:
            lines.append(f"{candidate}: no answer")
        except NotUnderstood:
            answers.append(candidate.device)
            lines.append(f"{candidate}: other firmware of steadyturn")
        except Failed as failed:
            lines.append(failed.what)
        else:
            answers.append(candidate.device)
            lines.append(f"{candidate}: board {who.unique_id[-6:]}, firmware {who.firmware}")
    if len(answers) == 1:
        return answers[0]
    raise Failed(
        "Several boards may be meant: " + "; ".join(lines) + ".", "Name one with --port."
    )
