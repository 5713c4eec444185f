"""The list of serial ports, as text."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import item


def text(seen: Any) -> str:
    """See jobs.ports.Ports."""
    lines = []
    said: set[str] = set()
    for port in seen.ports:
        lines.append(item(_head(port), "", ""))
        if port.unique_id:
            lines.append(item(_board(port), "", "    "))
        elif port.says:
            how = "" if port.how in said else f" {port.how}"
            said.add(port.how)
            lines.append(item(f"{port.says[:1].upper()}{port.says[1:]}{how}", "", "    "))
    if any(port.state == "not asked" for port in seen.ports):
        lines.append(item("Not asked: no kind of port that boards have; --all asks those too.",
                          "", ""))
    if not seen.ports:
        lines.append(item("Looked at every serial port that the system lists, USB or not, and "
                          "for virtual boards: there is none.", "", ""))
    if not seen.answering:
        lines.append("No board of ours answers." + (" Check that" if seen.check else ""))
        lines += [item(f"{each}{'.' if each is seen.check[-1] else ','}") for each in seen.check]
    return "\n".join(lines) + "\n"


def _head(port: Any) -> str:
    what = f" ({port.what})" if port.what else ""
    serial = f", serial number {port.serial_number}" if port.serial_number else ""
    state = "a board of ours" if port.unique_id else port.state
    return f"{port.port}{what}{serial}: {state}"


def _board(port: Any) -> str:
    parts = [f"'{port.label}'" if port.label else "no label",
             f"rig {port.rig}" if port.rig else "no settings",
             f"firmware {port.firmware}", f"id {port.unique_id}"]
    return ", ".join(parts)
