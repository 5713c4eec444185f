"""What an outing delivered, from its pages.

Energies, charge, turns and counted times are differences of the board's running totals,
which count every tick and lose nothing when pages are missing. Where pages follow one
another without a gap the same figures are also made from the 5 Hz samples, as a check of
one against the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions import benches, counts, turn
from steadyturn.sessions.agreement import Check, agreement
from steadyturn.sessions.benches import Bench
from steadyturn.sessions.decode import PAGE, Pages, decode
from steadyturn.sessions.outings import spans
from steadyturn.sessions.summaries import rest

SAMPLE_S = layout.SAMPLE_MS / 1000
WH = 3600.0  # J
MAH = 3.6  # C

# running totals, and the number at which each wraps (0: never in a board's life)
TOTALS = {
    "energy_in_uj": 0, "energy_out_uj": 0, "charge_uc": 0, "turns_m": 0, "on_samples": 0,
    "band_samples": 0, "connected_samples": 0, "connections": 1 << 16, "faults": 1 << 16,
}
# what the others turn over at, by their bytes in a page
TURN_OVER = {
    "energy_in_uj": 1 << 48, "energy_out_uj": 1 << 48, "charge_uc": 1 << 48, "turns_m": 1 << 40,
    "on_samples": 1 << 32, "band_samples": 1 << 32, "connected_samples": 1 << 32,
}


@dataclass(frozen=True, slots=True)
class BootFigures:
    """One boot. length_s: from its first to its last written sample; ended: as in
    `outings.Span`; missing_pages: absent within or just before it. first_boot: below boot
    where a summary stands for several."""

    boot: int
    first_boot: int
    begin_s: float
    length_s: float
    ended: str
    missing_pages: int
    energy_in_wh: float
    energy_out_wh: float
    turns: float
    connected_s: float
    band_s: float
    connections: int


@dataclass(frozen=True, slots=True)
class Figures:
    """The review's figures; the names carry the units.

    energy_in: into the converter, measured by the sensor. energy_out: at the phone's socket;
    energy_out_kind "measured", "inferred" (from what went in, by the converter's losses) or
    "partly measured". charge_mah: into the converter at bus volts, not the battery's.
    percent: of the phone, NaN when its capacity is not in the settings. mean_pace_tpm:
    while the pace was valid. pace_kind: "from volts", "measured" (by the turn sensor,
    wherever it was valid) or "partly measured". slips: times that pulses and volts did not
    fit each other; slip_permille: the farthest of these, pulses' turns in thousandths of
    those from volts (0: volts without turns; NaN: none). on_s: the board was on; turning_s:
    on and not at rest; bound_s: turning with hardly any current, so that the pace is at most
    what is stored. cue_s: by cue. pace_s: below, in and above the band, and unknown, by
    samples while turning (empty without settings).
    releases, faults_by_name: counted from events. erases_connected, erase_longest_ms: writes to
    flash that erased while the load was connected, by events, and the longest. no_data_s:
    stalls. other_band_boots: boots with other edges than those shown, by which their paces
    are counted. start_unknown: where the totals stood before the first page is not known, so that
    page is not counted.
    totals_restarts: times the board's totals went back (its journal was lost). thinned_pages:
    pages whose samples the board gave up for room and that are in no library; their energy,
    turns, times by cue, releases and faults are in the figures.
    bench: what readings for a bench were, which nothing else has but the pages' numbers and
    what is missing of them.
    """

    pages: int
    first_seq: int
    last_seq: int
    energy_in_wh: float
    energy_in_j: float
    energy_out_wh: float
    energy_out_j: float
    energy_out_kind: str
    charge_mah: float
    percent: float
    turns: float
    mean_pace_tpm: float
    pace_kind: str
    slips: int
    slip_permille: float
    on_s: float
    turning_s: float
    valid_s: float
    bound_s: float
    band_s: float
    band_percent: float
    connected_s: float
    cue_s: Mapping[str, float]
    cue_percent: Mapping[str, float]
    pace_s: Mapping[str, float]
    pace_percent: Mapping[str, float]
    peak_v: float
    peak_a: float
    peak_in_w: float
    peak_pace_tpm: float
    connections: int
    releases: Mapping[str, int]
    collapses: int
    faults: int
    faults_by_name: Mapping[str, int]
    boots: tuple[BootFigures, ...]
    boots_cut: int
    missing_pages: int
    damaged_pages: int
    events_lost: int
    erases_connected: int
    erase_longest_ms: int
    no_data_s: float
    volts_only_s: float
    saturated_pages: int
    other_band_boots: int
    start_unknown: bool
    totals_restarts: int
    thinned_pages: int
    check: Check = field(default_factory=lambda: Check(0, np.nan, np.nan, np.nan, True))
    bench: Bench = field(default_factory=Bench)


def review(
    pages: Pages, settings: Mapping[str, Any] | None = None, *, before: bytes = b"",
    damaged: int = 0, of_boots: Mapping[int, Mapping[str, Any]] | None = None,
) -> Figures:
    """Figures of these pages.

    settings: those in force (percent_mj, low_dtpm, high_dtpm are used); None: unknown.
    of_boots: those of single boots, where they are known (`in_force.by_boot`).
    before: the page before the first one, which tells where the totals stood, and all older
    ones that a summary in `pages` stands for too; b"": none.
    damaged: pages that came damaged and are kept elsewhere.
    """
    settings, of_boots = settings or {}, of_boots or {}
    known = decode(before)
    thinned = rest(pages, known)
    extra = thinned.counts
    every, restarts, start_unknown = _steps(pages.pages, known.pages)
    benched = benches.of_pages(pages)
    step = {name: np.where(benched, 0, column) for name, column in every.items()}
    whole, pages = pages, benches.without(pages)
    table, samples = whole.pages[~benched], pages.samples
    total = {name: int(column.sum()) for name, column in step.items()}
    live = samples[~samples["no_data"]]
    valid = live[live["valid"] == layout.VALID]
    cue_s = counts.cue_s(live, extra["by_cue"])
    valid_samples = len(valid) + int(extra["by_validity"][layout.VALID])
    on_s = total["on_samples"] * SAMPLE_S
    turning_s = max(0.0, on_s - cue_s["rest"])
    band_s = total["band_samples"] * SAMPLE_S
    pace_s = counts.pace_s(live, settings, of_boots)
    boots = _boots(whole, step)
    events = pages.events
    # a summary counts what happened; its few events are among that
    many = whole.pages["seq"][whole.pages["flags"] & layout.FLAG_SUMMARY > 0]
    single = events[~np.isin(events["seq"], many)]
    erases = events["argument"][events["code"] == layout.EV_ERASE_CONNECTED]
    return Figures(
        pages=len(whole.pages),
        first_seq=int(whole.pages["seq"][0]) if len(whole.pages) else 0,
        last_seq=int(whole.pages["seq"][-1]) if len(whole.pages) else 0,
        energy_in_wh=total["energy_in_uj"] / 1e6 / WH,
        energy_in_j=total["energy_in_uj"] / 1e6,
        energy_out_wh=total["energy_out_uj"] / 1e6 / WH,
        energy_out_j=total["energy_out_uj"] / 1e6,
        energy_out_kind=_out_kind(table),
        charge_mah=total["charge_uc"] / 1e6 / MAH,
        percent=counts.percent(whole.pages, step["energy_out_uj"], settings, of_boots),
        turns=total["turns_m"] / 1000,
        mean_pace_tpm=_mean(valid["pace_tpm"], extra["pace_sum"], valid_samples),
        pace_kind=turn.pace_kind(pages),
        slips=int(np.count_nonzero(events["code"] == layout.EV_SLIP)),
        slip_permille=turn.farthest(events["argument"][events["code"] == layout.EV_SLIP]),
        on_s=on_s,
        turning_s=turning_s,
        valid_s=valid_samples * SAMPLE_S,
        bound_s=_seconds((live["valid"] == layout.BOUND) & (live["cue"] != layout.REST)),
        band_s=band_s,
        band_percent=min(100.0, 100 * band_s / turning_s) if turning_s > 0 else np.nan,
        connected_s=total["connected_samples"] * SAMPLE_S,
        cue_s=cue_s,
        cue_percent=counts.shares(cue_s),
        pace_s=pace_s,
        pace_percent=counts.shares(pace_s),
        peak_v=int(table["peak_mv"].max(initial=0)) / 1000,
        peak_a=int(table["peak_ma"].max(initial=0)) / 1000,
        peak_in_w=float((live["bus_mv"] * live["bus_ma"].astype("i8")).max(initial=0)) / 1e6,
        peak_pace_tpm=max(float(valid["pace_tpm"].max(initial=0)), float(extra["top_pace_tpm"]))
        if valid_samples else np.nan,
        connections=total["connections"],
        releases=counts.add(counts.count(single, layout.EV_RELEASED, layout.REASONS),
                      thinned.by_name("releases", layout.REASONS)),
        collapses=int(np.count_nonzero(single["code"] == layout.EV_COLLAPSE)
                      + extra["collapses"]),
        faults=total["faults"],
        faults_by_name=counts.faults(pages, single, thinned.by_name("faults", layout.FAULTS)),
        boots=boots,
        boots_cut=sum(b.ended == "cut" for b in boots),
        missing_pages=sum(last - first + 1 for first, last in pages.missing),
        damaged_pages=pages.damaged + damaged,
        events_lost=int(table["events_lost"].sum()),
        erases_connected=len(erases),
        erase_longest_ms=int(erases.max(initial=0)),
        no_data_s=_seconds(samples["no_data"]) + int(extra["no_data"]) * SAMPLE_S,
        volts_only_s=_seconds(live["valid"] >= layout.VOLTS_ONLY)
        + int(extra["by_validity"][layout.VOLTS_ONLY :].sum()) * SAMPLE_S,
        saturated_pages=int(np.count_nonzero(table["flags"] & layout.FLAG_SATURATED)),
        other_band_boots=counts.other_bands(boots, settings, of_boots),
        start_unknown=start_unknown,
        totals_restarts=restarts,
        thinned_pages=thinned.pages,
        check=agreement(whole, every, start_unknown),
        bench=benches.bench(whole, every),
    )


def _seconds(which: NDArray[Any]) -> float:
    return int(np.count_nonzero(which)) * SAMPLE_S


def _steps(
    table: NDArray[Any], known: NDArray[Any]
) -> tuple[dict[str, NDArray[Any]], int, bool]:
    """What each page added to each total; times the totals went back; start unknown."""
    start_unknown = False
    if len(known):
        base = known[-1]
    elif (not len(table) or table["on_samples"][0] <= table["samples"][0]
          or table["first_seq"].min() == 1):
        base = np.zeros(1, PAGE)[0]  # the board's very first page
    else:
        base = table[0]
        start_unknown = True
    step = {}
    for name, wrap in TOTALS.items():
        column = table[name].astype("i8")
        step[name] = np.diff(column, prepend=int(base[name]))
        if wrap:
            step[name] %= wrap
        else:  # a board's totals may turn over in a long life; they never step far at once
            turned = step[name] % TURN_OVER[name]
            over = (step[name] < 0) & (turned < TURN_OVER[name] >> 8)
            step[name] = np.where(over, turned, step[name])
    back = np.zeros(len(table), bool)
    for name, wrap in TOTALS.items():
        if not wrap:
            back |= step[name] < 0
    for name in TOTALS:
        # totals that began again: this page has them from their new start, if it is the first
        fresh = back & (table["on_samples"] <= table["samples"])
        step[name] = np.where(back, np.where(fresh, table[name], 0), step[name])
    return step, int(np.count_nonzero(back)), start_unknown


def _boots(pages: Pages, step: Mapping[str, NDArray[Any]]) -> tuple[BootFigures, ...]:
    out = []
    for span in spans(pages):
        part = slice(span.first, span.stop)
        total = {name: int(column[part].sum()) for name, column in step.items()}
        out.append(BootFigures(
            boot=span.boot,
            first_boot=span.first_boot,
            begin_s=span.begin_ms / 1000,
            length_s=(span.end_ms - span.begin_ms) / 1000,
            ended=span.ended,
            missing_pages=span.missing,
            energy_in_wh=total["energy_in_uj"] / 1e6 / WH,
            energy_out_wh=total["energy_out_uj"] / 1e6 / WH,
            turns=total["turns_m"] / 1000,
            connected_s=total["connected_samples"] * SAMPLE_S,
            band_s=total["band_samples"] * SAMPLE_S,
            connections=total["connections"],
        ))
    return tuple(out)


def _mean(paces: NDArray[Any], more: float, count: int) -> float:
    return float((paces.sum(dtype=float) + more) / count) if count else float("nan")


def _out_kind(table: NDArray[Any]) -> str:
    measured = table["flags"] & layout.FLAG_OUT_MEASURED > 0
    if not measured.any():
        return "inferred"
    return "measured" if measured.all() else "partly measured"
