"""The machine in time, for a person: the answer first, then a few moments of it."""

from __future__ import annotations

from typing import Any

from steadyturn.report.limit_names import NAME
from steadyturn.report.predict_questions import lines as questions
from steadyturn.report.style import duration, item, number, quantity, shown_path, table, wrap

LOOKED_S = 1.0  # at its pace for less time a machine shows nothing


def text(result: Any) -> str:
    """result: jobs.predict_time.Course."""
    head = f"{result.rig}, from rest to {number(result.pace_tpm, 4)} turns/min: {_answer(result)}"
    lines = [wrap(head), ""]
    danger = [hazard for hazard in result.hazards if hazard.refuses]
    if danger:
        worst = danger[0]
        lines[:0] = [wrap(
            "DANGEROUS - do not connect a phone: if the load goes at this pace, "
            f"{number(worst.volts)} V where {number(worst.rating_v)} V is borne "
            f"({NAME.get(worst.name, worst.name)}). 'steadyturn predict "
            f"{shown_path(result.file)} --pace {number(result.pace_tpm, 4)}' lists all."), ""]
    lines += [item(words) for words in _findings(result)]
    lines += ["", _table(result), "", *questions(result.questions)]
    lines += ["", wrap(
        "The arm's pull, its ripple and reaction are assumptions. The device is taken to be "
        "connected from the start; the board's load switch waits until the machine can carry "
        f"it. The bus capacitor is {number(result.capacitor_uf, 6)} uF; --capacitor tries "
        "another.")]
    if result.plot:
        lines += ["", f"Plot: {shown_path(result.plot)}"]
    return "\n".join(lines) + "\n"


def end_s(result: Any) -> float:
    """When the load went, or the run ended [s]."""
    return float(result.time_s if result.unplug_s is None else result.unplug_s)


def _answer(result: Any) -> str:
    start = result.start
    if start.starts_s is None:
        return (f"the converter never starts; the bus reaches {quantity(start.bus_v, 'V')}, it "
                f"starts at {number(result.start_v)} V.")
    first = f"the converter starts after {duration(start.starts_s)}"
    if start.holds_s is None:
        if start.lets_go == 0:
            return f"{first}; the time is too short to say whether it holds."
        if start.reached_s is None or end_s(result) - start.reached_s < LOOKED_S:
            return (f"{first} and lets go again ({start.lets_go} x), but the time is too short to "
                    "say whether it holds once the handle is up to its pace.")
        often = "" if start.hiccup_s is None else (
            f", about every {quantity(start.hiccup_s, 's', 2)}")
        return (f"{first} and does not hold: it lets go and starts again ({start.lets_go} x"
                f"{often}). Too much load for this pace.")
    if start.lets_go == 0:
        return f"{first}, at once for good."
    times = "once" if start.lets_go == 1 else f"{start.lets_go} times"
    return (f"{first}, hunts (lets go {times}) and holds from {duration(start.holds_s)} on.")


def _findings(result: Any) -> list[str]:
    found = []
    at = result.settled
    if result.start.bus_v > result.in_borne_v:
        found.append(f"TOO MUCH for the converter, even under load: the bus reaches "
                     f"{quantity(result.start.bus_v, 'V')}, its input bears "
                     f"{number(result.in_borne_v)} V. Turn slower.")
    if at is not None:
        ripple_v = at.in_v.high - at.in_v.low
        share = 100 * ripple_v / at.in_v.mean if at.in_v.mean else 0.0
        found.append(
            f"Settled ({_second(at.from_s)} to {_second(at.to_s)} s): the converter's input "
            f"at {quantity(at.in_v.mean, 'V')}, rippling by {number(ripple_v, 2)} V "
            f"({share:.0f} %: {number(at.in_v.low)} to {number(at.in_v.high)} V); it lets go at "
            f"{number(result.stop_v)} V.")
        found.append(
            f"The device then has {quantity(at.out_v.mean, 'V')} (never less than "
            f"{quantity(at.out_v.low, 'V')}), {quantity(at.out_a.mean, 'A')}, "
            f"{quantity(at.out_w, 'W')}; the arm gives {quantity(at.arm_w, 'W')}, "
            f"{number(at.crank_nm.low, 2)} to {number(at.crank_nm.high, 2)} N m.")
        found.append(f"The handle keeps {number(at.pace_tpm.low)} to {number(at.pace_tpm.high)} "
                     f"turns/min{_overshoot(result)}.")
    elif result.overshoot_tpm >= 0.5:
        found.append(f"The handle goes to {number(result.pace_tpm + result.overshoot_tpm)} "
                     "turns/min at the fastest.")
    gone = result.unplugged
    if gone is not None:
        found.append(
            f"Unplugged at {_second(gone.at_s)} s: the handle speeds up to "
            f"{number(gone.pace_tpm)} turns/min, the bus to {quantity(gone.bus_v, 'V')}, the "
            f"converter's output to {quantity(gone.out_v, 'V')}. {_rated(gone)}")
    return found


def _second(at_s: float) -> str:
    """A moment of the run: to a tenth, all digits before the point."""
    return f"{at_s:.1f}".removesuffix(".0")


def _overshoot(result: Any) -> str:
    over = result.overshoot_tpm
    if over < 0.5:
        return ""
    return (f"; on the way there it overshoots to {number(result.pace_tpm + over)} "
            f"({100 * over / result.pace_tpm:.0f} %)" if result.pace_tpm else "")


def _rated(gone: Any) -> str:
    broken = [one for one in gone.rated if one.volts > one.rating_v]
    if broken:
        return "TOO MUCH for: " + "; ".join(
            f"{NAME.get(one.name, one.name)} ({number(one.volts)} V where "
            f"{number(one.rating_v)} V is borne)" for one in broken) + "."
    if not gone.rated:
        return ""
    first = gone.rated[0]
    return (f"All ratings bear that; the tightest is {number(first.rating_v)} V "
            f"({NAME.get(first.name, first.name).partition(',')[0]}).")


def _table(result: Any) -> str:
    head = ("s", "turns/min", "V in", "A in", "V out", "A out", "N m", "converter")
    rows = [(f"{row.t_s:.2f}" if row.t_s < 100 else f"{row.t_s:.0f}",
             f"{row.pace_tpm:.0f}", f"{row.in_v:.2f}", f"{row.in_a:.2f}", f"{row.out_v:.2f}",
             f"{row.out_a:.2f}", f"{row.crank_nm:.2f}",
             ("on" if row.converter_on else "off") + (f": {row.what}" if row.what else ""))
            for row in result.rows]
    return table(rows, head, right=range(7))
