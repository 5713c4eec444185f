"""What to do with a virtual board, for a person."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import table, wrap

PEOPLE = {"lamp": "somebody cranks, and does what the lamp says", "none": "nobody cranks"}

POWER = {
    "crank": "The board lives on the crank, unless a program has the port open: that is USB "
             "power.",
    "cell": "The board has a cell of its own.",
    "usb": "The board has USB power.",
}


def text(served: Any) -> str:
    """The port and the commands that use it."""
    port, rig = served.port, served.rig_file
    pace = served.person.partition(":")[2]
    who = PEOPLE.get(served.person, f"a servo turns the handle at {pace} turns/min")
    rows = []
    if served.ready:
        rows.append((f"steadyturn watch --port {port}", "live view"))
    else:
        rows.append((f"steadyturn flash {rig} --port {port}", "firmware and settings"))
        rows.append((f"steadyturn watch --port {port}", "then: live view"))
    rows += [
        (f"steadyturn pull --port {port}", "the journal"),
        (f"mpremote connect {port} fs ls", "any MicroPython tool"),
    ]
    lines = [
        f"Virtual board for '{served.rig}' on {port}",
        wrap(f"Time is real, and {who}. {POWER[served.feed]}", "  "),
    ]
    if not served.ready:
        lines.append(wrap(f"Nothing was put on it: {served.not_ready_because}.", "  "))
    kept = f"kept in {served.image}" if served.image else "removed at the end (--image keeps it)"
    for fault in served.faults:
        until = "" if fault.for_s is None else f" for {fault.for_s:g} s"
        lines.append(wrap(f"From {fault.from_s:g} s on{until}: {fault.says}.", "  "))
    lines += [wrap(f"Its flash is {kept}.", "  "), "", table(rows), "", "Ctrl-C ends it."]
    return "\n".join(lines) + "\n"
