"""A review in whole: figures with their ranges, the hand, the phone, what is missing, model and
history, what to change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from steadyturn.report import learned, review_findings, words
from steadyturn.report.arm_words import CARE
from steadyturn.report.paceband import short
from steadyturn.report.review import ENDED, files, head
from steadyturn.report.review_notes import notes
from steadyturn.report.review_tables import estimates, fitted, history, model, sensor
from steadyturn.report.review_words import LET_GO, Energy, connected, energy_unit
from steadyturn.report.style import (
    columns,
    duration,
    fill,
    item,
    number,
    quantity,
    table,
    wrap,
)

BAR = 30
MOST_BOOTS = 12
PACES = (("below", "too slow"), ("in_band", "in band"), ("above", "too fast"),
         ("unknown", "not known"))


def text(review: Any) -> str:
    """review: jobs.review.Review."""
    energy = energy_unit(review)
    parts = [_head(review)]
    if review.figures.pages:
        parts += [estimates(review, energy), sensor(review), _work(review), _pace(review),
                  _lamp(review.figures), phone(review.figures),
                  gaps(review.gaps, review.figures.events_lost),
                  _boots(review, energy), model(review), history(review),
                  learned.text(review.learned)]
    known = notes(review)
    if known:
        parts.append("\n".join(["Good to know", *map(item, known)]))
    if review.figures.turning_s:
        parts.append(_change(review, energy))
    parts.append("\n".join(files(review)))
    return "\n\n".join(p for p in parts if p) + "\n"


def _head(review: Any) -> str:
    lines = [wrap(head(review))]
    if review.label:
        lines.append(f"Board {review.board}.")
    return "\n".join(lines)


def _work(review: Any) -> str:
    f, p = review.figures, review.pace
    if f.turning_s == 0:
        return ("All turning was for a bench." if f.bench.turns else "The handle rested.")
    peaks = (f"Highest readings: {quantity(f.peak_v, 'V')}, {quantity(f.peak_a, 'A')}; highest "
             f"over 0.2 s: {quantity(f.peak_in_w, 'W')}")
    if math.isfinite(f.peak_pace_tpm):
        peaks += f", {number(f.peak_pace_tpm)} turns/min"
    lines = [wrap(peaks + ".")]
    if math.isfinite(p.p50_tpm):
        lines.append(wrap(
            f"Pace, once under way: half the time {number(p.p25_tpm)} to {number(p.p75_tpm)}, "
            f"nine tenths of it {number(p.p5_tpm)} to {number(p.p95_tpm)} turns/min, in the "
            f"middle {number(p.p50_tpm)}."))
    power = review.estimate("arm_power")
    if power is not None and review.arm_keeps_w is not None:
        low, middle, high = review.arm_keeps_w
        lines.append(wrap(
            f"The rig's arm would keep {number(middle, 2)} W ({number(low, 2)} to "
            f"{number(high, 2)}) for {duration(f.turning_s)}; it gave {number(power.value, 2)}. "
            f"{CARE}"))
    return "\n".join(lines)


def _pace(review: Any) -> str:
    if not review.band_tpm or not review.figures.pace_s:
        return ""
    low, target, high = review.band_tpm
    name = (f"Pace (band {short(low)} to {short(high)}, target {short(target)} turns/min; "
            "while turning)")
    f = review.figures
    rows = [(said, f.pace_percent[key], f.pace_s[key]) for key, said in PACES
            if key != "unknown" or f.pace_s[key]]
    return wrap(name) + "\n" + _bars(rows)


def _lamp(f: Any) -> str:
    rows = [(words.cue(name), f.cue_percent[name], f.cue_s[name]) for name in f.cue_s
            if f.cue_s[name] or name in {"faster", "hold", "slower"}]
    return "Lamp\n" + _bars(rows)


def _bars(rows: list[tuple[str, float, float]]) -> str:
    """name, percent, seconds; the bar is as long as the window allows."""
    room = min(BAR, columns() - 34)
    bars = [(fill(percent / 100, room),) if room > 4 else () for _, percent, _ in rows]
    return table([(name, *bar, f"{percent:.0f} %", duration(seconds))
                  for (name, percent, seconds), bar in zip(rows, bars, strict=True)],
                 right=(2, 3) if room > 4 else (1, 2))


def phone(f: Any) -> str:
    """Connections, why they ended, faults. f: sessions.figures.Figures."""
    lines = [wrap(connected(f))]
    if f.releases:
        lines.append(_counted("Disconnected", f.releases, LET_GO))
    if f.collapses:
        lines.append(wrap(f"Too much load for the pace {f.collapses} x: the volts collapsed."))
    if f.erases_connected:
        lines.append(wrap(f"Flash erased while connected: {f.erases_connected} x, at longest "
                          f"{f.erase_longest_ms} ms. Meanwhile hardware alone guards the phone."))
    if f.faults_by_name:
        lines.append(_counted("Faults", f.faults_by_name, words.FAULT))
    if f.faults > sum(f.faults_by_name.values()):
        more = f.faults - sum(f.faults_by_name.values())
        lines.append(f"{more} faults whose kind was not stored.")
    if not f.faults and not f.faults_by_name:
        lines.append("No faults.")
    return "\n".join(lines)


def _counted(name: str, counts: Mapping[str, int], names: Mapping[str, str]) -> str:
    parts = [f"{count} x {names.get(key, key)}" for key, count in counts.items()]
    return wrap(f"{name}: " + "; ".join(parts) + ".")


def gaps(found: Any, events_lost: int) -> str:
    """What was not measured; nothing is filled in for it. found: sessions.gaps.Gaps."""
    if not (found.stalls or found.no_data_s or found.missing_pages):
        if events_lost:  # a stall may have been among them
            return wrap("No page is missing; whether a tick was dropped is not known, because "
                        "some events found no room.")
        return wrap("Nothing is missing: no tick was dropped, no page lost.")
    parts = []
    if found.stalls:
        parts.append(f"the board stood still {found.stalls} x for {duration(found.stalled_s)} "
                     f"in all, at longest {found.longest_ms} ms; {found.dropped_ticks} ticks of "
                     "20 ms are in no figure")
    if found.no_data_s:
        parts.append(f"{duration(found.no_data_s)} of samples have nothing in them (the "
                     "board was busy, writing flash)")
    if found.missing_pages:
        parts.append(f"{found.missing_pages} pages are missing")
    return wrap("Missing: " + "; ".join(parts) + ". Nothing is filled in for it.")


def _boots(review: Any, energy: Energy) -> str:
    boots = review.figures.boots
    if len(boots) < 2 and not review.figures.boots_cut:
        return ""
    last_shown = boots[-MOST_BOOTS:]
    last = boots[-1]
    rows = [
        (str(b.boot) if b.first_boot == b.boot else f"{b.first_boot}-{b.boot}",
         duration(b.length_s), f"{b.turns:.0f}", energy.plain(b.energy_out_wh),
         duration(b.connected_s),
         "laptop connected" if b is last and b.ended == "host" and not b.turns
         else ENDED.get(b.ended, b.ended))
        for b in last_shown
    ]
    name = "Boots (each rest ends one; the time between two is not known)"
    if len(last_shown) < len(boots):
        name = (f"The last {len(last_shown)} of {len(boots)} boots (--json has all; the time "
                "between two is not known)")
    return wrap(name) + "\n" + fitted(
        rows, ("boot", "length", "turns", f"{energy.unit} out", "connected", "how it ended"),
        lambda row: f"boot {row[0]}: {row[1]}, {row[2]} turns, {row[3]} {energy.unit}, connected "
        f"{row[4]}; {row[5]}", right=(0, 1, 2, 3, 4))


def _change(review: Any, energy: Energy) -> str:
    if not review.findings:
        return "What to change\n" + wrap("Nothing that this outing shows.", "  ")
    lines = ["What to change"]
    for number_, finding in enumerate(review.findings, 1):
        said = review_findings.said(finding, energy)
        mark = f"{number_}. "
        lines.append(item(f"{said.head[:1].upper()}{said.head[1:]}.", mark))
        lines += [wrap(part, "     ") for part in (said.why, said.gain, said.do) if part]
    return "\n".join(lines)
