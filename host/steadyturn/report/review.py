"""A review in a maker's words: what was delivered first, then the pace, then the rest."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from typing import Any

from steadyturn.report import words
from steadyturn.report.style import WIDTH, duration, fill, item, number, quantity, table, wrap

BAR = 30
MOST_BOOTS = 12
ENDED = {
    "faded": "power faded, saved in time",
    "host": "saved for the laptop",
    "cut": "cut off by loss of power",
}
PACES = (("below", "too slow"), ("in_band", "in band"), ("above", "too fast"),
         ("unknown", "not known"))


def text(review: Any) -> str:
    """review: jobs.review.Review."""
    parts = [_head(review)]
    if review.figures.pages:
        parts += [_delivered(review), _work(review), _pace(review), _lamp(review.figures),
                  _phone(review.figures), _boots(review)]
    notes = _notes(review)
    if notes:
        parts.append("\n".join(["Good to know", *map(item, notes)]))
    if review.plot:
        parts.append(f"Plot: {review.plot}")
    if review.html:
        parts.append(f"Page: {review.html}")
    return "\n\n".join(p for p in parts if p) + "\n"


def when(host_s: float) -> str:
    """A host time in this machine's zone."""
    return time.strftime("%d %b %Y, %H:%M", time.localtime(host_s))


def _head(review: Any) -> str:
    board = f"board {review.board}"
    name = f"{review.label} ({board})" if review.label else board.capitalize()
    rig = f", rig {review.rig}" if review.rig else ""
    lines = [f"{name}{rig}"]
    if review.scope == "all":
        lines.append(f"Everything in the library, up to the pull of {when(review.pulled_s)}.")
    elif review.latest_brought_none:
        lines.append(wrap("The last pull brought nothing new. This is what the one of "
                          f"{when(review.pulled_s)} brought."))
    else:
        lines.append(f"Pulled {when(review.pulled_s)}.")
    if review.since_s is not None:
        lines.append(f"Cranked at some time since {when(review.since_s)}, the pull before.")
    return "\n".join(lines)


def _delivered(review: Any) -> str:
    f = review.figures
    how = {"inferred": "inferred from what went in",
           "measured": "measured",
           "partly measured": "partly measured, partly inferred"}[f.energy_out_kind]
    rows = [("To the phone", quantity(f.energy_out_wh, "Wh"), how)]
    if math.isfinite(f.percent):
        rows.append(("", f"{number(f.percent, 2)} %", "of the phone's battery, about"))
    rows.append(("Into the converter", quantity(f.energy_in_wh, "Wh"),
                 f"measured; {number(f.charge_mah)} mAh at the bus's volts"))
    return table(rows, right=(1,))


def _work(review: Any) -> str:
    f = review.figures
    mean = f", on average {number(f.mean_pace_tpm)} a minute" if f.valid_s else ""
    share = ""
    if f.turning_s > 0 and math.isfinite(f.band_percent):
        share = f" In the band for {duration(f.band_s)}, {f.band_percent:.0f} % of it."
    peaks = (f"Highest readings: {quantity(f.peak_v, 'V')}, {quantity(f.peak_a, 'A')}; highest "
             f"over 0.2 s: {quantity(f.peak_in_w, 'W')}")
    if math.isfinite(f.peak_pace_tpm):
        peaks += f", {number(f.peak_pace_tpm)} turns/min"
    by = ", by the turn sensor" if f.pace_kind == "measured" else ""
    turned = f"{number(f.turns, 4)} turns{by}{mean}, in {duration(f.turning_s)} of turning.{share}"
    if f.turning_s == 0:
        turned = "The handle rested."
    return "\n".join([wrap(f"{turned} The board was on for {duration(f.on_s)}."),
                      wrap(peaks + ".")])


def _pace(review: Any) -> str:
    if not review.band_tpm or not review.figures.pace_s:
        return ""
    low, target, high = review.band_tpm
    head = (f"Pace (band {number(low)} to {number(high)}, target {number(target)} turns/min; "
            "while turning)")
    rows = [(name, review.figures.pace_s[key]) for key, name in PACES
            if key != "unknown" or review.figures.pace_s[key]]
    return head + "\n" + _bars(rows)


def _lamp(f: Any) -> str:
    rows = [(_cue(name), f.cue_s[name]) for name in f.cue_s
            if f.cue_s[name] or name in {"faster", "hold", "slower"}]
    return "Lamp\n" + _bars(rows)


def _cue(name: str) -> str:
    return words.CUE.get(name, (name, ""))[0]


def _bars(rows: list[tuple[str, float]]) -> str:
    whole = sum(seconds for _, seconds in rows)
    return table([
        (name, fill(seconds / whole if whole else 0, BAR),
         f"{100 * seconds / whole if whole else 0:.0f} %", duration(seconds))
        for name, seconds in rows
    ], right=(2, 3))


def _phone(f: Any) -> str:
    times = "once" if f.connections == 1 else f"{f.connections} times"
    lines = [wrap(f"Phone connected {times}, {duration(f.connected_s)} in all."
                  if f.connections or f.connected_s else "The phone was never connected.")]
    if f.releases:
        lines.append(_counted("Disconnected", f.releases, words.REASON))
    if f.collapses:
        lines.append(f"Too much load for the pace {f.collapses} x: the volts collapsed.")
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


def _counted(head: str, counts: Mapping[str, int], names: Mapping[str, str]) -> str:
    parts = [f"{count} x {names.get(name, name)}" for name, count in counts.items()]
    return wrap(f"{head}: " + "; ".join(parts) + ".")


def _boots(review: Any) -> str:
    boots = review.figures.boots
    if len(boots) < 2 and not review.figures.boots_cut:
        return ""
    shown = boots[-MOST_BOOTS:]
    last = boots[-1]
    rows = [
        (str(b.boot) if b.first_boot == b.boot else f"{b.first_boot}-{b.boot}",
         duration(b.length_s), f"{b.turns:.0f}", f"{b.energy_out_wh:.3f}",
         duration(b.connected_s),
         "laptop connected" if b is last and b.ended == "host" and not b.turns
         else ENDED.get(b.ended, b.ended))
        for b in shown
    ]
    head = "Boots (each rest ends one; the time between two is not known)"
    if len(shown) < len(boots):
        head = (f"The last {len(shown)} of {len(boots)} boots (--json has all; the time between "
                "two is not known)")
    return head + "\n" + table(
        rows, ("boot", "length", "turns", "Wh out", "connected", "how it ended"),
        right=(0, 1, 2, 3, 4), width=WIDTH)


def _notes(review: Any) -> list[str]:
    f = review.figures
    notes = []
    if review.scope != "all" and review.since_s is not None:
        notes.append("What earlier pulls brought is not in this; 'steadyturn review --all' "
                     "shows everything.")
    if review.unfinished:
        notes.append("The pull was broken off: more may be on the board. Pull again.")
    if review.band_tpm is None:
        notes.append("The board had no valid settings, so its band and the phone's capacity are "
                     "not known. 'steadyturn flash RIG' writes them.")
    elif review.percent_j is None:
        notes.append("The rig says nothing of the phone's battery, so there is no percentage: "
                     "give the load's capacity in the rig file and flash it.")
    if f.boots_cut:
        boots = "1 boot was" if f.boots_cut == 1 else f"{f.boots_cut} boots were"
        notes.append(f"{boots} cut off by loss of power and reviewed as far as written: the last "
                     "few seconds before the cut are in no figure.")
    if f.missing_pages:
        notes.append(f"Pages missing: {f.missing_pages}. Energy, turns and times come from "
                     "running totals and include them; the bars and the plot do not.")
    if f.thinned_pages:
        notes.append(f"The board gave up the samples of {f.thinned_pages} pages for room: a "
                     "summary a boot is left. Energy, turns, times, lamp, releases and faults "
                     "include them; the pace's bars and the plot do not.")
    if f.damaged_pages:
        notes.append(f"Damaged pages, or of a newer layout: {f.damaged_pages}, left out.")
    if f.start_unknown:
        notes.append("Pages before the first one are gone, so what it tells of itself (a few "
                     "seconds, of a summary its boot) is not counted.")
    if f.totals_restarts:
        notes.append(f"The board's totals began anew {f.totals_restarts} x; what was counted "
                     "before and after is added up.")
    if f.pace_kind == "partly measured":
        notes.append("The turn sensor gave the pace for a part of the time; else it is from "
                     "the volts.")
    if f.slips:
        notes.append(f"Turn sensor and volts did not fit each other {f.slips} x, at worst: "
                     f"{words.slip(f.slip_permille)}. Look at gears, belt, motor leads and the "
                     "turn sensor.")
    if f.bound_s:
        notes.append(f"For {duration(f.bound_s)} of turning hardly any current flowed: the pace "
                     "was then at most what is shown, and turns were not counted.")
    if f.no_data_s:
        notes.append(f"The board was busy (writing flash) for {duration(f.no_data_s)}: nothing "
                     "was measured then.")
    if f.volts_only_s:
        notes.append(f"For {duration(f.volts_only_s)} the sensor did not answer: no current and "
                     "so no energy was counted then.")
    if f.saturated_pages:
        notes.append("A reading stood at the end of the sensor's range (pages: "
                     f"{f.saturated_pages}): the true peak was higher.")
    if f.events_lost:
        notes.append(f"Events that found no room in the journal: {f.events_lost}.")
    if not f.check.agrees:
        notes.append(f"The samples do not agree with the totals (energy "
                     f"{f.check.energy_in_percent:+.1f} %, turns {f.check.turns_percent:+.1f} %): "
                     "trust these figures less.")
    if review.other_boards:
        notes.append(f"The library also has: {', '.join(review.other_boards)} (--board).")
    return notes
