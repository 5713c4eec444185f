"""The band of a rig, for a person: what to keep to, why, and what it costs the arm."""

from __future__ import annotations

from math import isnan
from typing import Any

from steadyturn.report import pace_empty, pace_sure
from steadyturn.report.arm_words import CARE, keeps
from steadyturn.report.limit_names import NAME
from steadyturn.report.pace_headline import headline, shaky
from steadyturn.report.pace_picture import picture
from steadyturn.report.predict import LOSS
from steadyturn.report.style import item, number, quantity, shown_path, table, wrap

SHOWN_GUESSES = 4
SHOWN_LIMITS = 3  # of each side
SHOWN_HAZARDS = 4
SHOWN_LOSSES = 4


def brief(result: Any) -> str:
    """The band and its picture, without the reasons."""
    lines: list[str] = [*_danger(result)]
    lines += _band(result) if result.feasible else pace_empty.lines(result)
    lines += [wrap(f"Mind: {note}") for note in result.notes]
    return "\n".join([*lines, "", *picture(result)]) + "\n"


def in_full(result: Any) -> list[str]:
    """The band, its reasons and what matters most, as lines."""
    lines = [brief(result) if result.feasible else brief(result).rstrip("\n")]
    if result.feasible:
        lines += [*_limits(result), "", *_arm(result)]
    lines += pace_sure.lines(result) if result.sure is not None else _guesses(result)
    return lines + _measure(result)


def text(result: Any) -> str:
    lines = in_full(result)
    if result.plot:
        lines += ["", f"Plot: {shown_path(result.plot)}"]
    return "\n".join([*lines, "", item(_next(result), "next: ", "")]) + "\n"


def _next(result: Any) -> str:
    path, first = shown_path(result.file), result.measure
    again = f"steadyturn pace {path}"
    if result.sure is not None:
        again += f" --sure {number(100 * result.sure.share)}"
    measure = f"measure {first.key}, write it into {path}, then {again}" if first else ""
    if not result.feasible:
        if first is not None and first.opens:
            return measure
        return f"change {path} (or the machine), then steadyturn pace {path}"
    if _refused(result):
        return f"steadyturn check {path}"
    if result.sure is not None and result.sure.low_tpm is None:
        return measure or f"change {path} (or the machine), then {again}"
    return measure if shaky(result) else f"steadyturn flash {path}"


def _refused(result: Any) -> bool:
    return any(hazard.refuses for hazard in result.hazards)


def _danger(result: Any) -> list[str]:
    """A line each; what to do about them is for `check`."""
    if not result.hazards:
        return []
    refused = _refused(result)
    ordered = sorted(result.hazards, key=lambda hazard: not hazard.refuses)
    lines = ["DANGEROUS AS BUILT - do not connect a phone ('check' says what to do)" if refused
             else "Caution ('check' says what to do)"]
    for hazard in ordered[:SHOWN_HAZARDS]:
        lines.append(item(
            f"{NAME.get(hazard.name, hazard.name)}: {number(hazard.volts)} V where "
            f"{number(hazard.rating_v)} V is borne", mark="! " if hazard.refuses else "- "))
    left = len(ordered) - SHOWN_HAZARDS
    if left > 0:
        lines[-1] += f" (and {left} more)"
    return [*lines, ""]


def _band(result: Any) -> list[str]:
    at = result.at_target
    low_v, high_v = result.edges_v
    wide = result.window_v
    lines = [
        headline(result), "",
        wrap(f"At {result.target_tpm:.0f} turns/min the device gets "
             f"{quantity(float(at.out_w), 'W')} ({quantity(float(at.out_v), 'V')}, "
             f"{quantity(float(at.out_a), 'A')}); the arm gives {quantity(float(at.arm_w), 'W')}, "
             f"{quantity(float(at.crank_nm), 'N m')} at the handle. The converter's input stands "
             f"at {quantity(float(at.bus_v), 'V')}; from the slow to the fast end of the band it "
             f"goes from {number(low_v)} to {number(high_v)} V (windings at 20 degC), its window "
             f"is {number(wide[0])} to {number(wide[1])} V."),
    ]
    more = []
    if result.hold_tpm is not None:
        more.append(f"Once it runs it holds on down to {result.hold_tpm:.0f} turns/min, "
                    "even with hot motors.")
    more.append(f"If the load goes and the hand runs away, the bus can reach "
                f"{quantity(result.open_circuit_v, 'V')}.")
    lines.append(wrap(" ".join(more)))
    for low, high in result.other_bands_tpm:
        lines.append(wrap(f"A second, narrower band: {low:.0f}-{high:.0f} turns/min."))
    return lines


def _limits(result: Any) -> list[str]:
    """The binding limits of each side first, each once; the rest are in --json."""
    lines: list[str] = []
    for side, title in (("low", "Not slower, because"), ("high", "Not faster, because")):
        # those beyond the band's other end limit another band
        edge = result.low_tpm if side == "low" else result.high_tpm
        first: dict[str, Any] = {}  # a limit's further edges are the cold or hot machine's alone
        for x in result.limits:
            if x.side == side and ((x.pace_tpm <= edge + 1e-3) == (side == "low")
                                   or abs(x.pace_tpm - edge) < 1e-3):
                first.setdefault(x.name, x)
        chosen = list(first.values())
        if not chosen:
            continue
        rows = [(f"{x.pace_tpm:.0f}", NAME.get(x.name, x.name), x.reason)
                for x in chosen[:SHOWN_LIMITS]]
        left = len(chosen) - len(rows)
        lines += [title + (f" ({left} further off in --json)" if left else ""),
                  table(rows, right=(0,))]
    return lines


def _arm(result: Any) -> list[str]:
    """Where the arm's power goes, what a few turns off the target cost, and how long the arm
    keeps it."""
    at = result.at_target
    arm_w = float(at.arm_w)
    parts = sorted(((LOSS[name], float(watts)) for name, watts in at.losses_w.items()),
                   key=lambda part: -part[1])[:SHOWN_LOSSES]
    shares = ", ".join(f"{name} {100 * watts / arm_w:.0f} %"
                       for name, watts in [("device", float(at.out_w)), *parts])
    lines = [wrap(f"Of the arm's {quantity(arm_w, 'W')}: {shares} ('predict' has the rest).")]
    inside = [one for one in result.effort.beside if one.inside and not isnan(one.more)]
    most = max((100 * one.more for one in inside), default=0.0)
    if inside and most < 2:
        lines.append(wrap(f"{max(abs(one.off_tpm) for one in inside):.0f} turns/min off the best "
                          f"pace, but inside the band, cost the arm next to nothing (at most "
                          f"{max(most, 1):.0f} % more work for the same charge)."))
    elif inside:
        costs = ", ".join(f"{abs(one.off_tpm):.0f} {'slower' if one.off_tpm < 0 else 'faster'} "
                          f"{round(100 * one.more):+d} %" for one in inside)
        lines.append(wrap(f"The arm's work for the same charge, off the best pace by turns/min: "
                          f"{costs}."))
    return [*lines, wrap(f"This arm keeps {quantity(arm_w, 'W')} for "
                         f"{keeps(result.arm_keeps_min)} without a break. {CARE}")]


def _guesses(result: Any) -> list[str]:
    counted = [g for g in result.assumed if g.moves_tpm is None or g.moves_tpm >= 0.5]
    if not counted:
        return ["", wrap("No guess within its range moves the band by half a turn/min.")]
    rows = []
    for guess in counted[:SHOWN_GUESSES]:
        span = f"{number(guess.low)} to {number(guess.high)} {guess.unit}"
        rows.append((guess.key, span, _span(guess, 0), _span(guess, 1)))
    return ["", "What is not known exactly, and the band at either end of its range:",
            table(rows, ("value", "range", "band at low", "at high"))]


def _measure(result: Any) -> list[str]:
    """The one thing to measure first."""
    first = result.measure
    if first is None:
        return []
    return ["", item(first.how or "Read it off the part or its data sheet.",
                     mark=f"measure {first.key}: ", indent="")]


def _span(guess: Any, end: int) -> str:
    low, high = guess.low_tpm[end], guess.high_tpm[end]
    return "none" if low is None else f"{low:.0f}-{high:.0f}"
