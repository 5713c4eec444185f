"""What to do with a virtual board, for a person."""

from __future__ import annotations

import sys
from collections import deque
from typing import Any

from steadyturn.report.commands import command_lines
from steadyturn.report.style import columns, shown_path, table, wrap
from steadyturn.twin.person import HOLD_S

NO_PACE = "no pace works for this rig, so there are no settings for it"
PEOPLE = {"lamp": "somebody cranks, and does what the lamp says", "none": "nobody cranks",
          "beat": "somebody cranks, a turn a flash",
          "points": f"a servo holds two paces in turn, {HOLD_S:.0f} s each"}

POWER = {
    "crank": "The board lives on the crank, unless a program has the port open: that is USB "
             "power.",
    "cell": "The board has a cell of its own.",
    "usb": "The board has USB power.",
}


def text(served: Any) -> str:
    """The port and the commands that use it."""
    port, rig = served.port, shown_path(served.rig_file)
    pace = served.person.partition(":")[2]
    who = PEOPLE.get(served.person, f"a servo turns the handle at {pace} turns/min")
    watch = f"steadyturn watch --port {port}"
    if served.ready:
        rows = [(watch, "live view")]
    elif served.not_ready_because == NO_PACE:
        rows = [(f"steadyturn pace {rig}", "why, and what would help")]
    else:
        rows = [(f"steadyturn flash {rig} --port {port}", "firmware and settings"),
                (watch, "then: live view")]
    if served.not_ready_because != NO_PACE:
        rows += [(f"steadyturn pull --port {port}", "the journal"),
                 (f"steadyturn review --rig {rig}", "then: what came of it")]
    if served.misread:
        rows.append((f"steadyturn calibrate --port {port}", "correct it"))
    rows.append((f"mpremote connect {port} fs ls", "any MicroPython tool"))
    lines = [
        wrap(f"Virtual board for '{served.rig}' on {port}"),
        wrap(f"Time is real, and {who}. {POWER[served.feed]}", "  "),
    ]
    if not served.ready:
        lines.append(wrap(f"Nothing was put on it: {served.not_ready_because}.", "  "))
    for fault in served.faults:
        until = "" if fault.for_s is None else f" for {fault.for_s:g} s"
        lines.append(wrap(f"From {fault.from_s:g} s on{until}: {fault.says}.", "  "))
    for one in served.misread:
        unit = "V" if one.quantity == "volts" else "A"
        lines.append(wrap(f"Its sensor misreads {one.quantity}: {100 * one.share:+g} % and "
                          f"{one.offset:+g} {unit}.", "  "))
    if served.misread and served.person in ("lamp", "beat"):
        lines.append(wrap("A hand is not steady enough to correct it by; '--person points' is.",
                          "  "))
    kept = (f"kept in {shown_path(served.image)}, and with it the board's id" if served.image else
            "removed at the end (--image keeps it); its id is that of every such board of this "
            "rig and --seed")
    lines += [wrap(f"Its flash is {kept}.", "  "), "", _commands(rows), "", "Ctrl-C ends it."]
    return "\n".join(lines) + "\n"


class Meter:
    """A multimeter's display, and its mean over as long as `calibrate` averages: one line that is
    drawn over at a terminal, else a line a reading."""

    def __init__(self) -> None:
        self._draws = sys.stdout.isatty()
        self._last: deque[tuple[float, float]] = deque(maxlen=6)

    def __call__(self, volts: float, amps: float) -> None:
        self._last.append((volts, amps))
        mean_v, mean_a = (sum(some) / len(some) for some in zip(*self._last, strict=True))
        line = f"meter: {volts:.3f} V  {amps:.4f} A   mean: {mean_v:.3f} V  {mean_a:.4f} A"
        sys.stdout.write(f"\r{line:<60}" if self._draws else f"{line}\n")
        sys.stdout.flush()


def _commands(rows: list[tuple[str, str]]) -> str:
    """Each command on one line, to be copied; what it is for beside it, or below where the
    terminal is too narrow for both."""
    if max(len(command) for command, _ in rows) + max(len(what) for _, what in rows) + 4 \
            <= columns():
        return table(rows)
    return "\n".join(f"{command_lines(command)}\n      {what}" for command, what in rows)
