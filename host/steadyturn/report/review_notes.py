"""What a reader of a review should know: what is missing in it, and what it was held against."""

from __future__ import annotations

import math
from typing import Any

from steadyturn.report import words
from steadyturn.report.style import duration, number


def bench(figures: Any) -> list[str]:
    """What readings for a bench were left out; nothing where there were none."""
    b = figures.bench
    if not b.pages:
        return []
    parts = [f"{number(b.turns, 3)} turns", f"{number(b.energy_in_wh, 2)} Wh into the converter"]
    if b.faults:
        parts.append("1 fault" if b.faults == 1 else f"{b.faults} faults")
    return [f"{duration(b.on_s)} were readings for a bench ({', '.join(parts)}): none of it "
            "charged a phone, so it is in no figure, bar or finding. The board's own count "
            "(button, percent) has it."]


def notes(review: Any) -> list[str]:
    f = review.figures
    found = []
    if review.scope != "all" and review.since_s is not None:
        found.append("What earlier pulls brought is not in this: 'steadyturn review --all' "
                     "shows everything, --outing N one of 'steadyturn sessions'.")
    if review.latest_brought_none:
        found.append("The last pull brought nothing new; this is what came before it.")
    if review.latest_rested:
        found.append("The last pull brought pages in which nobody turned; this is what came "
                     "before it.")
    if review.unfinished:
        found.append("The pull was broken off: more may be on the board. Pull again.")
    if review.band_tpm is None:
        found.append("The board had no valid settings, so its band and the phone's capacity are "
                     "not known. 'steadyturn flash RIG' writes them.")
    elif review.percent_j is None:
        found.append("The rig says nothing of the phone's battery, so there is no percentage: "
                     "give the load's capacity in the rig file and flash it.")
    if review.rig_source == "unreadable":
        found.append("The rig file that was left with these settings cannot be read any more: "
                     "name one by --rig.")
    elif not review.rig_source:
        found.append("No rig file was left with these settings ('steadyturn flash' does it): "
                     "ranges are those of typical parts, and nothing could be held against the "
                     "model. --rig RIG names one.")
    if f.other_band_boots:
        found.append(f"{f.other_band_boots} of the boots had another band than the one shown: "
                     "their paces are counted by their own.")
    found += bench(f)
    if f.boots_cut:
        boots = "1 boot was" if f.boots_cut == 1 else f"{f.boots_cut} boots were"
        found.append(f"{boots} cut off by loss of power and reviewed as far as written: the last "
                     "few seconds before the cut are in no figure.")
    if f.missing_pages:
        found.append(f"Pages missing: {f.missing_pages}. Energy, turns and times come from "
                     "running totals and include them; the bars and the plot do not.")
    if f.thinned_pages:
        found.append(f"The board gave up the samples of {f.thinned_pages} pages for room: a "
                     "summary a boot is left. Energy, turns, times, lamp, releases and faults "
                     "include them; the pace's bars and the plot do not.")
    if f.damaged_pages:
        found.append(f"Damaged pages, or of a newer layout: {f.damaged_pages}, left out.")
    if f.start_unknown:
        found.append("Pages before the first one are gone, so what it tells of itself (a few "
                     "seconds, of a summary its boot) is not counted.")
    if f.totals_restarts:
        found.append(f"The board's totals began anew {f.totals_restarts} x; what was counted "
                     "before and after is added up.")
    if f.pace_kind == "partly measured":
        found.append("The turn sensor gave the pace for a part of the time; else it is from "
                     "the volts.")
    if f.slips:
        found.append(f"Turn sensor and volts did not fit each other {f.slips} x, at worst: "
                     f"{words.slip(f.slip_permille)}. Look at gears, belt, motor leads and the "
                     "turn sensor.")
    if f.bound_s:
        found.append(f"For {duration(f.bound_s)} of turning hardly any current flowed: the pace "
                     "was then at most what is shown, and turns were not counted.")
    if f.volts_only_s:
        found.append(f"For {duration(f.volts_only_s)} the sensor did not answer: no current and "
                     "so no energy was counted then.")
    if f.saturated_pages:
        found.append("A reading stood at the end of the sensor's range (pages: "
                     f"{f.saturated_pages}): the true peak was higher.")
    if f.events_lost:
        found.append(f"Events that found no room in the journal: {f.events_lost}.")
    if not f.check.agrees:
        apart = ", ".join(f"{what} {percent:+.1f} %" for what, percent in (
            ("energy", f.check.energy_in_percent), ("charge", f.check.charge_percent),
            ("turns", f.check.turns_percent)) if math.isfinite(percent))
        found.append(f"The samples do not agree with the totals ({apart or 'one has nothing'}): "
                     "trust these figures less.")
    if review.other_boards:
        found.append(f"The library also has: {', '.join(review.other_boards)} (--board).")
    return found
