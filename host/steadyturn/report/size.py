"""The machines that can be built, for a person: the list, one row, what to do where none works."""

from __future__ import annotations

from math import ceil
from typing import Any

from steadyturn import cautions
from steadyturn.report.limit_names import NAME
from steadyturn.report.pace import in_full
from steadyturn.report.style import item, number, quantity, shown_path, table, wrap
from steadyturn.sizing.parts_file import EXAMPLES

SHOWN_FAILING = 6
SHOWN_ADVICE = 8
KINDS = {"choose": "to choose or set", "print": "to print or make", "buy": "to buy"}

_ALERT = "a sensor with an alert, or a cut that works without the firmware"
_SECOND = "a second barrier ('steadyturn check' says which)"  # for single_fault_...
# what a machine needs before a phone may be connected; {v}: volts that would be there,
# {r}: what is borne
_NEEDS = {
    "set_point": "an output below {r} V",
    "open_circuit_capacitor": "a bus capacitor for {v} V",
    "open_circuit_sensor": "a bus clamp below {r} V (for the sensor)",
    "open_circuit_converter": "a bus cut or clamp below {r} V (for the converter)",
    "open_circuit_adc": "a larger divider before the board's ADC",
    "reservoir_adc": "a larger divider before the reservoir's ADC pin",
    "open_circuit_rectifier": "diodes for {v} V",
    "open_circuit_switch": "a load switch for {v} V",
    "open_circuit_device": "an output cut at or below {r} V",
    "open_circuit_device_fault": "an output cut at or below {r} V",
    "clamp_power": "a bus clamp that bears its power",
    "sensor_without_alert": _ALERT,
}


def text(result: Any) -> str:
    """The list, or why there is none."""
    return _list(result) if result.choices else _none(result)


def command(result: Any) -> str:
    """The command that made the list."""
    words = ["steadyturn size"]
    if result.file is not None:
        words.append(shown_parts(result.file))
    if result.typical:
        words.append("--typical")
    return " ".join(words)


def shown_parts(file: str) -> str:
    """A parts file as a person would name it: an example by its name."""
    path = shown_path(file)
    return path.rpartition("/")[2].removesuffix(".toml") if file.startswith(str(EXAMPLES)) else (
        path)


def _count(count: int, one: str = "machine") -> str:
    return f"{count:,} {one}{'' if count == 1 else 's'}"


def _looked(result: Any) -> str:
    if result.tried_count == result.candidates_count:
        stopped = "" if result.complete else "; STOPPED before all was computed"
        return f"{_count(result.candidates_count)} looked at{stopped}"
    return (f"STOPPED after {result.tried_count:,} of {_count(result.candidates_count)}, so "
            "better ones may be missing")


def _list(result: Any) -> str:
    several = result.working_count != 1
    lines = [wrap(f"{result.name}: {_looked(result)}; {result.working_count:,} "
                  f"{'work' if several else 'works'}. Of {_count(result.found_count)} that no "
                  f"other beats in everything, these {len(result.choices)} differ most:"), ""]
    safe = [c for c in result.choices if c.safe]
    other = [c for c in result.choices if not c.safe]
    if safe:
        lines.append(_table(safe))
    if other:
        lines += [*([""] if safe else []),
                  wrap("DANGEROUS AS BUILT, each until it has what it needs:"), _table(other)]
    lines += ["", *_legend(result)]
    lines += ["", cautions.POINTER]
    if not result.complete:  # the whole list has other rows under these numbers
        return "\n".join([*lines, "", f"next: {command(result)}"]) + "\n"
    first = result.choices[0].number
    lines += ["", f"next: {command(result)} --why {first}",
              f"      {command(result)} --write my.toml --row {first}"]
    return "\n".join(lines) + "\n"


def _table(choices: list[Any]) -> str:
    rows = [(f"{c.number}{_mark(c)}", f"{c.arm_w_per_w:.2f}", f"{c.width_percent:.0f} %",
             _sure(c),
             f"{c.low_tpm:.0f}-{c.target_tpm:.0f}-{c.high_tpm:.0f}",
             f"{c.ratio:.1f}", c.machine + _needs(c)) for c in choices]
    return table(rows, ("row", "W/W", "band", "sure", "turns/min", "ratio",
                        "motors, converter, gears"), right=(0, 1, 2, 3, 5))


def _sure(choice: Any) -> str:
    sure = choice.sure_width_percent
    return "-" if sure is None else f"{sure:.0f} %"


def _mark(choice: Any) -> str:
    if not choice.safe:
        return "!"
    return "*" if choice.hazards else " "


def _needs(choice: Any) -> str:
    if choice.safe:
        return ""
    return f" - needs {', '.join(needs(choice.hazards))}"


def needs(hazards: Any) -> list[str]:
    """What parts each hazard's volts from what they would break, each once. Any cut or clamp
    makes up for a sensor that gives no alert."""
    said = {_NEEDS.get(h.name, _SECOND).format(v=ceil(h.volts), r=number(h.rating_v)): None
            for h in hazards}
    if any(words != _ALERT and (" cut " in words or " clamp " in words) for words in said):
        said.pop(_ALERT, None)
    return list(said)


def _legend(result: Any) -> list[str]:
    lines = [wrap("W/W: watts the arm gives for each watt that reaches the device. band: its "
                  "width, by its middle; sure: of the one that works for 95 of 100 builds, "
                  "within what is not known exactly (-: none). turns/min of the handle: "
                  "slowest-best-fastest. ratio: turns of the motors for one of the handle; teeth "
                  "from the handle on, driver/driven.")]
    if all(c.sure_width_percent is None for c in result.choices):
        lines.append(wrap("No row is sure yet. Measure what is only assumed, the motors first: "
                          "then the list is worth more. --why N says what matters most."))
    faults = [h for c in result.choices if c.safe for h in c.hazards]
    if faults:
        lines.append(wrap(f"*: safe as long as nothing fails; better with "
                          f"{' and '.join(needs(faults))}, which works without the firmware."))
    bought = sorted({name for c in result.choices for name in c.to_buy})
    if bought:
        lines.append(wrap(f"Typical classes, nothing measured, to be bought: "
                          f"{'; '.join(bought)}."))
    return lines


# ------------------------------------------------------------------- none works


def _none(result: Any) -> str:
    lines = [wrap(f"{result.name}: {_looked(result)}, and none works."), ""]
    if result.failing:
        lines += ["Why not:", table(
            [(f"{f.count:,}", f"{100 * f.share:.0f} %", _clash(f))
             for f in result.failing[:SHOWN_FAILING]], right=(0, 1))]
    if result.advice:
        lines += ["", wrap("What would make one work, nearest first (each is the whole search "
                           "run again with it):")]
        for kind, title in KINDS.items():
            group = [a for a in result.advice[:SHOWN_ADVICE] if a.kind == kind]
            if group:
                lines.append(f"{title}:")
            for advice in group:
                lines += [item(f"{advice.change}."), *_outcome(advice.choice)]
    elif result.complete:
        lines += ["", wrap("No change that was tried makes one work, nor two together. Look first "
                           "at what fails most often, above.")]
    file = "the parts file" if result.file is None else shown_parts(result.file)
    lines += ["", f"next: change {file}, then {command(result)}"]
    return "\n".join(lines) + "\n"


def _clash(failing: Any) -> str:
    low, high = NAME.get(failing.low_limit, failing.low_limit), NAME.get(
        failing.high_limit, failing.high_limit)
    if low == high:
        return f"'{low}' holds at no pace"
    return f"'{low}' asks for more pace than '{high}' allows"


def _outcome(choice: Any) -> list[str]:
    danger = "" if choice.safe else f" NOT SAFE: needs {', '.join(needs(choice.hazards))}."
    return [wrap(f"{choice.machine}: {choice.low_tpm:.0f}-{choice.high_tpm:.0f} turns/min; at "
                 f"{choice.target_tpm:.0f} the arm gives {quantity(choice.arm_w, 'W')} and "
                 f"{quantity(choice.force_n, 'N')} at the grip for "
                 f"{quantity(choice.out_w, 'W')}.{danger}", indent="    ")]


# ------------------------------------------------------------------------ one row


def why_text(result: Any) -> str:
    """One row: what sets it apart from its neighbours, then its band in full."""
    choice = result.choice
    again = command(result)
    lines = [wrap(f"Row {choice.number} of {again}: {choice.machine}."), "",
             wrap(f"{number(choice.ratio)} turns of the motors for one of the handle; gears pass "
                  f"on {100 * choice.efficiency:.0f} % of the power. The arm gives "
                  f"{choice.arm_w_per_w:.2f} W for each watt that reaches the device, "
                  f"{quantity(choice.force_n, 'N')} at the grip. The band is "
                  f"{choice.width_percent:.0f} % of its middle wide. {_sure_words(choice)} "
                  f"{choice.assumed_count} of its numbers are only assumed.")]
    if choice.to_buy:
        lines.append(wrap(f"To be bought, a typical class and nothing measured: "
                          f"{'; '.join(choice.to_buy)}."))
    if result.neighbours:
        lines += ["", "Its neighbours on the list:"]
        lines += [item(f"row {other.number}, {other.machine}: {differs(other, choice)}.")
                  for other in result.neighbours]
    lines += ["", *in_full(result.pace), "",
              f"next: {again} --write my.toml --row {choice.number}"]
    return "\n".join(lines) + "\n"


def _sure_words(choice: Any) -> str:
    if choice.sure_low_tpm is None:
        return (f"{100 * choice.works_share:.0f} of 100 builds of it work at some pace, but no "
                "pace works for 95 of them.")
    return (f"95 of 100 builds of it work from {choice.sure_low_tpm:.0f} to "
            f"{choice.sure_high_tpm:.0f} turns/min.")


def differs(other: Any, choice: Any) -> str:
    """How `other` differs from `choice`, in what is traded."""
    found = []
    share = other.arm_w_per_w / choice.arm_w_per_w - 1
    if abs(share) >= 0.005:
        found.append(f"{100 * abs(share):.0f} % {'more' if share > 0 else 'less'} work for "
                     "each watt")
    points = round(other.width_percent) - round(choice.width_percent)
    if points:
        found.append(f"a band {abs(points)} points {'wider' if points > 0 else 'narrower'}")
    if _sure(other) != _sure(choice):
        found.append(f"sure {_sure(other)} in place of {_sure(choice)}")
    motors = other.motors - choice.motors
    if motors:
        found.append(f"{abs(motors)} motor{'s' if abs(motors) > 1 else ''} "
                     f"{'more' if motors > 0 else 'fewer'}")
    if abs(other.ratio / choice.ratio - 1) >= 0.005:
        found.append(f"a ratio of {number(other.ratio)}")
    stages = len(other.teeth) - len(choice.teeth)
    if stages:
        found.append(f"{abs(stages)} gear stage{'s' if abs(stages) > 1 else ''} "
                     f"{'more' if stages > 0 else 'fewer'}")
    if other.converter != choice.converter:
        found.append(f"the {other.converter}")
    if other.safe != choice.safe:
        found.append("safe as built" if other.safe else "dangerous as built")
    return ", ".join(found) or "the same but for the parts"


def written_text(result: Any) -> str:
    choice = result.choice
    lines = [wrap(f"{result.file}: row {choice.number}, {choice.machine}.")]
    if not choice.safe:
        lines.append(wrap(f"DANGEROUS AS BUILT: it needs {', '.join(needs(choice.hazards))}. "
                          "Write it into the file once it is fitted."))
    if choice.assumed_count:
        lines.append(wrap(f"{choice.assumed_count} of its numbers are only assumed, with their "
                          "ranges."))
    lines += ["", f"next: {result.next[0]}", *(f"      {step}" for step in result.next[1:])]
    return "\n".join(lines) + "\n"


def new_text(result: Any) -> str:
    return "\n".join([
        wrap(f"{result.file}: a parts file with comments, all its values assumed. Write in what "
             "you have."), "", f"next: {result.next[0]}"]) + "\n"
