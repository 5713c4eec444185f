"""The firmware's codes in a maker's words; every screen and page takes them from here.

The codes' names are `steadyturn_fw.pages`'; a code that is not known (a newer
board) is shown as its number and never raises.
"""

from __future__ import annotations

from collections.abc import Sequence

from steadyturn_fw import pages

# lamp: what it asks for, and what it looks like on one LED
CUE = {
    "rest": ("rest", "turn when you are ready"),
    "faster": ("faster", "give more"),
    "hold": ("hold", "just right"),
    "slower": ("slower", "a little less"),
    "stop": ("STOP", "slow right down; the phone is disconnected"),
    "fault": ("fault", "count the long flashes"),
}

# why the phone is disconnected
REASON = {
    "none": "connected",
    "not_yet": "not turned fast enough yet",
    "low_bus": "the volts were about to collapse",
    "over_voltage": "too many volts",
    "over_current": "too much current",
    "over_speed": "turned too fast",
    "sensor_lost": "the sensor does not answer and the volts are not safe",
    "settings_bad": "the board has no valid settings",
    "fading": "the board's own supply is going",
    "asked": "released from the laptop",
    "waiting": "waiting a little before the next try",
    "over_temperature": "too hot, or the wire to its thermistor is broken: let it cool",
}

# faults; the number of long flashes is the code
FAULT = {
    "none": "no fault",
    "settings": "settings missing or damaged: run 'steadyturn flash RIG'",
    "sensor": "the sensor does not answer: look at its four wires",
    "over_voltage": "too many volts reached the converter",
    "over_current": "too much current flowed",
    "journal": "the journal cannot be written; charging goes on",
    "program": "the program stopped on an error of its own and started again",
    "temperature": "something got too hot: let it cool and look for what heats it",
    "gears": "handle and motors do not turn together: look at gears, belt, motor leads and the "
    "turn sensor",
}

PREVIOUS_SETTINGS = (
    "the newest were refused, those from before are in force: run 'steadyturn flash RIG'"
)

# how sure the pace is
VALIDITY = {
    "valid": "from volts and current",
    "measured": "measured by the turn sensor",
    "bound": "at most this: hardly any current flows, so the volts alone say little",
    "volts_only": "from the volts alone: the sensor does not answer",
    "no_sensor": "not known: neither sensor nor volts can be read",
}

EVENT = {
    "none": "nothing",
    "boot": "board started",
    "connected": "phone connected",
    "released": "phone disconnected",
    "fault": "fault began",
    "fault_end": "fault ended",
    "gap": "samples missing",
    "erase_connected": "flash erased while charging",
    "host": "laptop connected",
    "collapse": "too much load for this pace",
    "settings": "settings taken into force",
    "slip": "handle and motors did not turn together",
    "load_step": "second load switched",
    "thinned": "old samples given up for room; their totals stay",
    "previous_settings": "newest settings refused: the ones before are in force",
    "safe_mode": "started in safe mode: nothing but the lamp and the prompt",
    "bench": "readings for a bench",
}


def name_of(names: Sequence[str], code: int | str) -> str:
    """The firmware's name of a code, for --json: "code 12" when there is none. A name is
    given back as it is, so that every function below takes either."""
    if isinstance(code, str):
        return code
    return names[code] if 0 <= code < len(names) else f"code {code}"


def cue(code: int | str) -> str:
    """One word, as on the lamp's card."""
    name = name_of(pages.CUES, code)
    return CUE.get(name, (name, ""))[0]


def cue_advice(code: int | str) -> str:
    """What the arm should do."""
    return CUE.get(name_of(pages.CUES, code), ("", ""))[1]


def reason(code: int | str) -> str:
    """Why the phone is disconnected."""
    name = name_of(pages.REASONS, code)
    return REASON.get(name, name)


def fault(code: int | str) -> str:
    """The fault, and what to do about it."""
    name = name_of(pages.FAULTS, code)
    return FAULT.get(name, name)


def validity(code: int | str) -> str:
    """How sure the pace is."""
    name = name_of(pages.STATE_VALIDITY, code)
    return VALIDITY.get(name, name)


def event(code: int | str, argument: int = 0) -> str:
    """An event of the journal with its argument in words."""
    name = name_of(pages.EVENT_NAMES, code)
    text = EVENT.get(name, name)
    if name == pages.EVENT_NAMES[pages.EV_RELEASED]:
        return f"{text}: {reason(argument)}"
    if name in (pages.EVENT_NAMES[pages.EV_FAULT], pages.EVENT_NAMES[pages.EV_FAULT_END]):
        return f"{text}: {fault(argument)}"
    if name == pages.EVENT_NAMES[pages.EV_ERASE_CONNECTED]:
        return f"{text}: {argument} ms"
    if name == pages.EVENT_NAMES[pages.EV_SLIP]:
        return f"{text}: {slip(argument)}"
    if name == pages.EVENT_NAMES[pages.EV_LOAD_STEP]:
        return f"{text} {'on' if argument else 'off'}"
    if name == pages.EVENT_NAMES[pages.EV_BENCH]:
        return f"{text}: {'under way' if argument else 'over'}"
    return text


def slip(permille: float) -> str:
    """How turns by pulses stand to turns by volts."""
    if permille == 0:
        return "volts, but no pulses of the turn sensor"
    if permille > 3000:
        return "pulses of the turn sensor, but hardly any volts"
    if permille > 1000:
        return f"{permille / 10 - 100:.0f} % more turns by pulses than by volts"
    return f"{100 - permille / 10:.0f} % fewer turns by pulses than by volts"
