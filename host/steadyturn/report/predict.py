"""One operating point, for a person."""

from __future__ import annotations

from typing import Any

from steadyturn.report.limit_names import NAME
from steadyturn.report.style import fill, item, number, quantity, table, wrap

REGIME = {
    "idle": "idle: the converter is not running, only the board is fed",
    "regulating": "the converter holds its output",
    "limited": "a current limit of the converter holds; its output gives way",
    "dropout": "the converter's input is too low to hold its output, which follows it",
    "pass_through": "THE CONVERTER NO LONGER LIMITS THE VOLTAGE: its input passes through",
    "collapse": "too much load for this pace: no steady state. The converter starts, "
                "collapses, lets go and starts again. Turn faster, or draw less",
}
LOSS = {
    "winding": "motor windings", "brush": "brushes", "motor_friction": "motor friction",
    "gears": "gears", "crank": "handle's bearing", "rectifier": "diodes",
    "clamp": "bus clamp", "board_supply": "board", "bleed": "bus bleed",
    "sensor": "sensor's shunt",
    "switch": "load switch", "converter": "converter", "cable": "cable",
}


def text(result: Any) -> str:
    """Figures from the device back to the hand, then the account of the power."""
    start = "" if result.from_state == "running" else ", from rest"
    lines = [f"{result.rig} at {number(result.pace_tpm, 4)} turns/min{start}",
             wrap(_first_upper(REGIME[result.regime]) + "."), "", *_beyond(result)]
    rows = [("motor", f"{number(result.motor_rpm, 4)} rpm, EMF {quantity(result.emf_v, 'V')}")]
    if result.regime == "collapse":
        rows.append(("converter in", f"no steady volts ({quantity(result.open_v, 'V')} with "
                                     "nothing connected)"))
        return "\n".join([*lines, table(rows), "", *_extremes(result)]) + "\n"
    rows += [
        ("", f"{quantity(result.motor_a, 'A')} each"),
        ("converter in", f"{quantity(result.bus_v, 'V')}, {quantity(result.bus_a, 'A')}"),
        ("at the device", f"{quantity(result.out_v, 'V')}, {quantity(result.out_a, 'A')}, "
                          f"{quantity(result.out_w, 'W')}"),
        ("at the handle", f"{quantity(result.crank_nm, 'N m')}, "
                          f"{quantity(result.force_n, 'N')} at the grip, "
                          f"{quantity(result.arm_w, 'W')}"),
    ]
    parts = [table(rows), "", *_extremes(result)]
    told = account(result)
    return "\n".join([*lines, *parts, *(["", *told] if told else [])]) + "\n"


def _extremes(result: Any) -> list[str]:
    """What the hot and the cold machine do at this pace, a line each."""
    hot, cold = result.hot, result.cold
    heat = "" if hot.winding_c - hot.air_c < 1 else f", windings {hot.winding_c:.0f} degC"
    return [item(f"{name}: {_extreme(one)}.") for name, one in (
        (f"Hot ({hot.air_c:.0f} degC air{heat})", hot), (f"Cold ({cold.air_c:.0f} degC)", cold))]


def _extreme(one: Any) -> str:
    if not one.holds:
        why = ("too much load for this pace" if one.regime == "collapse"
               else "the converter does not run")
        return f"{why}; {quantity(one.open_v, 'V')} with nothing connected"
    start = "starts and holds" if one.starts else (
        "holds once it runs, but does not start from rest")
    passing = ", PASSED ON to the device" if one.regime == "pass_through" else ""
    return (f"{start}, {quantity(one.bus_v, 'V')} at the converter's input{passing}, "
            f"{quantity(one.arm_w, 'W')} of the arm")


def _beyond(result: Any) -> list[str]:
    """What speaks against this pace: broken ratings first, then the band's limits."""
    if not (result.broken or result.hazards):
        return []
    lines = [item(f"{number(hazard.volts)} V where {number(hazard.rating_v)} V is borne: "
                  f"{hazard.reason}", mark="! " if hazard.refuses else "- ")
             for hazard in result.hazards]
    lines += [item(f"{NAME.get(limit.name, limit.name)}: {limit.reason}")
              for limit in result.broken]
    if any(hazard.refuses for hazard in result.hazards):
        head = "DANGEROUS if the load goes at this pace: see what is marked !."
    elif result.broken:
        head = "Not a pace to keep (for a hot or a cold machine; the figures are at 20 degC):"
    else:
        head = "Mind: if one more part fails, this machine can harm what is connected to it:"
    return [wrap(head), *lines, ""]


def _first_upper(words: str) -> str:
    return words[0].upper() + words[1:]


def account(at: Any) -> list[str]:
    """Where the arm's power goes, as lines: what the device gets, then the largest loss.
    One unit and as many places in every row."""
    arm_w = float(at.arm_w)
    if not arm_w > 0:
        return []
    parts = [("device", float(at.out_w))]
    parts += sorted(((LOSS[name], float(watts)) for name, watts in at.losses_w.items()),
                    key=lambda part: -part[1])
    unit, scale = ("mW", 1000.0) if arm_w < 0.1 else ("W", 1.0)
    places = max(0, 3 - len(str(int(arm_w * scale))) + 1)
    rows = [(name, f"{watts * scale:.{places}f} {unit}", f"{100 * watts / arm_w:.1f} %",
             fill(watts / arm_w, 30, empty=" "))
            for name, watts in parts if watts > 0.0005 * arm_w or name == "device"]
    return [f"Where the arm's {quantity(arm_w, 'W')} goes:", table(rows, right=(1, 2))]
