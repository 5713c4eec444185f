"""The serial ports of this machine: what hangs there, and which are boards of ours."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.board.asking import Asked, ask_all
from steadyturn.board.finding import checks
from steadyturn.board.holders import Holder, virtual_boards
from steadyturn.board.ports import Port, every_port

NOT_ASKED = "not asked"
VIRTUAL = "virtual board"


@dataclass(frozen=True, slots=True)
class PortHere:
    """what: what hangs there; state: ours, other version, no answer, busy, no permission,
    failed, or not asked (it is not a kind that boards have); unique_id, firmware, label, rig:
    of ours; held_by: who has a busy port; says, how: what is wrong and what to do."""

    port: str
    what: str
    serial_number: str
    virtual: bool
    state: str
    unique_id: str
    firmware: str
    label: str
    rig: str
    held_by: tuple[Holder, ...]
    says: str
    how: str


@dataclass(frozen=True, slots=True)
class Ports:
    """answering: how many are ours; check: what to look at where none is."""

    ports: tuple[PortHere, ...]
    answering: int
    check: tuple[str, ...]


def look(every: bool = False) -> Ports:
    """Look at all ports and ask those that may be a board, or every one. Nothing is
    disturbed: a running board goes on, and no port in use is opened."""
    real = every_port()
    virtual = [Port(device, VIRTUAL, True) for device, _ in virtual_boards()]
    asked = {a.port: a for a in ask_all([p for p in (*real, *virtual) if p.likely or every])}
    rows = tuple(_row(port, asked.get(port)) for port in (*real, *virtual))
    answering = sum(bool(row.unique_id) for row in rows)
    # a port that may be a board: its cable carries data, and its own row says what is wrong
    seen = answering or any(port.likely for port in real)
    return Ports(rows, answering, () if seen else checks())


def _row(port: Port, asked: Asked | None) -> PortHere:
    who = None if asked is None else asked.who
    asked = asked or Asked(port, NOT_ASKED)
    return PortHere(
        port=port.device, what=port.what, serial_number=port.serial_number,
        virtual=port.what == VIRTUAL, state=asked.state,
        unique_id=who.unique_id if who else "", firmware=who.firmware if who else "",
        label=asked.label, rig=asked.rig, held_by=asked.held_by, says=asked.says, how=asked.how,
    )


def names() -> list[tuple[str, str]]:
    """(port, what hangs there), nothing asked."""
    return [(p.device, p.what) for p in every_port()] + [
        (device, VIRTUAL) for device, _ in virtual_boards()]
