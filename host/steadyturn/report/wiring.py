"""The circuit of a rig for a person: what to buy, what was written."""

from __future__ import annotations

from typing import Any

from steadyturn import cautions
from steadyturn.circuit import joining
from steadyturn.drawings.parts_list import shopping
from steadyturn.report.style import item, shown_path, wrap

PLACES = {"bus_switch": "before the converter", "output_switch": "behind the converter",
          "enable": "at the converter's enable pin"}
SOCKETS = {"a": "an A one", "c": "a C one"}


def text(result: Any) -> str:
    """The parts, alike ones together, and the next step."""
    lines = [*_head(result), "", "To buy or find:"]
    for what, rating, counts, _ in shopping({result.rig: result.table}):
        rated = f"; {rating}" if rating else ""
        lines.append(item(f"{what}{rated}", mark=f"{counts[0]:2} x  "))
    lines += ["", wrap("Every designator, its nets and its substitutes: --json, or parts.csv of "
                      "--out."), *_cautions(), "",
             f"next: steadyturn {'pace' if result.no_pace else 'wiring'} "
             f"{shown_path(result.file)}{'' if result.no_pace else ' --out wiring'}"]
    return "\n".join(lines) + "\n"


def written_text(written: Any) -> str:
    """What was written where."""
    result = written.result
    names = ", ".join(written.files)
    lines = [*_head(result), "", wrap(f"Written into {shown_path(written.folder)}: {names}")]
    if written.no_schematic:
        lines.append(wrap(f"But {written.no_schematic}."))
    if written.kept:
        lines.append(wrap(f"Left alone, for somebody changed them: {', '.join(written.kept)}"))
    path = shown_path(result.file)
    then = ("next: open wiring.html in a browser, print it, tick it off; then steadyturn bringup "
            f"{path}" if not result.no_pace else
            f"next: steadyturn pace {path}, before anything is soldered")
    lines += [*_cautions(), "", wrap(then)]
    return "\n".join(lines) + "\n"


def _head(result: Any) -> list[str]:
    lines = [wrap(f"{result.rig}: {result.parts_count} parts, {result.wires_count} wires; the "
                  f"load switch stands {PLACES[result.place]}, the socket is "
                  f"{SOCKETS[result.socket]}, the board a {result.board}. Together about "
                  f"{result.price_eur:.0f} euro, a rough guide.")]
    if said := joining.rig_words(result.described):
        lines.append(wrap(f"The motors are {said}."))
    if result.unplaced:
        lines.append(wrap(f"On the breadboard's free rows, as hardware/turn_and_load.md says: "
                          f"{', '.join(result.unplaced)}."))
    return lines + _calculated(result.calculated) + no_pace(result)


def no_pace(result: Any) -> list[str]:
    """That it will not charge as it is; nothing where a pace works."""
    if not result.no_pace:
        return []
    return ["", item(f"No pace works for this rig ({result.no_pace}): built so, it charges "
                     f"nothing. 'steadyturn pace {shown_path(result.file)}' says what parts them; "
                     "'steadyturn card' refuses it.", mark="!! ", indent="")]


def _calculated(found: Any) -> list[str]:
    """What of the circuit's calculations does not hold; one line where all does."""
    bad = [one for one in found if not one.ok]
    if not bad:
        return [wrap(f"All {len(found)} calculations of the circuit hold "
                     "(hardware/protection.md).")]
    lines = ["", wrap(f"Of {len(found)} calculations of the circuit {len(bad)} "
                      f"{'does' if len(bad) == 1 else 'do'} not hold:")]
    for one in bad:
        least = "at least" if one.at_least else "at most"
        lines.append(item(f"{one.words[0].upper()}{one.words[1:]} ({one.value:.4g} {one.unit}, "
                          f"{least} {one.limit:.4g}).", mark="- "))
    return lines


def _cautions() -> list[str]:
    return ["", *(item(c, mark="! ") for c in cautions.short("wire"))]
