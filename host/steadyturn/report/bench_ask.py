"""The words of a guided bench."""

from __future__ import annotations

from typing import Any

from steadyturn.report.bench import DRILL, HELD, known, off, proposal
from steadyturn.report.style import item, wrap

_WORDS = {
    "resistor_v": "volts over the resistor", "motor_v": "volts over the motor",
    "volts": "volts", "turns": "turns", "seconds": "seconds", "rpm": "turns/min of the motor",
    "amps": "amperes", "in_v": "volts in", "in_a": "amperes in", "out_v": "volts out",
    "out_a": "amperes out",
}
_ASK = {
    "counts": "Counts of the meter: 2000, 4000, 6000 ...? (Enter: 2000)",
    "percent": "Its error on volts in percent, from its sheet? (Enter: 0.8)",
    "at_hand": "Which resistors have you? Ohms, spaces between (Enter: the usual ones)",
    "room": "Degrees Celsius where the motor has lain for an hour? (Enter: 20)",
}
_FIRST = {
    "locked_ohm": "Held shaft. Cell, resistor and motor in a row; the shaft clamped. Read the "
    "volts over each, then turn the shaft a little for the next. Best: six positions with a "
    "resistor about as large as the motor's ohms, then four with one twenty times larger, which "
    "tells the brushes.",
    "open": "Open circuit: only the meter connected. Turn steadily and count; four or five paces.",
    "open_rpm": "Open circuit: only the meter connected. Four or five speeds of the drill.",
    "loaded_ohm": "Loaded: a known resistor across the terminals. The smaller, the more it tells, "
    "down to the motor's own ohms; it gets hot: 10 W at most, a few seconds.",
    "in_out": "Converter: volts and amperes at both ends, at three loads or more.",
    "run": "Free run from a supply or fresh cells: nothing on the shaft. Three supplies, "
    "each twice: a reading that stands alone has nobody to contradict it.",
}
MACHINE = ("All other loads off, the phone unplugged. Count turns of the handle. For a held shaft "
           "the cell drives the motors' row, before the diodes.")


WIRES = wrap("A brushed motor has two, or two lugs, and a cell alone turns it; three or more "
             "leave other kinds. Type the number, or Enter: then it is taken for a brushed one.")


def opening(subject: str, machine: bool, path: object) -> str:
    """What is said before the first question. path: where readings will be."""
    lines = [wrap(f"Measuring {subject}. Enter goes on; at the end or at Ctrl-C the readings "
                  f"typed until then go to {path}."), ""]
    lines += [item(caution, mark="! ", indent="") for caution in (HELD, DRILL)]
    if machine:
        lines.append(item(MACHINE, mark="- ", indent=""))
    return "\n".join(lines) + "\n"


def kept(path: object, subject: str, rig: object) -> str:
    """Where the readings are, and how to go on with them."""
    of = f'--motor "{subject}"' if rig is None else str(rig)
    return "\n" + wrap(f"The readings are in {path}. More can be written into it; 'steadyturn "
                       f"bench {of} --readings {path}' reckons with all of them.") + "\n"


def question(ask: Any, keys: tuple[str, ...]) -> str:
    """A question as it stands on the screen, without its last line's end."""
    if ask.wrong:
        return wrap(f"Not that: {ask.wrong}", indent="  ") + "\n  > "
    if ask.code in _ASK:
        return ("\n" if ask.code == "at_hand" else "") + f"{wrap(_ASK[ask.code])} "
    numbers = ", ".join(_WORDS[key] for key in keys)
    if ask.code in ("locked_ohm", "loaded_ohm"):
        if ask.count:
            return "\nAnother resistor? Its ohms (Enter: go on) "
        return f"\n{wrap(_FIRST[ask.code])}\nOhms of the resistor? (Enter: go on) "
    if ask.code == "speed":
        return "\n" + wrap("How is it turned? d: a drill of known speed; or the ratio of a hand "
                           "gear, motor turns for one you count (Enter: 1).") + "\n> "
    if ask.code == "place":
        return "\n" + wrap("Where will the meter be? m: at the motors' wires; b: at the bus "
                           "capacitor, behind the diodes (Enter: b).") + "\n> "
    if ask.code == "more":
        goal = ask.proposal
        doubt = "" if not ask.sigmas_off else wrap(
            f"! The last reading does not go with the others ({off(ask.sigmas_off)}) "
            "and is left out. Look at it again; the same once more settles which is wrong.") + "\n"
        return "\n" + doubt + wrap(
            f"{known(goal.goal_percent)} Worth most next: {proposal(goal)}, to "
            f"{goal.after_percent:.1f} %. Type {numbers} - or Enter to end.") + "\n> "
    head = ""
    if ask.count == 0:  # of this resistor
        first = _FIRST.get(ask.code, "")
        head = (f"\n{wrap(first)}\n" if first else "") + wrap(
            f"A line a reading: {numbers}. Enter goes on.") + "\n"
    return f"{head}{ask.count + 1}: "
