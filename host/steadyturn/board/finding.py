"""Which port is the board's, where none was named."""

from __future__ import annotations

import sys
from pathlib import Path

from steadyturn.board.asking import BUSY, DENIED, OTHER, OURS, SILENT, Asked, ask_all
from steadyturn.board.holders import virtual_boards
from steadyturn.board.ports import candidates, every_port
from steadyturn.errors import Failed

MANY = 8  # ports asked at most
CHECK = (
    "the cable carries data (many only charge)",
    "the plug is in on both sides",
    "MicroPython is on the board (a Pico without it shows up as a drive)",
)


def checks() -> tuple[str, ...]:
    """What to look at where no board is found."""
    if sys.platform == "win32":
        return (*CHECK, "Device Manager shows the board under 'Ports (COM & LPT)'; with a "
                        "warning sign there its driver is missing")
    if wsl():
        return (*CHECK, "Windows has handed the board over to this Linux ('usbipd list' and "
                        "'usbipd attach', in a Windows terminal): it keeps USB to itself "
                        "otherwise")
    return CHECK


def wsl(version: Path = Path("/proc/version")) -> bool:
    """Is this Linux one inside Windows?"""
    try:
        return b"microsoft" in version.read_bytes()[:4096].lower()
    except OSError:
        return False


def find(port: str | None = None) -> str:
    """The port to use: as given, the only candidate, or the only one of several that
    answers as ours. Raises Failed that lists what was looked at."""
    if port is not None:
        return port
    likely = candidates()
    if len(likely) == 1:
        return likely[0].device
    if not likely:
        others = every_port()
        seen = ", ".join(str(p) for p in others[:MANY]) or "this machine has no serial port"
        virtual = [device for device, _ in virtual_boards()]
        raise Failed(
            f"No board found. Looked at: {seen}.",
            "Check that " + ", ".join(checks()) + ". '--port' names a port"
            + (_virtual(virtual[0]) if virtual else
               "; 'steadyturn twin RIG' gives a virtual board."),
        )
    asked = ask_all(likely[:MANY])
    ours = [each for each in asked if each.state in (OURS, OTHER)]
    if len(ours) == 1:
        return ours[0].port.device
    lines = "; ".join(_line(each) for each in asked)
    more = f"; {len(likely) - MANY} more not asked" if len(likely) > MANY else ""
    if ours:
        raise Failed(f"Several boards answer: {lines}{more}.", "Name one with --port.")
    hows = [each.how for each in asked if each.state in (BUSY, DENIED)]
    raise Failed(
        f"Several ports may be a board, and none answers as ours: {lines}{more}.",
        " ".join([*dict.fromkeys(hows), "--port names one."]),
    )


def _virtual(port: str) -> str:
    """A virtual board is never taken for a real one; it is asked for by name."""
    return (f". A virtual board runs here: 'steadyturn watch --port {port}', then "
            f"'steadyturn pull --port {port}'.")


def _line(asked: Asked) -> str:
    port, who = asked.port, asked.who
    if who is not None:
        label = f"'{asked.label}', " if asked.label else ""
        serial = f"serial number {port.serial_number}, " if port.serial_number else ""
        return f"{port}: {label}board {who.unique_id[-6:]}, {serial}firmware {who.firmware}"
    if asked.state == OTHER:
        return f"{port}: other firmware of steadyturn"
    if asked.state == SILENT:
        return f"{port}: no answer"
    return f"{port}: {asked.says.rstrip('.')}"
