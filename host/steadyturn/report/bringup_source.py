"""Words of the bringing-up: motors, then rectifier, bus and clamp."""

from __future__ import annotations

from typing import Any

from steadyturn.circuit import joining
from steadyturn.report.bringup_rows import (
    Row,
    Said,
    at,
    between,
    open_paces,
    resistor,
    row,
    span,
)
from steadyturn.report.style import duration, number, shown_path


def source(b: Any) -> dict[str, Said]:
    """Step -> its words, of the stages `motors` and `bus`."""
    return {**_motors(b), **_bus(b)}


def _row_words(b: Any) -> str:
    bank = b.described.bank
    motors = "the motor" if bank.series == 1 else f"the {bank.series} motors in series"
    return motors if bank.parallel == 1 else f"one row ({motors})"


def _joined(rig: Any) -> list[str]:
    said = joining.rig_words(rig)
    return [f"The motors are joined {said}. Which lead is plus: the next step."] if said else []


def _motors(b: Any) -> dict[str, Said]:
    rig, paces = b.described, open_paces(b)
    bank, some = rig.bank, _row_words(b)
    spread = f"{100 * rig.bank.spread:.0f} %"
    said = {
        "ohms": Said(
            "Ohms of the winding",
            (*_joined(rig),
             f"Meter on ohms, at both leads of {some}, nothing else on them.",
             "Hold the shaft still and read; turn it a little; six times. Take the middle one.",
             "Touch the meter's leads together and subtract what it then shows."),
            (row(b, "row_ohm", "winding, at rest"),), "there is no reading at all.",
            "No reading: a lead or a brush. Readings that jump: spin the motor a minute, the "
            "commutator is dirty. Far too low: shorted turns, another motor type."),
        "polarity": Said(
            "Plus and minus",
            ("Meter on 20 V DC. Turn the handle slowly, the way you will crank.",
             "Mark the lead that is plus with red. Minus on the meter means: leads swapped.",
             *(["Behind the bridge it will not matter, but the meter then reads right."]
               if rig.rectifier.kind == "bridge" else [])),
            (Row("plus is the lead of colour", "-", ""),)),
        "counted": Said(
            "Volts at counted turns",
            ("Turn evenly by a watch, and count: 30 turns/min is a turn in two seconds, 60 is "
             "one a second. Read while you turn.", f"Meter at {some}, nothing connected."),
            tuple(at(b, "row_v", "open volts", paces)), "all readings are off by the same share "
            "and you do not know why.",
            "All too low or too high by the same share: motor type, or ratio (count teeth): write "
            "what you found into the rig (emf_v_per_krpm, teeth) and print this sheet anew. Only "
            "the fast one too low: a gear slips."),
        "series": Said(
            "Each motor of the row alone",
            (f"The same at each of the {bank.series} motors. Alike to within {spread} "
             "(spread_percent).",),
            tuple(at(b, "motor_v", "each motor", paces[-1:])),
            "the row shows less than its motors together.",
            "The row shows nearly nothing: one motor is the wrong way round; swap its leads."),
        "parallel": Said(
            "The rows beside each other",
            (f"Each of the {bank.parallel} rows alone, at the same pace: alike to within "
             f"{spread}, all with the same plus.",
             ("Each row has a diode of its own: the stronger one cannot drive the weaker."
              if bank.diode_each else
              "They have no diodes of their own: join them only if alike. The stronger one drives "
              "the weaker round even with nothing connected.")),
            tuple(at(b, "row_v", "each row", paces[-1:])),
            "one row has plus where the others have minus: joined, they are a short.",
            "One row lower: another type, a lead, a motor that is loose on its shaft."),
        "winding": Said(
            "Ohms by the ratio of volts",
            (f"A resistor of {resistor(b, 'winding')} across {some}. It gets hot.",
             "Turn 30 turns a minute: without it, with it, without it. Reckon: resistor x (open / "
             "loaded - 1)."),
            (row(b, "trial_open_v", "open"), row(b, "trial_loaded_v", "with the resistor"),
             row(b, "trial_found_ohm", "ohms reckoned, brushes included")), "",
            "More ohms: a thin lead, a bad contact, worn brushes. Fewer: a shorted winding, or "
            f"the pace was not the same. 'steadyturn bench {shown_path(b.file)}' takes such "
            "readings and writes what follows into the rig."),
        "listen": Said(
            "A minute of turning",
            ("Cover on. A turn a second for a minute, leads open and apart. Listen, then feel "
             "motor and mounts.",), (), "it knocks, smells or a part is too hot to hold.",
            "A knock once a turn: a tooth. Once in many: a pinion (mechanics.md)."),
    }
    return said


def _bus(b: Any) -> dict[str, Said]:
    rig, guard = b.described, b.protected
    bridge = rig.rectifier.kind == "bridge"
    bleed = "" if guard is None else (
        f" It falls to a tenth in about {duration(guard.bleed_s)}.")
    said = {
        "beep": Said(
            "Looked at before anything turns",
            ("Motors, rectifier, fuse, bus capacitor and clamp are wired; converter, board and "
             f"socket are not. {_lift(rig)}",
             "Go through the table of step 5 in hardware/breadboard.md: shorts, swapped leads, "
             "missing wires. Stripe of each electrolytic: minus. Ring of each diode: cathode."),
            (Row("bus to ground", "some kohm, rising", "kohm"),), "any line of it is not met."),
        "open_bus": Said(
            "The unloaded bus",
            ("Meter at 'bus' and ground. Turn evenly, face away at the first turn.",),
            tuple(at(b, "bus_v", "bus", open_paces(b))),
            _too_fast(b), "A little above what you read at the motors: right, the capacitor holds "
            "the peaks. Nothing: diode the wrong way round, fuse, a motor's leads. Half: "
            + ("one arm of the bridge, " if bridge else "") + "the clamp acts, or a short."),
        "diode": Said(
            "The diode holds",
            (f"Turn up to a few volts, stop, let go of the handle.{bleed}",),
            (Row("the bus after ten seconds", "still there, falling slowly", "V"),),
            "the handle goes on turning by itself, or the bus falls at once.",
            "The handle turns by itself: a diode is shorted or bridged. Falls at once: clamp "
            "or capacitor the wrong way round."),
        "backwards": Said(
            "Backwards, slowly",
            (("A bridge charges either way: the bus rises as before." if bridge else
              "A single diode blocks: the bus must stay at nothing. Empty it first."),),
            (Row("bus, turned backwards",
                 "as forwards" if bridge else "0 V (below 0.3 V)", "V"),),
            "the bus goes below ground." if bridge else "anything else shows: the diode would "
            "let the bus go below ground."),
    }
    if guard is not None:
        said |= _clamp(b)
    return said


def _lift(rig: Any) -> str:
    """How one who has wired all of it keeps volts from what comes later."""
    board = " and the board's wire from 'bus' (to D9)" if rig.supply.feed == "crank" else ""
    return (f"Where all is wired already: lift the shunt R6 off 'bus'{board}, until stage "
            "4.")


def _too_fast(b: Any) -> str:
    if b.most_tpm is None:
        return ""
    return (f"you cannot stay below {b.most_tpm:.0f} turns/min: above it a part on the bus gets "
            "more volts than it bears (see the warning on top).")


def _clamp(b: Any) -> dict[str, Said]:
    guard = b.protected
    low, high = guard.clamp_v
    reaches = b.fastest_v > low
    said = {}
    if (trial := guard.clamp_trial) is not None:
        said["clamp_trial"] = Said(
            "The clamp, brought low",
            ("The dummy load in the place of the fuse F1: it keeps the current small. "
             f"Lay {resistor(b, 'clamp_trial')} across R2 (the upper arm of the clamp's divider). "
             f"Turn slowly faster, to {trial.pace_tpm:.0f} turns/min and not beyond.",
             "The bus stops rising, the handle gets heavier. Take the resistor at R2 away: at "
             "the same pace the bus goes higher. Then the fuse again."),
            (Row("the bus stays at", span(trial.low_v, trial.high_v, "V"), "V"),
             Row("the bus without it", f"about {number(trial.without_v)} V", "V")),
            "the bus rises on: there is no clamp. Or the resistor is still there.",
            "Far lower: R2 and R3 swapped. Higher: R5, Q1's legs, U1.")
    said["clamp"] = Said(
        "The clamp as it is",
        ((f"Cover on, nothing connected: for two seconds as fast as you can. It acts between "
          f"{between(low, high, 'V')}; a hand reaches some {number(b.fastest_v)} V without it.",
          "The bus must not pass it.") if reaches else
         (f"It acts between {between(low, high, 'V')}. Your machine brings "
          f"{number(b.fastest_v)} V at {b.fastest_tpm:.0f} turns/min: hardly within reach.",)),
        (Row("highest bus (min/max key)", f"at most {number(high)} V", "V"),),
        "the bus passes it." if reaches else "")
    return said
