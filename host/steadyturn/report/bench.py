"""What a bench found, for a person."""

from __future__ import annotations

from typing import Any

from steadyturn import cautions
from steadyturn.report.style import item, number, table, wrap

NAMES = {"emf_v_per_krpm": "EMF constant k", "terminal_ohm": "ohms at 20 degC",
         "brush_drop_v": "brush drop", "brush_knee_a": "drop sets in at",
         "no_load_a": "no-load current",
         "drag_unm_per_rad_s": "drag with speed", "efficiency": "gear efficiency",
         "loss_w": "loss, constant", "loss_v": "loss per A", "loss_ohm": "loss per A squared"}
UNITS = {"emf_v_per_krpm": "V/krpm", "terminal_ohm": "ohm", "brush_drop_v": "V",
         "brush_knee_a": "A", "no_load_a": "A", "drag_unm_per_rad_s": "uN m s", "efficiency": "",
         "loss_w": "W", "loss_v": "V", "loss_ohm": "ohm"}
_FIELD = {"emf_v_s": "k", "terminal_ohm": "the ohms", "brush_drop_v": "the brush drop",
          "brush_knee_a": "the current at which that sets in", "no_load_a": "the no-load current",
          "drag_nm_s": "the drag", "efficiency": "the gear efficiency"}
HELD = ("Hold the shaft with a clamp, not with fingers; a few seconds a reading: windings and "
        "resistors get hot, and a hot winding reads too high.")
SHORT = ("A short brakes the handle at once and loads the teeth: only at a slow pace, for two "
         "seconds, and only where a load resistor cannot do.")
DRILL = "Wear eye protection at a drill; a chuck that slips or a loose wire flies."


def text(answer: Any, ends: bool = True, by_board: bool = False) -> str:
    """The constants with their intervals, what stands out, what to read next; and, where it
    ends, what was written."""
    lines = []
    result = answer.result
    if result is not None:
        out = len(result.suspects)
        kept = "" if not out else f", {out} left out"
        lines += [f"{answer.subject}: {result.readings} readings{kept}, {answer.on}", ""]
        rows = [(NAMES[v.key], *_figures(v), UNITS[v.key], _how(v, result))
                for v in result.values if _shown(v, answer)]
        lines.append(table(rows, ("one motor" if answer.machine else "", "value", "95 %", "unit",
                                  ""), right=(1,)))
        lines += _suspects(result) + _doubts(result) + _ties(result) + _misfit(result)
    if answer.losses is not None:
        lines += [""] if lines else [f"{answer.subject}: {answer.on}", ""]
        lines += _losses(answer.losses)
    if result is not None:
        lines += _next(result, by_board)
    if not ends:
        return "\n".join(lines) + "\n"
    lines.append("")
    if answer.written:
        kept = ("What stood there before is kept above each as a comment."
                if answer.replaced else "")
        lines.append(wrap(f"Written to {answer.file} as measured: {', '.join(answer.written)}. "
                          f"{kept}"))
    else:
        lines.append("Nothing was written.")
    if answer.assumed:
        lines.append(wrap(f"Assumed, for want of a reading: {', '.join(answer.assumed)}. Held-"
                          "shaft readings tell the ohms: take some, then bench again."))
    if answer.kept:
        lines.append(wrap(f"Left as it was: {', '.join(answer.kept)}. The file has it from an "
                          "earlier measurement that is narrower and agrees."))
    lines += ["", item(answer.next[0], "next: ", "")]
    return "\n".join(lines) + "\n"


def _shown(value: Any, answer: Any) -> bool:
    return value.key != "efficiency" or (answer.machine and value.told)


def _figures(value: Any) -> tuple[str, str]:
    if not value.told and value.before_low is None:  # a figure would only mislead
        return "-", "-"
    return number(value.value, 4), f"{number(value.low)} to {number(value.high)}"


def _how(value: Any, result: Any) -> str:
    if value.name in result.doubted:
        return "not believed"
    if value.told:
        return "measured" if value.before == "nothing known" or "typical" in value.before else (
            f"measured; {number(value.before_low)} to {number(value.before_high)} before")
    if value.before_low is None:
        return "not told by these readings"
    return "assumed: not told"


def _suspects(result: Any) -> list[str]:
    if not result.suspects:
        return []
    lines = ["", "Left out, because they do not go with the others:"]
    for one in result.suspects:
        where = f" ({one.where})" if one.where else ""
        lines.append(item(f"{one.reading}{where}: {off(one.sigmas)}. {_slip(one)}"))
    return lines


def off(sigmas: float) -> str:
    """How far a reading stands off; two sigmas are what 95 of 100 keep.

    >>> off(27.0)
    '14 times its usual error off'
    """
    return f"{sigmas / 2:.0f} times its usual error off"


def _doubts(result: Any) -> list[str]:
    lines = []
    if result.doubt == "third":
        lines.append(f"! {len(result.suspects)} of {result.readings} readings do not go with the "
                     "others. Nothing counts as measured: look at them, and take some again.")
    if result.doubted:
        *first, last = [_FIELD[name] for name in result.doubted]
        named = f"{', '.join(first)} and {last}" if first else last
        lines.append(f"! Not believed: {named}. These readings contradict each other, or no motor "
                     "is so. Look at the decimal points; three or more of each kind settle it.")
    return ["", *(wrap(line) for line in lines)] if lines else []


def _slip(one: Any) -> str:
    if one.slip == "swapped":
        return f"Are {' and '.join(one.keys)} swapped? So it would fit."
    if one.slip == "decimal point":
        return (f"Is the decimal point right? {one.keys[0]} = {number(one.would_fit, 4)} would "
                f"fit, not {number(one.read, 4)}.")
    if one.slip == "thousandfold":
        return (f"Were these thousandths (mV for V, mA for A)? {one.keys[0]} = "
                f"{number(one.would_fit, 4)} would fit, not {number(one.read, 4)}.")
    return "Read it again."


def _ties(result: Any) -> list[str]:
    lines = []
    for tie in result.ties:
        cure = "" if tie.cure is None else f" What would help most: {proposal(tie.cure)}."
        lines.append(item(f"These readings hardly tell {_FIELD[tie.one]} from "
                          f"{_FIELD[tie.other]}.{cure}"))
    return ["", *lines] if lines else []


def _misfit(result: Any) -> list[str]:
    misfit = result.misfit
    if misfit.freedom < 2:
        return ["", wrap("With so few readings nothing checks them: take more before you trust "
                         "the intervals.")]
    if result.doubt or result.doubted:
        return []
    if misfit.fits:
        return ["", wrap("The readings agree with each other and with the model.")]
    if misfit.widened > 1:
        wide = number(misfit.widened, 2)
        return ["", wrap(f"! The readings scatter {wide} times as much as the meter's error "
                         f"explains. Every interval is {wide} times as wide for it; --plot shows "
                         "where.")]
    return ["", wrap("! The readings drift with the current instead of scattering: a warm "
                     "winding, or a motor the model does not have. --plot shows it.")]


def _losses(losses: Any) -> list[str]:
    rows = [(NAMES[key], number(value), f"{number(low)} to {number(high)}", UNITS[key])
            for key, value, low, high in zip(("loss_w", "loss_v", "loss_ohm"), losses.value,
                                             losses.low, losses.high, strict=True)]
    lines = [table(rows, ("converter", "value", "95 %", "unit"), right=(1,))]
    lines.append(wrap(f"From {losses.readings} loads, {number(losses.amps[0])} to "
                      f"{number(losses.amps[1])} A in the coil."))
    if losses.out:
        lines.append(wrap(f"Left out, because they do not go with the others: "
                          f"{', '.join(losses.out)}."))
    return lines


def _next(result: Any, by_board: bool) -> list[str]:
    best = [p for p in result.next if p.narrower_percent >= 1][:3]
    if not best:
        return []
    goal = best[0].goal_percent
    how = "by hand, as the board cannot" if by_board else "next"
    lines = ["", wrap(f"{known(goal, 'Volts, ohms and friction together are known')} Worth taking "
                      f"{how}:")]
    return [*lines, *(item(f"{proposal(p)}: to {number(p.after_percent, 2)} % "
                           f"({p.narrower_percent:.0f} % narrower)") for p in best)]


def known(goal_percent: float, what: str = "Known") -> str:
    """How well the goal is known.

    >>> known(4.72), known(1200)
    ('Known to 4.7 %.', 'Not known yet.')
    """
    if goal_percent >= 100:
        return "Not known yet."
    return f"{what} to {number(goal_percent, 2)} %."


def proposal(one: Any) -> str:
    if one.kind == "locked":
        return (f"shaft held, {number(one.resistor_ohm)} ohm in line, about "
                f"{number(one.supply_v)} V, another shaft position")
    if one.kind == "loaded":
        return f"{number(one.resistor_ohm)} ohm across it at {one.rpm:.0f} motor turns/min"
    if one.kind == "run":
        return f"running free from {number(one.supply_v)} V, its current"
    return f"open circuit at {one.rpm:.0f} motor turns/min"


def cautions_text(kinds: set[str]) -> str:
    """The cautions of the readings that are about to be taken."""
    lines = [HELD, DRILL, *cautions.short("gears")[:2]]
    if "short" in kinds:
        lines.append(SHORT)
    return "\n".join(item(line, mark="! ", indent="") for line in lines) + "\n"


def new_text(result: Any) -> str:
    return "\n".join([
        wrap(f"{result.file}: a file of readings with comments. Write in what the meter showed."),
        "", cautions_text({"short"}), f"next: {result.next[0]}",
        f"  or: {result.next[1]}"]) + "\n"


def not_modelled(found: Any) -> tuple[str, str]:
    """Why a motor with so many wires is none for this program, and what can be done."""
    return (f"A motor with {found.wires} wires is a {found.kind} one, which is not modelled. "
            f"{found.why}", "Look for one with two wires: from printers, toys, tools, car fans.")
