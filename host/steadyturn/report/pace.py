"""The band of a rig, for a person: what to keep to, why, and what it costs the arm."""

from __future__ import annotations

from math import isnan
from typing import Any

from steadyturn.report import pace_sure
from steadyturn.report.arm_words import CARE, keeps
from steadyturn.report.limit_names import NAME
from steadyturn.report.pace_picture import picture
from steadyturn.report.predict import account
from steadyturn.report.style import item, number, quantity, shown_path, table, wrap

SHOWN_GUESSES = 4
SHOWN_LIMITS = 4  # of each side
SHOWN_REMEDIES = 6


def brief(result: Any) -> str:
    """The band and its picture, without the reasons."""
    lines: list[str] = [*_danger(result)]
    lines += _band(result) if result.feasible else _empty(result)
    return "\n".join([*lines, "", *picture(result)]) + "\n"


def in_full(result: Any) -> list[str]:
    """The band, its reasons and what matters most, as lines."""
    lines = [brief(result)]
    lines += _limits(result)
    if result.feasible:
        lines += ["", *account(result.at_target), "", *_arm(result)]
    return lines + _guesses(result) + pace_sure.lines(result)


def text(result: Any) -> str:
    lines = in_full(result)
    path = shown_path(result.file)
    step = f"steadyturn flash {path}"
    if not result.feasible:
        step = f"change {path} (or the machine), then steadyturn pace {path}"
    elif _refused(result):
        step = f"steadyturn check {path}"
    elif result.sure is not None and result.sure.low_tpm is None:
        step = (f"measure, write it into {path}, then steadyturn pace {path} "
                f"--sure {number(100 * result.sure.share)}")
    if result.plot:
        lines += ["", f"Plot: {shown_path(result.plot)}"]
    return "\n".join([*lines, "", f"next: {step}"]) + "\n"


def _refused(result: Any) -> bool:
    return any(hazard.refuses for hazard in result.hazards)


def _danger(result: Any) -> list[str]:
    if not result.hazards:
        return []
    lines = ["DANGEROUS AS BUILT - do not connect a phone" if _refused(result) else "Caution"]
    for hazard in result.hazards:
        lines.append(item(
            f"{number(hazard.volts)} V where {number(hazard.rating_v)} V is borne: "
            f"{hazard.reason}. {hazard.how}", mark="! " if hazard.refuses else "- "))
    return [*lines, ""]


def _band(result: Any) -> list[str]:
    at = result.at_target
    low_v, high_v = result.edges_v
    wide = result.window_v
    lines = [
        f"{result.rig}: keep to {result.low_tpm:.0f}-{result.high_tpm:.0f} turns/min, "
        f"best {result.target_tpm:.0f}", "",
        wrap(f"At {result.target_tpm:.0f} turns/min the device gets "
             f"{quantity(float(at.out_w), 'W')} ({quantity(float(at.out_v), 'V')}, "
             f"{quantity(float(at.out_a), 'A')}); the arm gives {quantity(float(at.arm_w), 'W')}, "
             f"{quantity(float(at.crank_nm), 'N m')} at the handle. The converter's input stands "
             f"at {quantity(float(at.bus_v), 'V')}; from the slow to the fast end of the band it "
             f"goes from {number(low_v)} to {number(high_v)} V, its window is {number(wide[0])} "
             f"to {number(wide[1])} V."),
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


def _empty(result: Any) -> list[str]:
    lines = [f"{result.rig}: no pace works.", ""]
    if result.clash:
        low, high = result.clash
        never = [x for x in result.limits if isnan(x.pace_tpm)]
        if never:
            lines.append(wrap(f"Two limits clash, {NAME.get(low, low)!r} and "
                              f"{NAME.get(high, high)!r}; what holds at no pace:"))
            shown = never[:3]
        else:
            lines.append(wrap(f"Two limits clash: '{NAME.get(low, low)}' asks for more pace than "
                              f"'{NAME.get(high, high)}' allows."))
            shown = _of(result, low, "low") + _of(result, high, "high")
        lines += [item(_limit_words(limit)) for limit in shown]
    if not result.remedies:
        return [*lines, wrap("No single change that was tried opens a band, nor one together "
                             "with another gear ratio. Look for a motor with more volts a turn "
                             "and less resistance.")]
    lines += ["", "What would part them (each is the model run again with that change):"]
    rows = []
    for remedy in result.remedies[:SHOWN_REMEDIES]:
        broken = ", ".join(f"'{NAME.get(name, name)}'" for name in remedy.hazards)
        beware = f" - NOT SAFE without a cut or clamp: {broken}" if broken else ""
        rows.append((f"{remedy.low_tpm:.0f}-{remedy.high_tpm:.0f}", remedy.change + beware))
    lines.append(table(rows, ("turns/min", "change"), right=(0,)))
    return lines


def _of(result: Any, name: str, side: str) -> list[Any]:
    return [x for x in result.limits if x.name == name and x.side == side][:1]


def _limit_words(limit: Any) -> str:
    where = "at no pace" if isnan(limit.pace_tpm) else f"{limit.pace_tpm:.0f} turns/min"
    return f"{where}: {limit.reason}"


def _limits(result: Any) -> list[str]:
    """The binding limits of each side first; the rest are in --json."""
    lines = []
    for side, title in (("low", "Not slower, because"), ("high", "Not faster, because")):
        chosen = [x for x in result.limits if x.side == side]
        if result.feasible:  # those beyond the band's other end limit another band
            edge = result.low_tpm if side == "low" else result.high_tpm
            chosen = [x for x in chosen if (x.pace_tpm <= edge + 1e-3) == (side == "low")
                      or abs(x.pace_tpm - edge) < 1e-3]
        if not chosen:
            continue
        rows = [("never" if isnan(x.pace_tpm) else f"{x.pace_tpm:.0f}",
                 NAME.get(x.name, x.name), x.reason) for x in chosen[:SHOWN_LIMITS]]
        left = len(chosen) - len(rows)
        lines += [title + (f" ({left} further off in --json)" if left else ""),
                  table(rows, right=(0,))]
    return lines


def _arm(result: Any) -> list[str]:
    """What a few turns off the target cost, and how long the arm keeps it."""
    inside = [one for one in result.effort.beside if one.inside and not isnan(one.more)]
    most = max((100 * one.more for one in inside), default=0.0)
    lines = []
    if inside and most < 2:
        lines.append(wrap(f"{max(abs(one.off_tpm) for one in inside):.0f} turns/min off the best "
                          f"pace, but inside the band, cost the arm next to nothing (at most "
                          f"{max(most, 1):.0f} % more work for the same charge)."))
    elif inside:
        costs = ", ".join(f"{abs(one.off_tpm):.0f} {'slower' if one.off_tpm < 0 else 'faster'} "
                          f"{round(100 * one.more):+d} %" for one in inside)
        lines.append(wrap(f"The arm's work for the same charge, off the best pace by turns/min: "
                          f"{costs}."))
    return [*lines, wrap(f"This arm keeps {quantity(float(result.at_target.arm_w), 'W')} for "
                         f"{keeps(result.arm_keeps_min)} without a break. {CARE}")]


def _guesses(result: Any) -> list[str]:
    counted = [g for g in result.assumed if g.moves_tpm is None or g.moves_tpm >= 0.5]
    if not counted:
        return ["", wrap("No guess within its range moves the band by half a turn/min.")]
    first = counted[0]
    if first.moves_tpm is None:
        effect = "within its range the band comes or goes altogether"
    else:
        effect = f"within its range the band's edges move by {first.moves_tpm:.0f} turns/min"
    lines = ["", wrap(f"What matters most that is not known exactly: {first.key} "
                      f"({first.kind}, {number(first.value)} {first.unit}): {effect}.")]
    if first.how:
        lines.append(item(first.how, mark="measure it: "))
    rows = []
    for guess in counted[:SHOWN_GUESSES]:
        span = f"{number(guess.low)} to {number(guess.high)} {guess.unit}"
        rows.append((guess.key, span, _span(guess, 0), _span(guess, 1)))
    return [*lines, "", table(rows, ("value", "range", "band at low", "at high"))]


def _span(guess: Any, end: int) -> str:
    low, high = guess.low_tpm[end], guess.high_tpm[end]
    return "none" if low is None else f"{low:.0f}-{high:.0f}"
