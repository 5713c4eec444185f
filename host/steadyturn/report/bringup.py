"""The sheet of `bringup` as text: 80 columns, boxes to tick, spaces to write in."""

from __future__ import annotations

from typing import Any

from steadyturn import cautions
from steadyturn.report import bringup_words as words
from steadyturn.report.bringup_faults import Cause
from steadyturn.report.bringup_rows import Said
from steadyturn.report.style import columns, item, shown_path, wrap

BOX = "[ ] "
SPACE = "________"


def text(b: Any) -> str:
    """The whole sheet; where it was written as a page, what it warns of and what to do."""
    if b.page:
        return "\n".join([*_head(b), "", *_begin(b), "", wrap(f"next: {_next(b)}")]) + "\n"
    lines = _head(b)
    for at, stage in enumerate(b.stages, 1):
        lines += ["", *_heading(f"{at} {words.title(b, stage.key)} ({stage.minutes} min)")]
        if why := b.sheet.barred.get(stage.key):
            lines.append(wrap(why))
            if stage.barred == "before":
                continue
        lines += [item(c, mark="! ", indent="") for c in words.cautions_of(b, stage.key)]
        if not stage.barred:
            for count, key in enumerate(stage.steps, 1):
                lines += ["", *_step(f"{at}.{count}", b.sheet.steps[key])]
    lines += ["", *_heading("What is wrong? By what you see; the likeliest cause first")]
    for symptom in b.sheet.symptoms:
        lines += ["", wrap(symptom.what)]
        lines += [item(_cause(c), mark="- ")
                  for c in symptom.causes]
    lines += ["", *_heading("Long flashes of the lamp")]
    lines += [item(what, mark=f"{count}  ") for count, what in b.sheet.flashes.items()]
    lines += ["", wrap(cautions.DEFER), "", wrap(f"next: {_next(b)}")]
    return "\n".join(lines) + "\n"


def _head(b: Any) -> list[str]:
    lines = [wrap(f"{b.rig}: bringing it up, step by step. {hours(b.minutes)} for a first time. "
                  "Tick each box; write each reading down; stop where it says so.")]
    for warning in b.sheet.warnings:
        lines += ["", item(warning, mark="!! ", indent="")]
    if b.page:
        return lines
    lines += ["", "Have ready:", *(item(one) for one in b.sheet.needed), "",
              wrap("Expected readings are this rig's, by the model; in brackets their range where "
                   "all is well: parts, windings of 10 to 45 degC, counting, meter. Where parts "
                   "stand: 'steadyturn wiring', hardware/breadboard.md.")]
    return lines


def hours(minutes: int) -> str:
    """About 4 hours.

    >>> hours(250), hours(70)
    ('About 4 hours', 'About an hour')
    """
    count = round(minutes / 60)
    return f"About {count} hours" if count > 1 else "About an hour"


def _heading(words_: str) -> list[str]:
    return [wrap(words_), "-" * min(columns(), len(words_))]


def _step(count: str, said: Said) -> list[str]:
    lines = [item(f"{count} {said.title}", mark=BOX, indent="")]
    lines += [item(do, mark="", indent="    ") for do in said.do]
    for row in said.rows:
        space = f"{SPACE} {row.unit}".rstrip()
        expected = "" if row.expected == "-" else f": {row.expected}"
        lines.append(item(f"{row.what}{expected}", mark=f"{space.ljust(14)}  ", indent="    "))
    if said.stop:
        lines.append(item(f"Do not go on if {said.stop}", mark="STOP ", indent="    "))
    if said.wrong:
        lines.append(item(said.wrong, mark="if not: ", indent="    "))
    return lines


def _cause(c: Cause) -> str:
    test = c.test if c.test.endswith("?") else f"{c.test}."
    return f"{c.cause}. Test: {test} Mend: {c.remedy}."


def _next(b: Any) -> str:
    path = shown_path(b.file)
    if not b.safe:
        return f"mend what is marked !!, then steadyturn check {path}"
    if not b.feasible:
        return f"steadyturn pace {path}"
    return (f"have ready what it names, begin at step 1.1; when all boxes are ticked, steadyturn "
            f"card {path}")


def _begin(b: Any) -> list[str]:
    stages = "; ".join(f"{at} {words.title(b, stage.key)}"
                       for at, stage in enumerate(b.stages, 1) if not stage.barred)
    return [wrap(f"Stages: {stages}."), "", *(item(c, mark="! ", indent="") for c in
                                             words.cautions_of(b, b.stages[0].key)), "",
            wrap(f"Written to {shown_path(b.page)}: print it, and have it beside you.")]
