"""What a calibration found, for a person."""

from __future__ import annotations

from typing import Any

from steadyturn.report import words
from steadyturn.report.calibrate_words import NAMES, cause, refusal, why
from steadyturn.report.correction_words import when
from steadyturn.report.review_tables import fitted
from steadyturn.report.style import item, table, wrap

VERDICT = {
    "agrees": "Board and meter agree within their errors, and the sensor's data sheet is the "
              "closer of the two: nothing to correct.",
    "doubtful": "Data sheet and meter together do not explain this. It may be:",
    "refused": "This is not written:",
}


def plan_text(plan: Any) -> str:
    """What the points say, before the question (see jobs.calibrate.Calibrated)."""
    lines = [_head(plan), ""]
    for one in plan.judged:
        lines += [*_judged(one), ""]
    return "\n".join(lines)


def undo_text(plan: Any) -> str:
    """What an undo would leave in force (its `now`), before the question."""
    return "\n".join([_head(plan), "", "This will be in force:", *_in_force(plan)]) + "\n"


def question(chosen: Any) -> str:
    """The question, of quantities that are good."""
    names = " and ".join(NAMES[name] for name in chosen)
    return f"Write the correction of {names} to the board?"


def all_the_same(left: Any) -> str:
    """The question, of those that are not."""
    return f"Type 'yes' to write that of {' and '.join(NAMES[name] for name in left)} all the same"


def new_text(made: Any) -> str:
    return (f"{made.file}: fill in what board and meter showed, then\n\n"
            f"  steadyturn calibrate --points {made.file}\n")


def text(done: Any) -> str:
    """How it ended."""
    if done.outcome == "shown":
        return shown(done)
    lines = []
    if done.outcome == "nothing":
        lines = [plan_text(done).rstrip("\n"), "", wrap(_nothing(done))]
    elif done.outcome == "no_points":
        lines = ["No point was taken; the board runs as before."]
    elif done.outcome == "declined":
        lines = ["Nothing was written; the board runs as before."]
    elif done.outcome == "same":
        lines = ["No correction is in force: there is nothing to take back."]
    else:
        did = "Taken back" if done.outcome == "undone" else "Written"
        lines = [wrap(f"{did} and read back in {done.seconds:.0f} s. " + (
            "The board says that this is in force:" if done.in_force else
            "But the board does NOT run it: " + (
                "it refused it and runs the settings from before." if done.previous_in_force
                else "it has none in force. 'steadyturn flash RIG' mends that.")))]
        if done.in_force:
            lines += _in_force(done)
        if done.fault:
            lines.append(item(words.fault(done.fault), "The board reports: ", ""))
        if done.library_remark:
            lines.append(wrap(done.library_remark))
        if done.in_force and done.outcome == "written":
            port = f" --port {done.port}" if done.named else ""
            lines += ["", wrap(f"'steadyturn calibrate --undo{port}' takes it back. Outings from "
                               "now on are reviewed with it; what is in the journal already "
                               "stays as it was read.")]
    return "\n".join(lines) + "\n"


def _nothing(done: Any) -> str:
    verdicts = {one.verdict for one in done.judged}
    if verdicts == {"agrees"}:
        return "Nothing is to be written; the board runs as before."
    return "Nothing was written." + (
        " Where a second meter says the same, '--anyway' writes what is doubtful."
        if "doubtful" in verdicts else "")


def shown(done: Any) -> str:
    return "\n".join([_head(done), "", *_in_force(done)]) + "\n"


def _head(done: Any) -> str:
    chip = "the board's ADC" if done.chip == "adc" else done.chip.upper()
    name = f"{done.label}, " if done.label else ""
    return wrap(f"{name}board {done.board[-6:]} on {done.port}, sensor {chip}")


def _in_force(done: Any) -> list[str]:
    rows = []
    for one in done.now:
        c = one.correction
        if c.none:
            how, of = "not corrected", "data sheet"
        else:
            milli = "mV" if one.unit == "V" else "mA"
            how = f"x {c.gain_ppm / 1e6:.4f} {_whole(c.offset)} {milli}, {when(c.day)}"
            of = "by the meter" if c.within_ppm is not None else "data sheet"
        within = f"{_value(one.typical, one.unit)} +-{_value(one.within, one.unit)} {one.unit}"
        rows.append((NAMES[one.quantity], how, within, of))
    return [fitted(rows, ("reading", "correction", "at a usual reading, 95 %", "by"),
                   lambda row: f"{row[0]}: {row[1]}; {row[2]} (95 %), by the "
                               f"{row[3].removeprefix('by the ')}")]


def _judged(one: Any) -> list[str]:
    unit, milli = one.unit, "mV" if one.unit == "V" else "mA"
    lines = [f"{NAMES[one.quantity].capitalize()}, {unit}"]
    if one.verdict == "refused":
        return [*lines, *_refused(one, milli)]
    rows = [(_value(r.board, unit), "nothing" if r.nothing else _value(r.meter, unit),
             _value((0.0 if r.nothing else r.meter) - r.left, unit), _milli(1000 * r.left),
             _milli(1000 * r.within).lstrip("+")) for r in one.rows]
    lines.append(fitted(rows, ("board", "meter", "corrected", f"off, {milli}", "+- (95 %)"),
                        lambda row: f"board {row[0]}, meter {row[1]}: corrected {row[2]}, off by "
                                    f"{row[3]} {milli} +- {row[4]}", right=(0, 1, 2, 3, 4)))
    if one.verdict == "doubtful":
        lines += [item(VERDICT["doubtful"], mark="", indent="  "),
                  *(item(cause(c, one)) for c in one.causes)]
    before, after = one.before, one.after
    gain = f"{one.gain:.4f} ({one.gain_low:.4f} to {one.gain_high:.4f})"
    lines.append(table([
        ("gain", f"{before.gain_ppm / 1e6:.4f}",
         gain if one.fitted != "offset" else f"{one.gain:.4f}, as it was"),
        ("offset", f"{_whole(before.offset)} {milli}",
         f"{_milli(1000 * one.offset)} {milli} ({_milli(1000 * one.offset_low)} to "
         f"{_milli(1000 * one.offset_high)})" if one.fitted != "gain"
         else f"{_whole(after.offset)} {milli}, as it was"),
    ], ("", "now", "new (95 %)")))
    if one.why:
        lines.append(item(why(one), mark="", indent="  "))
    lines.append(item(
        f"{_value(one.typical, unit)} {unit} on the board becomes "
        f"{_value(one.typical_after, unit)} {unit}, known to "
        f"{_value(one.typical_within, unit)} {unit} (95 %); until now to "
        f"{_value(one.typical_sheet, unit)} {unit} by "
        f"{'the data sheet' if before.within_ppm is None else 'the correction in force'}"
        f"{_contradicted(one)}.",
        mark="", indent="  "))
    if one.highest < 0.8 * one.used_high:
        lines.append(item(
            f"The points end at {_value(one.highest, unit)} {unit}; up to "
            f"{_value(one.used_high, unit)} {unit}, where the board releases, the line is drawn "
            "on.", mark="", indent="  "))
    if one.verdict == "agrees":
        lines.append(item(VERDICT["agrees"], mark="", indent="  "))
    return lines


def _refused(one: Any, milli: str) -> list[str]:
    """Of one that may not be written: nothing that looks as if it were corrected."""
    rows = [(_value(r.board, one.unit), "nothing" if r.nothing else _value(r.meter, one.unit),
             _milli(1000 * (r.meter - r.uncorrected))) for r in one.rows]
    lines = [fitted(rows, ("board", "meter", f"meter less sensor, {milli}"),
                    lambda row: f"board {row[0]}, meter {row[1]}: {row[2]} {milli} less sensor",
                    right=(0, 1, 2)),
             item(VERDICT["refused"], mark="", indent="  "),
             *(item(refusal(r, one)) for r in one.refusals)]
    if one.causes:
        lines.append(item("It may be:", mark="", indent="  "))
    return lines + [item(cause(c, one)) for c in one.causes]


def _contradicted(one: Any) -> str:
    """Of a narrower one than the new one: the points say that it does not hold."""
    wider = one.typical_within >= one.typical_sheet and one.verdict != "agrees"
    return ", which these points contradict" if wider else ""


def _value(value: float, unit: str) -> str:
    """Volts and amperes to the millivolt or milliampere, a small one a place further."""
    return _sign(f"{value:.4f}" if abs(value) < 0.01 else f"{value:.3f}")


def _milli(value: float) -> str:
    """mV or mA with its sign."""
    return _sign(f"{value:+.1f}" if abs(value) < 9.95 else f"{value:+.0f}")


def _whole(value: int) -> str:
    return f"{value:+d}" if value else "0"


def _sign(figure: str) -> str:
    """Without the sign of a nought."""
    return figure if float(figure) else figure.lstrip("+-")
