"""`sessions --trend`: the machine's constants by its outings, and whether they change."""

from __future__ import annotations

from typing import Any

from steadyturn.report import learned
from steadyturn.report.style import wrap

NOTHING = (
    "No outing of this machine tells of its constants. They are learned by a second load, by a "
    "turn sensor, or (the converter's losses) by the second channel of an INA3221: "
    "hardware/options.md. A pace that comes from the volts cannot say whether EMF or resistance "
    "is right.")


def text(machine: Any) -> str:
    """machine: jobs.learned.LearnedMachine."""
    name = machine.label or f"board {machine.board}"
    rig = f", rig {machine.rig}" if machine.rig and machine.rig != machine.label else ""
    count = "1 outing" if machine.outings == 1 else f"{machine.outings} outings"
    parts = [wrap(f"{name}{rig}: {count}")]
    if machine.left_out:
        parts.append(wrap(f"{machine.left_out} older ones were of another machine, or before its "
                          "constants were set anew: they are left out."))
    parts.append(learned.text(machine.constants) or wrap(NOTHING))
    if machine.not_drawn:
        parts.append(wrap(f"No plot was written to {machine.not_drawn}: there is nothing to draw "
                          "yet."))
    if machine.plot:
        parts.append(f"Plot: {machine.plot}")
    return "\n\n".join(parts) + "\n"
