"""Who answers on several ports at once: only the link's quiet questions, no Ctrl-C, and no
port that another program has open; every wait has an end."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass

from steadyturn.board.holders import Holder, holders
from steadyturn.board.link import Link, NoAnswer, NotUnderstood, Who, settings_line
from steadyturn.board.ports import Port
from steadyturn.board.stream import Busy, Denied, SerialStream, busy
from steadyturn.board.text import printable
from steadyturn.errors import Failed

ANSWER_S = 0.4  # a board that runs our firmware answers within a tick
LIMIT_S = 4.0  # all ports together; one that cannot even be opened in time counts as silent
OURS, OTHER, SILENT = "ours", "other version", "no answer"
BUSY, DENIED, FAILED = "busy", "no permission", "failed"


@dataclass(frozen=True, slots=True)
class Asked:
    """What became of asking a port. state: ours, other version (of the firmware), no answer,
    busy, no permission or failed; who: of ours; label, rig: from its settings, "" without;
    totals: of its turns in thousandths and of its energy in in uJ, None where it does not say;
    held_by: who has a busy port, as far as the system tells; says, how: what is wrong and what
    to do, "" when nothing is."""

    port: Port
    state: str
    who: Who | None = None
    label: str = ""
    rig: str = ""
    totals: tuple[int, int] | None = None
    held_by: tuple[Holder, ...] = ()
    says: str = ""
    how: str = ""


def ask_all(ports: Iterable[Port], limit_s: float = LIMIT_S) -> list[Asked]:
    """Each port asked, all at once."""
    ports = list(ports)
    answers: dict[int, Asked] = {}

    def one(number: int, port: Port) -> None:
        answers[number] = ask(port)

    # daemons: a driver that hangs in opening must not keep the program
    threads = [threading.Thread(target=one, args=pair, daemon=True) for pair in enumerate(ports)]
    end = time.monotonic() + limit_s
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(max(end - time.monotonic(), 0.0))
    return [answers.get(n) or Asked(port, SILENT, says=f"nothing came in {limit_s:g} s.",
                                    how="Unplug it and plug it in again.")
            for n, port in enumerate(ports)]


def ask(port: Port) -> Asked:
    """Who answers on this port; never raises."""
    by = holders(port.device)
    if by:  # what it answers would be read by the other program, or the other's by us
        return _failed(port, BUSY, busy(port.device, by), by)
    try:
        stream = SerialStream(port.device)
    except Busy as failed:
        return _failed(port, BUSY, failed, holders(port.device))
    except Denied as failed:
        return _failed(port, DENIED, failed)
    except Failed as failed:
        return _failed(port, FAILED, failed)
    try:
        link = Link(stream, answer_s=ANSWER_S, tries=2)
        who = link.who()
        label, rig = _names(link)
        return Asked(port, OURS, who, label, rig, _totals(link))
    except NotUnderstood as failed:
        return _failed(port, OTHER, failed)
    except NoAnswer as failed:
        return _failed(port, SILENT, failed)
    except Failed as failed:
        return _failed(port, FAILED, failed)
    finally:
        stream.close()


def _failed(port: Port, state: str, failed: Failed, by: tuple[Holder, ...] = ()) -> Asked:
    says = failed.what.removeprefix(f"{port.device}: ")
    return Asked(port, state, held_by=by, says=says, how=failed.how)


def _names(link: Link) -> tuple[str, str]:
    """Label and rig in the settings in force."""
    with contextlib.suppress(Failed, ValueError, RecursionError):
        read = json.loads(settings_line(link.settings()))
        if isinstance(read, dict):
            return _text(read.get("label"), 24), _text(read.get("rig"), 48)
    return "", ""


def _totals(link: Link) -> tuple[int, int] | None:
    with contextlib.suppress(Failed):
        state = link.state()
        return state["turns_m"], state["energy_in_uj"]
    return None


def _text(value: object, most: int) -> str:
    return printable(value, most) if isinstance(value, str) else ""
