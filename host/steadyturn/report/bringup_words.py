"""The bringing-up in words: titles, what is needed, why a stage must wait, every step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from steadyturn_fw import pages

from steadyturn import cautions
from steadyturn.report.bringup_control import control
from steadyturn.report.bringup_faults import Symptom, symptoms
from steadyturn.report.bringup_load import load
from steadyturn.report.bringup_rows import Said, resistor
from steadyturn.report.bringup_source import source
from steadyturn.report.style import number, shown_path
from steadyturn.report.words import FAULT

STAGES = {
    "motors": "Motors and gears: meter and resistor",
    "bus": "Rectifier, bus and clamp: meter",
    "converter": "Converter and the output's cut: cells, no motor",
    "board": "Board and sensor: cells, no motor",
    "resistor": "All of it, on a resistor",
    "usb": "A cheap USB load",
    "phone": "The phone",
}
# the risky act of a stage: its cautions stand there
ACTS = {"motors": "gears", "bus": "first turn", "converter": "set", "board": "wire",
        "resistor": "first turn", "usb": "connect", "phone": "connect"}
OF_RESISTORS = {
    "winding": "across a row of motors, for its ohms",
    "dummy": "dummy load at the socket: too hot to hold",
    "clamp_trial": "laid across R2, to bring the clamp low",
    "cut_trial": "laid across R29, to bring the output's cut low",
    "bus_cut_trial": "laid across R18, to bring the bus cut low",
}


@dataclass(frozen=True)
class Sheet:
    """All words of the sheet. steps: key of a step -> its words, of those that may be done;
    barred: key of a stage -> why it must wait; flashes: the lamp's faults, by their count."""

    warnings: tuple[str, ...]
    needed: tuple[str, ...]
    barred: dict[str, str]
    steps: dict[str, Said]
    symptoms: tuple[Symptom, ...]
    flashes: dict[int, str]


def sheet(b: Any) -> Sheet:
    """Of a `jobs.bringup.Bringup`, whose own `sheet` is not looked at."""
    words = {**source(b), **control(b), **load(b)}
    steps = {key: words[key] for stage in b.stages if not stage.barred for key in stage.steps}
    why = {stage.key: barred(b, stage) for stage in b.stages if stage.barred}
    flashes = {code: FAULT[name] for code, name in enumerate(pages.FAULTS) if code}
    return Sheet(tuple(warnings(b)), tuple(needed(b)), why, steps, symptoms(b), flashes)


def cautions_of(b: Any, key: str) -> list[str]:
    """Of a stage: in full where they come for the first time, else their first sentence."""
    before: set[str] = set()
    for stage in b.stages:
        if stage.key == key:
            break
        before |= set(cautions.of(ACTS[stage.key]))
    return [(brief if whole in before else whole).replace("`", "'") for whole, brief in
            zip(cautions.of(ACTS[key]), cautions.short(ACTS[key]), strict=True)]


def title(b: Any, key: str) -> str:
    """Of a stage."""
    if key == "phone":
        return {"power_bank": "The power bank", "lantern": "The lantern"}.get(
            b.described.load.kind, STAGES[key])
    return STAGES[key]


def needed(b: Any) -> list[str]:
    """What has to lie ready: tools and parts of the trials."""
    found = ["multimeter (volts, ohms, beeper, 10 A; a min/max key helps), leads with clips",
             "a watch with seconds; somebody to read while you turn",
             "eye protection; a screwdriver; nail varnish; a laptop with this program",
             "cells in a holder, and a fuse of 1 A for their lead (which: set_converter.md)"]
    found += [f"resistor {resistor(b, r.name)}: {OF_RESISTORS[r.name]}" for r in b.resistors]
    found += ["resistors 100 ohm, 2 W (to empty capacitors) and 1 kohm"]
    if any(s.key == "usb" for s in b.stages):
        found.append("a USB meter; a cheap USB load (lamp, fan, old power bank)")
    return found


def warnings(b: Any) -> list[str]:
    """What may not be tried, before all else; empty where nothing stands against it."""
    found = [f"{number(h.volts)} V where {number(h.rating_v)} V is borne: {h.reason}. {h.how}"
             for h in b.hazards]
    if b.device_tpm is not None:
        found.append(f"Above {b.device_tpm:.0f} turns/min the socket gets more than "
                     f"{number(b.described.load.max_v)} V: nothing but the resistor there, and "
                     "stay below.")
    if b.most_tpm is not None:
        found.append(f"Until that is mended: never above {b.most_tpm:.0f} turns/min, at no stage.")
    if not b.feasible:
        why = f"{b.no_pace}. " if b.no_pace else ""
        found.append("No pace works for this rig: stages 1 to 3 may be tried, the rest would "
                     f"prove nothing. {why}'steadyturn pace {shown_path(b.file)}' says what "
                     "parts them.")
    if b.no_circuit:
        found.append(f"There is no circuit for this rig ({b.no_circuit}): neither clamp nor cut "
                     "can be tried. Look at [protection] and the volts of the rig.")
    return found


def barred(b: Any, stage: Any) -> str:
    """Why a stage must not be begun, in a sentence."""
    path = shown_path(b.file)
    return {
        "": "",
        "no_band": "NOT YET: no pace works for this rig, so a board cannot be set. First "
                   f"'steadyturn pace {path}'.",
        "unset": f"NOT YET: {b.unset}",
        "hazard": "NO: this machine is dangerous as it stands. First mend what stands on top, "
                  f"then 'steadyturn check {path}', and print this sheet anew.",
        "too_fast": "NO: the band lies above the pace at which a part gets more volts than it "
                    "bears. First mend that.",
        "before": "Not before the stage above.",
    }[stage.barred]
