"""A charge, for a person: how long, how much, what it asks of the arm, and how sure that is."""

from __future__ import annotations

from math import isfinite
from typing import Any

from steadyturn.report.arm_words import CARE, keeps
from steadyturn.report.arm_words import span as time_span
from steadyturn.report.arm_words import time as time_of
from steadyturn.report.limit_names import NAME
from steadyturn.report.style import item, number, quantity, shown_path, table, wrap

STATE = {"off": "switched off", "flight": "flight mode, dark screen", "lit": "screen lit"}
KIND = {"phone": "phone", "power_bank": "power bank", "lantern": "lantern"}
SHOWN_MOVERS = 3
_NO = {"nothing_arrives": "The converter does not hold its output there",
       "too_many_volts_in": "The motors turn too fast",
       "too_many_volts": "The converter no longer limits the voltage, if only when the draw falls"}


def text(result: Any) -> str:
    lines = [*_danger(result), wrap(_first(result)), ""]
    if result.possible:
        lines += [*_figures(result), "", *_arm(result)]
    else:
        lines += _no(result)
    if result.why in {"", "self_use"}:
        lines += _phone(result)
    lines += _notes(result)
    if result.possible:
        lines += _sure(result)
    if result.plot:
        lines += ["", f"Plot: {shown_path(result.plot)}"]
    return "\n".join([*lines, "", f"next: {_next(result)}"]) + "\n"


def _first(result: Any) -> str:
    if not result.possible:
        return f"{result.rig}: no, {_why(result)}"
    work, pace = result.work, f"{result.pace_tpm:.0f} turns/min"
    if result.minutes is None:
        return (f"{result.rig}: {number(result.from_percent)} to {number(result.to_percent)} % in "
                f"{time_of(work.crank_min.value)} "
                f"({time_span(work.crank_min.low, work.crank_min.high)}) at {pace}")
    gained = work.gained_percent
    early = ""
    if work.crank_min.value < result.minutes * (1 - 1e-9):
        early = f", full after {time_of(work.crank_min.value)}"
    return (f"{result.rig}: {time_of(result.minutes)} at {pace} give {number(gained.value, 2)} % "
            f"({number(gained.low, 2)} to {number(gained.high, 2)}): "
            f"{number(result.from_percent)} to {number(result.to_percent)} %{early}")


def _why(result: Any) -> str:
    if result.why == "no_band":
        return "no pace works for this machine, so that it charges nothing."
    if result.why == "nothing_arrives":
        return f"at {number(result.pace_tpm)} turns/min nothing reaches the device."
    if result.why == "too_many_volts_in":
        return (f"at {number(result.pace_tpm)} turns/min the converter's input would get "
                f"{quantity(result.machine.in_v, 'V')}, {number(result.machine.in_borne_v)} V are "
                "borne.")
    if result.why == "too_many_volts":
        return (f"at {number(result.pace_tpm)} turns/min the device would get "
                f"{quantity(result.machine.top_v, 'V')}, {number(result.machine.borne_v)} V "
                "are borne.")
    return f"the {KIND[result.device.kind]} uses more itself than reaches its battery."


def _danger(result: Any) -> list[str]:
    if not any(hazard.refuses for hazard in result.hazards):
        return []
    if result.band_tpm is not None and result.pace_tpm > result.band_tpm[1]:
        return [wrap("DANGEROUS at this pace if the load lets go - do not connect a phone. "
                     f"'steadyturn predict {shown_path(result.file)} --pace "
                     f"{number(result.pace_tpm)}' says why."), ""]
    return [wrap("DANGEROUS AS BUILT - do not connect a phone. 'steadyturn check "
                 f"{shown_path(result.file)}' says why; the figures are for the machine made "
                 "safe."), ""]


def _figures(result: Any) -> list[str]:
    work, device, at = result.work, result.device, result.machine
    whole = "none needed"
    if work.rest_min > 0 or work.elapsed_min.high > work.elapsed_min.value:
        value, span = work.elapsed_min.value, work.elapsed_min
        whole = f"{time_of(value)} in all"
        if span.low < span.high:
            whole += f" ({time_span(span.low, span.high, 'more than a day')})"
        whole += "" if work.rest_min <= 0 else (
            f": {time_of(work.work_min)} of turning, {time_of(work.rest_min)} of rest")
    if not isfinite(work.elapsed_min.value):
        whole = (f"more than a day: in eight hours this arm turns "
                 f"{time_of(work.day_min[1])} ({time_span(work.day_min[0], work.day_min[2])})")
    rows = [
        ("breaks", whole),
        ("turns", number(work.turns.value) if work.turns.low == work.turns.high
         else _rounded(work.turns)),
        ("the arm", f"{quantity(at.arm_w, 'W')}; {number(work.arm_kj.value, 2)} kJ in all "
                    f"({_numbers(work.arm_kj)}), {number(work.food_kcal.value, 2)} kcal of food "
                    f"({_numbers(work.food_kcal)})"),
        ("the device", f"{quantity(at.device_w, 'W')} ({quantity(at.device_v, 'V')}, "
                       f"{quantity(at.device_a, 'A')}; the cable takes "
                       f"{quantity(at.cable_v, 'V', 2)}); {quantity(at.cell_w, 'W')} of it fill "
                       f"the battery, {quantity(device.self_use_w, 'W')} it uses itself"),
    ]
    if result.from_percent < device.taper_percent < result.to_percent:
        rows.append(("", f"from {device.taper_percent:.0f} % on it draws less and less"))
    return [table(rows)]


def _arm(result: Any) -> list[str]:
    at = result.machine
    return [wrap(f"This arm keeps {quantity(at.arm_w, 'W')} for {keeps(at.keeps_min)} without a "
                 f"break. {CARE}"), ""]


def _no(result: Any) -> list[str]:
    at = result.machine
    if result.why == "no_band":
        return [wrap("Which limits clash, and what would part them, says "
                     f"'steadyturn pace {shown_path(result.file)}'.")]
    if result.why in {"nothing_arrives", "too_many_volts_in", "too_many_volts"}:
        where = "no pace works for this machine" if result.band_tpm is None else \
            f"keep to {result.band_tpm[0]:.0f}-{result.band_tpm[1]:.0f} turns/min"
        return [wrap(f"{_NO[result.why]}: {where}."), ""]
    return [wrap(f"It gets {quantity(at.device_w, 'W')}, of which "
                 f"{quantity(at.cell_w + result.device.self_use_w, 'W')} would fill the battery, "
                 f"and uses {quantity(result.device.self_use_w, 'W')} itself: cranking only "
                 "slows its emptying."), ""]


def _phone(result: Any) -> list[str]:
    """The phone's states side by side, and what to do."""
    if not result.choices:
        return []
    rows = []
    for choice in result.choices:
        if result.minutes is None:
            figure = "never" if choice.crank_min is None else time_of(choice.crank_min)
        else:
            figure = f"{number(choice.gained_percent, 2)} %"
        rows.append((STATE[choice.phone], quantity(choice.self_use_w, "W"), figure))
    off = result.device.phone == "off"
    advice = "The phone (own use typical, assumed):" if off else (
        "Switch the phone off while you turn, or at least its screen (own use typical, assumed):")
    head = "gains" if result.minutes is not None else "turning"
    return [wrap(advice), table(rows, ("phone", "uses", head)), ""]


def _notes(result: Any) -> list[str]:
    if result.why == "no_band":
        return []
    device, at = result.device, result.machine
    notes = []
    if not device.capacity_given:
        low, high = device.capacity_range_wh
        notes.append(f"The battery's capacity is not known: {number(device.capacity_wh)} Wh is "
                     f"assumed ({number(low)} to {number(high)}). Write capacity_wh in [load]: "
                     "printed on the cell; mAh times 3.85 V / 1000.")
    low_c, high_c = result.cell_c
    cold, hot = result.air_c
    beyond = ""
    if cold < low_c or hot > high_c:
        beyond = f" Your air has {number(cold)} to {number(hot)}: warm or cool the device first."
    notes.append(f"A lithium cell is charged only at {number(low_c)} to {number(high_c)} degC."
                 + beyond)
    if result.why not in {"too_many_volts_in", "too_many_volts"}:
        notes += _port(at)
    if result.broken:
        names = ", ".join(f"'{NAME.get(one.name, one.name)}'" for one in result.broken)
        notes.append(f"Not a pace to keep for a hot or a cold machine: {names} "
                     f"('steadyturn predict {shown_path(result.file)} "
                     f"--pace {number(result.pace_tpm)}' says why).")
    return [item(note) for note in notes]


def _port(at: Any) -> list[str]:
    found = at.reach
    if found.gives_a <= 0:
        return []
    notes = []
    ends = NAME.get(found.limit, found.limit)
    most = f"At this pace a device could draw up to {quantity(found.gives_a, 'A', 2)}"
    most += f", then the limit is '{ends}'" if found.limit else ""
    most += f" (the arm {quantity(found.arm_w, 'W', 2)})"
    port = "less than the 0.5 A of any USB port" if found.port_a is None else \
        f"let the port advertise {number(found.port_a)} A at most"
    notes.append(f"{most}: {port}.")
    if at.advertised_a is not None and at.advertised_a > found.gives_a:
        notes.append(f"The port advertises {quantity(at.advertised_a, 'A')}: a device that takes "
                     "it at its word pulls this machine down.")
    if at.asked_a > found.gives_a * (1 + 1e-9):
        notes.append(f"The device asks for more than that ({quantity(at.asked_a, 'A')}).")
    if at.advertised_a is not None and at.advertised_a < at.asked_a:
        notes.append(f"The port advertises {quantity(at.advertised_a, 'A')}: a device that keeps "
                     f"to it does not draw {quantity(at.asked_a, 'A')} (draw_a in [load]).")
    return notes


def _sure(result: Any) -> list[str]:
    if not result.movers:
        return []
    head = "turning" if result.minutes is None else "gain"
    rows = []
    for one in result.movers[:SHOWN_MOVERS]:
        both = [time_of(x / 60) for x in one.seconds] if result.minutes is None else \
            [f"{number(x, 2)} %" for x in one.gained_percent]
        if both[0] == both[1]:
            continue
        rows.append((one.key, f"{number(one.low)} to {number(one.high)} {one.unit}".rstrip(),
                     " to ".join(both)))
    if not rows:
        return []
    first = result.movers[0]
    lines = ["", wrap("What matters most that is not known exactly:"),
             table(rows, ("value", "range", head))]
    if first.how:
        lines.append(item(first.how, mark="measure it: "))
    return lines


def _next(result: Any) -> str:
    path = shown_path(result.file)
    if result.why in {"no_band", *_NO} or result.broken:
        return f"steadyturn pace {path}"
    if any(hazard.refuses for hazard in result.hazards):
        return f"steadyturn check {path}"
    if result.why == "self_use":
        return f"steadyturn charge {path} --phone off"
    return f"steadyturn flash {path}"


# ------------------------------------------------------------------------ numbers


def _numbers(span: Any) -> str:
    high = number(span.high, 2) if isfinite(span.high) else "no end"
    return f"{number(span.low, 2)} to {high}"


def _rounded(span: Any) -> str:
    value, low, high = (number(x, 2 if x >= 1000 else 3) if isfinite(x) else "no end"
                        for x in (span.value, span.low, span.high))
    return value if low == high else f"{value} ({low} to {high})"
