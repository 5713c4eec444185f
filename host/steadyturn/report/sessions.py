"""The outings as a list, or as totals."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from datetime import date
from typing import Any

from steadyturn.report.harmless import harmless
from steadyturn.report.moments import MONTHS, moment, when
from steadyturn.report.review_words import Energy, energy_of
from steadyturn.report.style import columns, duration, fill, item, number, table, wrap

WIDE = 64  # a list in columns needs so many
HEAD = ("min", "{unit}", "%", "band", "faults")
ROOM = (5, 6, 5, 5, 6)


def text(result: Any) -> str:
    """result: jobs.sessions.Sessions."""
    parts = []
    if result.rebuilt_pages is not None:
        parts.append(f"{_count(result.rebuilt_pages, 'page')} decoded again. Numbers and notes "
                     "are as before.")
    if result.noted is not None:
        what = "has your note" if result.outings[0].note else "has no note now"
        parts.append(f"Outing {result.noted} {what}.")
    if not result.outings:
        parts.append(_none(result))
    else:
        parts.append(_groups(result) if result.per else _list(result))
        parts.append(_sum(result))
        parts.append(_remarks(result))
    return "\n\n".join(p for p in parts if p) + "\n"


def _none(result: Any) -> str:
    if not result.of:
        return wrap(f"No outing is in the library at {result.library} yet. Crank, then connect "
                    "the board and run 'steadyturn pull'.")
    names = f" Rigs: {', '.join(result.rigs)}." if len(result.rigs) > 1 else ""
    return wrap(f"None of the {_count(result.of, 'outing')} fits.{names}")


# ---- the list


def _list(result: Any) -> str:
    outings = result.outings
    width = columns()
    heading, names = _names(outings)
    energy = energy_of(max(o.energy_out_wh for o in outings))
    times = [when(o) for o in outings]
    wide = max(len("when"), *map(len, times))
    lines = []
    if width >= WIDE:
        heads = [h.rjust(w) for h, w in zip(_heads(energy), ROOM, strict=True)]
        heads += [heading] if heading else []
        lines.append(f"{'no':>4}  {'when'.ljust(wide)} {' '.join(heads)}")
        lines.append("-" * min(width, len(lines[0]) + (13 if heading else 0)))
    for outing, name, time_ in zip(outings, names, times, strict=True):
        cells = _cells(outing, energy)
        if width >= WIDE:
            row = [c.rjust(w) for c, w in zip(cells, ROOM, strict=True)]
            line = f"{outing.number:4d}  {time_.ljust(wide)} {' '.join(row)}"
            room = width - len(line) - 1
            lines.append(f"{line} {_cut(name, room)}".rstrip())
        else:
            lines.append(item(_short(outing, cells, name, energy), f"{outing.number:4d}  ", ""))
        if result.faults_only:
            lines.append(item(_faults(outing), "", "      "))
        if outing.note:
            lines.append(item(harmless(outing.note), "", "      "))
    return "\n".join(lines)


def _heads(energy: Energy) -> list[str]:
    return [head.format(unit=energy.unit) for head in HEAD]


def _cells(o: Any, energy: Energy) -> tuple[str, ...]:
    """Of an outing, or of totals."""
    minutes = o.turning_s / 60
    return (
        f"{minutes:.1f}" if minutes < 99.95 else f"{minutes:.0f}",
        _energy(o.energy_out_wh, energy),
        "-" if o.percent is None else f"{o.percent:.1f}" if o.percent < 99.95
        else f"{o.percent:.0f}",
        "-" if o.band_share is None else f"{100 * o.band_share:.0f} %",
        str(o.faults or "-"),
    )


def _energy(wh: float, energy: Energy) -> str:
    least = 10.0 ** -energy.decimals
    return f"<{least:.{energy.decimals}f}" if 0 < wh * energy.scale < least / 2 \
        else energy.plain(wh)


def _short(outing: Any, cells: tuple[str, ...], name: str, energy: Energy) -> str:
    minutes, delivered, percent, band, _ = cells
    said = [f"{minutes} min", f"{delivered} {energy.unit}"]
    said += [f"{percent} %"] if outing.percent is not None else []
    said += [f"band {band}"] if outing.band_share is not None else []
    said += [_count(outing.faults, "fault")] if outing.faults else []
    said += [name] if name else []
    return f"{when(outing)}: {', '.join(said)}"


def _names(outings: Any) -> tuple[str, list[str]]:
    """What tells the outings' machines apart, and its heading: the rig, or the board where one
    rig has several; nothing where all are one. Boards come first, they are short."""
    boards: dict[str | None, set[str]] = {}
    labels: dict[str, set[str]] = {}
    for o in outings:
        boards.setdefault(o.rig, set()).add(o.board)
        labels.setdefault(o.label or "", set()).add(o.board)
    several = any(len(known) > 1 for known in boards.values())
    heading = ", ".join((["board"] if several else []) + (["rig"] if len(boards) > 1 else []))
    out = []
    for o in outings:
        parts = [_board(o, labels)] if several else []
        parts += [o.rig or "not known"] if len(boards) > 1 else []
        out.append(", ".join(parts))
    return heading, out


def _board(o: Any, labels: Mapping[str, set[str]]) -> str:
    """Its label, its id's last digits where it has none, both where two have the same."""
    end = o.board[-4:]
    if not o.label:
        return str(end)
    return f"{end} {o.label}" if len(labels[o.label]) > 1 else str(o.label)


def _faults(outing: Any) -> str:
    named = [f"{name.replace('_', ' ')}{f' ({n} times)' if n > 1 else ''}"
             for name, n in outing.faults_by_name.items()]
    return ", ".join(named) or "which fault is not known: its page is missing"


def _cut(text: str, room: int) -> str:
    return text if len(text) <= room else text[: max(room - 3, 0)] + "..."


# ---- totals


def _groups(result: Any) -> str:
    head = {"rig": "rig", "board": "board", "week": "week from"}.get(result.per, result.per)
    energy = energy_of(max(g.energy_out_wh for g in result.groups))
    rows = [(_group(g.name, result.per), str(g.outings), *_cells(g, energy))
            for g in result.groups]
    told = table(rows, (head, "outings", *_heads(energy)), right=range(1, 7), indent="")
    if result.best is None:
        return told
    return wrap(f"Only the {_count(result.totals.outings, 'outing')} with the most energy out "
                f"{'counts' if result.totals.outings == 1 else 'count'}.") + "\n\n" + told


def _group(name: str, per: str) -> str:
    if not name:
        return "not known" if per in {"rig", "board"} else "undated"
    if per in {"rig", "board"}:
        return name
    first = date.fromisoformat(name)
    month = MONTHS[first.month - 1]
    return {"year": f"{first.year}", "month": f"{month} {first.year}"}.get(
        per, f"{first.day:02d} {month} {first.year}")


def _sum(result: Any) -> str:
    t = result.totals
    if t.outings == 1 or len(result.groups) == 1:
        return ""
    energy = energy_of(max(o.energy_out_wh for o in result.groups or result.outings))
    share = "" if t.percent is None else f" ({number(t.percent, 3)} %)"
    band = "" if t.band_share is None else f", {100 * t.band_share:.0f} % of it in the band"
    what = _count(t.outings, "outing")
    if result.best is not None:
        what = f"The {t.outings} with the most energy out"
    elif t.outings < result.of:
        what = f"{t.outings} of {result.of} outings"
    return wrap(f"{what}: {duration(t.turning_s)} turned{band}; {energy.text(t.energy_out_wh)} "
                f"to the phone{share}; {_count(t.faults, 'fault') if t.faults else 'no faults'}.")


def _remarks(result: Any) -> str:
    said: list[str] = []
    if result.noted is not None:
        return ""
    if any(when(o).startswith("undated") for o in result.outings):
        said.append("Undated ones were cranked away from a computer: nothing on the board keeps "
                    "time without power.")
    if result.doubted:
        times = list(dict.fromkeys(moment(d.host_s) for d in result.doubted))
        told = " and ".join(times[:2]) + (" and others" if len(times) > 2 else "")
        said.append(f"At {_count(len(result.doubted), 'meeting')} the computer's clock cannot "
                    f"be believed (it said {told}): nothing is dated by it.")
    if result.clock_behind_s is not None:
        said.append(f"This computer's clock is {_long(result.clock_behind_s)} behind the last "
                    "meeting's: one of the two is wrong.")
    if not result.per and not any(o.note for o in result.outings):
        last = result.outings[-1].number
        said.append(f"'steadyturn review --outing {last}' shows one; 'steadyturn sessions "
                    f"--note {last} TEXT' adds your own words.")
    return "\n".join(wrap(s) for s in said)


def _long(seconds: float) -> str:
    return duration(seconds) if seconds < 2 * 86_400 else f"{seconds / 86_400:.0f} days"


def _count(count: int, noun: str) -> str:
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"


class Progress:
    """Draws how far the decoding is, on stderr, once it takes longer than a moment."""

    def __init__(self, quiet: bool = False) -> None:
        self.quiet = quiet or not sys.stderr.isatty()
        self._began = time.monotonic()
        self._shown = False

    def __call__(self, done: int, total: int) -> None:
        over = done >= total
        if self.quiet or (over and not self._shown) or time.monotonic() - self._began < 0.3:
            return
        self._shown = True
        line = f"  {fill(done / total, 24)} {100 * done / total:3.0f} %  decoding pages"
        sys.stderr.write("\r" + line[:79].ljust(60) + ("\n" if over else ""))
        sys.stderr.flush()
