"""The words of a calibration: quantities, causes, refusals, and where the meter's leads go."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import number

NAMES = {"volts": "volts", "amps": "current", "out_volts": "volts at the output",
         "out_amps": "current at the output"}
WHY = {
    "one_point": "One point tells a gain or an offset, not both: the offset is left as it was. "
                 "A second one far from it would tell.",
    "close": "The points are too close together to part gain from offset: the offset is left as "
             "it was. Take them farther apart.",
    "coarse": "The meter's last place is too coarse to tell the offset better than the data "
              "sheet does: it is left as it was.",
    "gain_coarse": "This meter knows the gain less well than the data sheet does: only the offset "
                   "is taken, the gain is left as it was.",
    "zero_only": "With nothing connected only the offset is told: the gain is left as it was. A "
                 "known load would tell it.",
}


def why(one: Any) -> str:
    """Why only one of gain and offset was found."""
    return WHY[one.why]


def cause(found: Any, one: Any) -> str:
    """What may be the matter, and what to look at."""
    where = f"point {found.point}: " if found.point else ""
    said = _CAUSES[found.code](found, one)
    return where + (said if where else said[:1].upper() + said[1:])


def refusal(found: Any, one: Any) -> str:
    """Why it may not be written, and what would be right."""
    if found.code in ("gain", "offset"):
        value, low, high = found.value, found.low, found.most
        if found.code == "gain":
            return (f"a gain of {number(value / 1e6, 4)}: the board takes {low / 1e6:g} to "
                    f"{high / 1e6:g}. A healthy sensor is within a few percent of 1.")
        unit = "mV" if one.unit == "V" else "mA"
        return f"an offset of {value:.0f} {unit}: the board takes {low:g} to {high:g}."
    at = f"{found.at:.2f} {one.unit}"
    if found.code == "hides":
        return (f"the board would release at {found.at + found.value:.2f} V by its own sensor "
                f"instead of at {at}: {1000 * found.value:.0f} mV later, where at most "
                f"{1000 * found.most:.0f} mV are safe should the meter be wrong. A correction may "
                "not hide an over-voltage: look at the meter, its battery and where its leads "
                "are. Where a second meter says the same, fit another sensor; with this one "
                "as it is the board releases too early, which harms nothing.")
    return (f"at {at}, where the board releases, it would be known to "
            f"{1000 * found.value:.0f} m{one.unit} only; needed are "
            f"{1000 * found.most:.0f} m{one.unit}. Take a point nearer to it, or a better meter.")


def _factor(found: Any) -> str:
    return number(found.factor, 3)


def _shunt(found: Any, one: Any) -> str:
    fits = f"{number(1000 * found.value, 3)} mohm"
    key = "out_shunt_mohm" if one.quantity == "out_amps" else "shunt_mohm"
    return (f"another shunt: {fits} would fit; set is {number(1000 * one.shunt_ohm, 3)} mohm. "
            f"Read its print (R010 is 10 mohm, R100 is 100), set {key} in the rig file, "
            "and flash.")


_CAUSES = {
    "draws": lambda c, o: (
        f"something still draws {number(1000 * c.value, 2)} mA: the converter's own current, a "
        "lamp, a bleed resistor behind the sensor. Unplug the converter, and read again."),
    "millis": lambda c, o: f"m{o.unit} typed as {o.unit}, or the other way: a factor of 1000.",
    "decimal": lambda c, o: f"the decimal point: the meter is {_factor(c)} times the board.",
    "sign": lambda c, o: (
        "the meter's leads are the other way round" if o.unit == "V" else
        "the meter's leads, or those of the shunt, are the other way round") + ".",
    "swapped": lambda c, o: f"the meter's figures of this one and of point {c.value:.0f}, "
                            "swapped.",
    "shunt": _shunt,
    "chip": lambda c, o: (
        f"another chip: {_factor(c)} times is what an {c.chip.upper()} would read. Read its "
        "print, set chip in the rig file, and flash."),
    "after_shunt": lambda c, o: (
        "the meter stands on the other side of the shunt: the difference is the current times "
        f"its {number(1000 * abs(c.value), 3)} mohm. Put the leads on the converter's input."),
    "diode": lambda c, o: (
        f"a diode between the two: the difference is {number(c.value, 2)} V at each point. Put "
        "the leads on the converter's input, behind the diodes."),
    "own_current": lambda c, o: (
        f"the board's own current: the difference is the {number(1000 * c.value, 2)} mA that pass "
        "the sensor by. Put the meter behind the sensor, before the converter."),
    "output": lambda c, o: "the meter stands at the converter's output, not at its input.",
    "joint": lambda c, o: (
        f"solder or wire beside the shunt: {number(1000 * c.value, 2)} mohm more would explain "
        "it. Solder the sense wires to the shunt itself."),
    "off_line": lambda c, o: "the points do not lie on one line: take them again, steadier.",
    "unknown": lambda c, o: (
        "the meter, its battery or its fuse; the board's sensor; or where the leads are"
        + (f": the meter is {_factor(c)} times the board." if c.factor else ".")),
}

# ---- the guide

PLACE = {
    "volts": "Meter on volts (DC, the range above what you expect): black lead to the "
             "converter's input minus, red lead to its plus.",
    "amps": "Meter in the line between sensor and converter's plus, on its 10 A socket: in "
            "series, never across anything, which blows its fuse or worse. Or leave the meter on "
            "volts across a known resistor that the whole current flows through, in the "
            "converter's place.",
    "out_volts": "Meter on volts: black lead to the output's minus, red lead to its plus, "
                 "between converter and load switch.",
    "out_amps": "Meter in the line to the device, on its 10 A socket: in series, never across "
                "the output. Or on volts across a known resistor as the only load.",
}
POINTS = {
    "volts": "Two points far apart, in the range where the machine works. What keeps still is a "
             "battery, cells or a power bank within the converter's input range in place of the "
             "motors. Or crank at two paces: a hand wanders by 3 to 5 %, which is more than most "
             "corrections, so take the meter's average (AVG) if it has one.",
    "amps": "First nothing: the converter unplugged, so that no current flows. Then a known "
            "load, as large as the machine's usual one.",
    "out_volts": "Two points: the output with nothing on it, and under load.",
    "out_amps": "First nothing plugged in. Then a known load of some watts.",
}
FIGURE = {
    "V": "What did the meter show? (5.07, 5.07V, 5070mV) ",
    "A": "What did the meter show? (0.41, 410mA; 4.05V/10ohm over a resistor; none: nothing "
         "connected) ",
}
