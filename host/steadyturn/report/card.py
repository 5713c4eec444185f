"""The card as text: 80 columns, the lamp's signals as strips in time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from steadyturn import cautions
from steadyturn.report.card_page import runs
from steadyturn.report.card_words import sign
from steadyturn.report.style import columns, item, shown_path, table, wrap

STRIP_S, CELL_MS = 4.0, 100
SIGNS = ".#^"  # dark; lit or low tone; high tone


def strip(steps: Sequence[tuple[int, int]], seconds: float = STRIP_S) -> str:
    """A signal in time, a sign a tenth of a second; what is shorter still has one.

    >>> strip(((1, 200), (0, 200)), 1.2)
    '##..##..##..'
    """
    count = int(seconds * 1000) // CELL_MS
    cells = [0] * count
    last = 0
    for level, start, long in runs(steps, count * CELL_MS):
        if level:  # two that follow each other never share a sign
            first = max((start + CELL_MS // 2) // CELL_MS, last)
            last = min(first + max((long + CELL_MS // 2) // CELL_MS, 1), count)
            cells[first:last] = [level] * (last - first)
    return "".join(SIGNS[level] for level in cells)


def text(c: Any) -> str:
    """The whole card."""
    said = c.words
    narrow = columns() < 80
    head = f"{c.rig}: {c.label}" if c.label else c.rig
    lines = [wrap(head), "", wrap(said.rule), "", wrap(f"Turn {said.pace}."), wrap(said.keep)]
    if said.gains:
        lines.append(wrap(said.gains))
    lines += ["", wrap(f"The {sign(c)}, {STRIP_S:.0f} s of it ({_legend(c.lamp)})")]
    for signal, line in zip(c.signals, said.signals, strict=True):
        if not narrow:
            lines.append(f"  {strip(signal.steps)}  {line.what}")
            lines.append(item(line.means, mark="", indent=" " * 44))
        else:
            lines += [f"  {strip(signal.steps, 3.4)}", item(f"{line.what}: {line.means}", mark="")]
    lines += ["", "Faults: how many " + {"piezo": "beeps", "vibration": "pulses"}.get(
        c.lamp, "flashes")]
    lines.append(table([(str(code), line.what, line.means) for code, line in
                        zip(c.faults, said.faults, strict=True)]))
    for title, steps in (("Connect", said.connect), ("No light" if c.lamp in ("led", "two_led",
                         "rgb") else "No sign", said.dark), ("Bypass", said.bypass)):
        lines += ["", title, *(item(step, mark=f"{n} ") for n, step in enumerate(steps, 1))]
    lines += ["", item(said.trouble, mark="! ", indent="")]
    if said.weak:
        lines.append(item(said.weak, mark="! ", indent=""))
    lines += ["", "Mind", *(item(caution) for caution in said.cautions),
              wrap(cautions.DEFER.split(":")[0] + ".")]
    if c.page:
        lines += ["", wrap(f"Written to {shown_path(c.page)}: print it, one side.")]
    else:
        lines += ["", f"next: steadyturn card {shown_path(c.file)} --html card.html"]
    return "\n".join(lines) + "\n"


def _legend(lamp: str) -> str:
    return {"piezo": "# low tone, ^ high tone, . silent", "vibration": "# on, . still"}.get(
        lamp, "# lit, . dark")
