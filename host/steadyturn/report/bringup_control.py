"""Words of the bringing-up: the converter from cells, then the board."""

from __future__ import annotations

from typing import Any

from steadyturn.report.bringup_rows import Row, Said, between, resistor, span
from steadyturn.report.style import number, shown_path
from steadyturn.rig import sensors

CHIP_SHARE = 0.01  # chip and meter together, in volts: data sheets, and a cheap meter's 0.5-1 %
ARM_SHARE = 0.01  # resistors of the divider
SET_SHARE = 0.02  # a set point over some days, and a cheap meter: common practice
DUMMY_SAG_V = 0.1  # as hardware/set_converter.md
WEAK_CELLS = "set_converter.md"


def control(b: Any) -> dict[str, Said]:
    """Step -> its words, of the stages `converter` and `board`."""
    return {**_converter(b), **_board(b)}


def _converter(b: Any) -> dict[str, Said]:
    rig, guard = b.described, b.protected
    part, most_v = rig.converter, rig.load.max_v
    off = SET_SHARE * part.out_v
    set_point = span(part.out_v - off, part.out_v + off, "V")
    said = {
        "screw": Said(
            "The set point",
            (f"Follow hardware/{WEAK_CELLS}: cells with a fuse of 1 A at the input, below "
             f"{number(part.max_in_v)} V, nothing but the meter at the output.",
             f"Turn the screw until the output shows {number(part.out_v)} V. Lock it with nail "
             "varnish when the stage is done."),
            (Row("output, nothing connected", set_point, "V"),),
            f"more than {number(most_v)} V remain, whatever the screw does.",
            "Output = input: a boost that is fed above its set point: fewer cells."
            if part.kind == "boost" else
            "Output just below the input, whatever the screw does: more cells."
            if part.kind in ("buck", "linear") else
            "No output: more cells. Still none: its enable pin."),
        "starts": Said(
            "Where it starts and lets go",
            ("From nothing upwards, a cell more each time (or a drained one among them): the "
             "output appears. With the dummy load, downwards: it goes.",
             "Write what you find into the rig: start_v, stop_v. The band depends on both."),
            (Row("starts at about", f"{number(part.start_v)} V", "V"),
             Row("lets go at about", f"{number(part.stop_v)} V", "V"))),
        "dummy_on_cells": Said(
            "The dummy load",
            (f"The dummy load, {resistor(b, 'dummy')}, across the output: too hot to hold, on "
             "something that does not burn. "
             "Ten minutes.",),
            (Row("output with it", span(part.out_v - off - DUMMY_SAG_V, part.out_v + off, "V"),
                 "V"),
             Row("output after taking it off", f"at most {number(part.out_v + off)} V", "V")),
            f"the output passes {number(most_v)} V at any moment.",
            "Far too low: empty cells (look at the input), thin leads, a current screw (CC)."),
    }
    if guard is not None and guard.cut_trial is not None:
        trial = guard.cut_trial
        said["cut_trial"] = Said(
            "The output's cut, brought low",
            ("Converter on its cells, load switch, cut and socket wired, cap on J1, nothing "
             "plugged in.",
             f"Lay {resistor(b, 'cut_trial')} across R29 (the upper arm of the cut's divider): it "
             f"now acts at {span(trial.low_v, trial.high_v, 'V')}, below the set point. The "
             "socket must go dead; without the resistor it comes back."),
            (Row("socket with it", "below 1 V", "V"),
             Row("socket without it", set_point, "V")),
            "the socket keeps its volts: there is no cut. Stop here.",
            "Dead in both cases: R29 and R30 swapped, Q7's legs. Never dead: U6, Q6, Q7.")
    if guard is not None:
        low, high = guard.cut_v
        said["cut_screw"] = Said(
            "The output's cut, at its volts",
            ("The same without the resistor: turn the converter's screw up slowly. The socket "
             f"goes dead between {between(low, high, 'V')}.",
             "Turn the screw back, see the set point again, lock it. A converter that does not "
             f"go so high: cells in front of the cut through 100 ohm ({WEAK_CELLS}).",
             *([] if rig.protection.output_cut_v else [
                 f"Your rig file names no cut: does this one act, write output_cut_v = "
                 f"{number(high)} into [protection], and 'steadyturn check' again."])),
            (Row("highest at the socket (min/max key)", f"at most {number(most_v)} V", "V"),
             Row("set point again", set_point, "V")),
            f"the socket ever shows more than {number(most_v)} V.",
            "Acts too early: the converter's set point drops out; too late: resistors of 1 % that "
            "were not measured, a reference of 2 %.")
    return said


def _board(b: Any) -> dict[str, Said]:
    rig = b.described
    rig_file = shown_path(b.file)
    sensor = rig.sensor
    watch = "'steadyturn watch' beside the meter"
    quiet = "" if b.connects is None else f", below {number(0.95 * b.connects.connect_v)} V"
    return {
        "board_alone": Said(
            "The board alone",
            ("No motor, no cells; all is wired now, the shunt back at 'bus'. Look once more that "
             "neither 'bus' nor 'out' touches a pin of the board. Plug it into a laptop.",),
            (Row("3V3 to ground", "3.2 to 3.4 V", "V"),),
            "it gets warm or there are no 3.3 V: unplug at once.",
            "No volts: a short from the 3.3 V rail; take out half of the wires, again."),
        "flash": Said(
            "Firmware and settings",
            ("MicroPython on it first, 1.24 or later, as its maker describes. 'steadyturn "
             f"ports', then 'steadyturn flash {rig_file}'.",
             f"Then rest: {_rest(rig.board.lamp)}"),
            (Row("lamp at rest", _rest_short(rig.board.lamp), ""),), "",
            "Long flashes: count them; the table of the lamp's faults below."),
        "parade": Said(
            "Button and patterns",
            ("Hold the button for a second: the lamp parades all its patterns, in the order of "
             "the card ('steadyturn card').",),
            (Row("all seen (or heard, or felt)", "nine", ""),), "",
            "None: the button's wire. Some missing: the lamp's wire, or its resistor."),
        "reservoir": Said("The board's own supply", _supply(b), _supply_rows(b), _supply_stop(b)),
        "divider": Said(
            "The divider",
            ("The bus from cells (the same, with their fuse), no motor. Meter at the board's "
             f"divider pin: the bus divided by {number(sensor.divider)}.",),
            (Row(f"pin, for each volt of the bus: 1 / {number(sensor.divider)}",
                 span(1000 * (1 - 2 * ARM_SHARE) / sensor.divider,
                      1000 * (1 + 2 * ARM_SHARE) / sensor.divider, "mV"), "mV"),),
            "the pin shows more than 3.3 V.",
            "Too high: the lower resistor. Nothing: the upper one."),
        "no_divider": Said(
            "No divider", ("This board has no pin for it: with a dead sensor chip the load is "
                           "released and stays so.",)),
        "chip_volts": Said(
            "The sensor's volts against the meter",
            (f"Bus from cells, {watch}.",),
            (Row("meter less 'watch', of the bus", f"within {100 * CHIP_SHARE:.0f} %", "V"),),
            "they differ by more than 5 %.",
            f"Fault 2 at the lamp: the {sensors.name(sensor)}'s four wires, its address "
            f"({sensor.address:#04x}). A little off: 'steadyturn calibrate'."),
        "released": Said(
            "Released",
            (f"Bus from cells{quiet}, cap off J1. Nobody turns: it may not connect.",),
            (Row("socket", "below 0.3 V", "V"),), "the socket has volts: the switch is stuck on, "
            "or the cap is on.", "Q5 the wrong way round (its diode conducts), J1, U3."),
        "bypass": Said(
            "The bypass link",
            ("Cap on J1: the converter starts and the socket has its volts, without the board. "
             "Cap off: they go within three seconds.",),
            (Row("cap on", f"{number(rig.converter.out_v)} V", "V"),
             Row("cap off", "below 0.3 V", "V")), "",
            "Nothing with the cap on: cells too few to start the converter."),
        "turn_sensor": Said(
            "The turn sensor",
            (f"{watch}: ten turns of the handle by hand, slowly.",),
            (Row("turns counted", "10 (9 to 11)", ""),), "",
            f"A multiple or a part: turn_pulses is {sensor.turn_pulses}; count the magnets. "
            "None: distance, which pole points outwards, its wire."),
        "thermistor": Said(
            "The thermistor",
            (f"{watch} shows its degrees. Hold it between two fingers: they rise. Pull its wire "
             "for a moment: fault 7, seven long flashes.",),
            (Row("at rest", "as the air", "degC"),), "a broken wire is not told."),
        "second_load": Said(
            "The second load",
            ("Its MOSFET off (no board, or at rest): no current through its resistor.",),
            (Row("volts over it, at rest", "0 V", "V"),), "",
            "Volts: 100 kohm from the gate to ground is missing."),
    }


def _rest(lamp: str) -> str:
    return {"piezo": "it is silent.", "vibration": "it is still."}.get(
        lamp, "dark, with a short glint every four seconds.")


def _rest_short(lamp: str) -> str:
    return {"piezo": "silent", "vibration": "still"}.get(lamp, "glints, 4 s apart")


def _supply(b: Any) -> tuple[str, ...]:
    supply = b.described.supply
    if supply.feed == "crank":
        return (f"USB unplugged. The bus from cells, above {number(supply.wake_v)} V: the board "
                "wakes by itself.", "Then the laptop plugged in, the bus empty: nothing may come "
                "back onto the bus.")
    if supply.feed == "cell":
        return ("USB unplugged. The board's own cell, through its diode, at VSYS: the board runs. "
                "Nothing of it hangs on the bus.",)
    return ("The board's power bank at its own plug: the board runs. Nothing of it hangs on the "
            "bus.",)


def _supply_rows(b: Any) -> tuple[Row, ...]:
    supply = b.described.supply
    if supply.feed != "crank":
        return (Row("the board runs", "the lamp as at rest", ""),)
    return (Row(f"reservoir, bus above {number(supply.reservoir_max_v + supply.drop_v + 1, 2)} V",
                f"about {number(supply.reservoir_max_v)} V "
                f"(never above {number(1.05 * supply.reservoir_max_v)} V)", "V"),
            Row("bus, fed by the laptop alone", "below 0.3 V", "V"))


def _supply_stop(b: Any) -> str:
    if b.described.supply.feed != "crank":
        return ""
    return "the bus has volts from the laptop: D9 or D10 is the wrong way round."
