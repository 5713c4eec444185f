"""What the card says, in short plain words, for somebody who knows nothing of this program."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from steadyturn import cautions
from steadyturn.report.pace_in_words import in_ten_seconds, in_words
from steadyturn.report.style import number

DEVICES = {"phone": "phone", "power_bank": "power bank", "lantern": "lantern"}
RULE = {
    "led": "Dark = give more. Light = enough. Broken light = too much.",
    "piezo": "Low-high = faster. Silent = enough. High-low = slower. Long tone = stop.",
    "vibration": "One pulse = faster. Still = enough. Two pulses = slower. Shaking = stop.",
}
IN_FULL = 2  # of the cautions; of the others their first sentence
OTHER_SIGN = {"piezo": "beeper", "vibration": "shaker"}  # what else is the lamp
LIT = ("led", "two_led", "rgb")
# signal -> what it looks like, sounds like, feels like
LOOKS = {
    "rest": ("dark, a glint every 4 s", "silent", "still"),
    "faster": ("short flashes", "low-high beeps", "single pulses"),
    "hold": ("steady light", "silent", "still"),
    "slower": ("light, double winks", "high-low beeps", "double pulses"),
    "stop": ("quick even flashes", "one long tone", "quick even shaking"),
    "percent": ("steady, one long wink", "one longer beep", "one longer pulse"),
    "count": ("long, then short flashes", "high beeps, long then short",
              "pulse pairs, then single ones"),
    "fault": ("slow long flashes", "slow long beeps", "slow long pulses"),
}
# fault -> what it is, what to do; the number of flashes is the firmware's
FAULTS = {
    "settings": ("settings lost", "Does it charge? Go on. If not: {bypass}"),
    "sensor": ("sensor silent", "Go on: it charges by volts alone, or waits."),
    "over_voltage": ("too many volts", "Slow down. Again and again: unplug, stop using it."),
    "over_current": ("too much current", "Unplug. Another cable, another {device}."),
    "journal": ("memory full or broken", "Go on: charging is not touched."),
    "program": ("program failed", "Wait 20 s, go on. Again and again: {bypass}"),
    "temperature": ("too hot", "Rest ten minutes. Give it air."),
    "gears": ("gears or motor slip", "Stop. Look for what is loose."),
}


@dataclass(frozen=True)
class Line:
    """A row of a table: what is seen, what it means, what to do."""

    key: str
    what: str
    means: str


@dataclass(frozen=True)
class Words:
    """pace: how fast, gains: what ten minutes bring ("" where nothing is charged); signals in
    the order of the card's, then faults; lists in order. weak: a second barrier that is
    missing, "" where none is."""

    rule: str
    pace: str
    keep: str
    gains: str
    signals: tuple[Line, ...]
    faults: tuple[Line, ...]
    connect: tuple[str, ...]
    trouble: str
    dark: tuple[str, ...]
    bypass: tuple[str, ...]
    weak: str
    cautions: tuple[str, ...]


def words(c: Any) -> Words:
    """Of a `jobs.card.Card`."""
    kind = "led" if c.lamp in LIT else c.lamp
    return Words(
        rule=RULE[kind],
        pace=f"{c.target_tpm:.0f} turns a minute: {in_words(c.target_tpm)}",
        keep=f"{in_ten_seconds(c.target_tpm)} turns in 10 seconds. Good from {c.low_tpm:.0f} to "
             f"{c.high_tpm:.0f} turns a minute{_start(c)}.",
        gains=_gains(c), signals=tuple(_signals(c, kind)), faults=tuple(_faults(c)),
        connect=tuple(_connect(c)), trouble=_trouble(c), dark=tuple(_dark(c, kind)),
        bypass=tuple(_bypass(c)), weak=_weak(c),
        cautions=(*cautions.of("card")[:IN_FULL], *cautions.short("card")[IN_FULL:]))


def _start(c: Any) -> str:
    """Unloaded the machine has to bring more than what keeps it charging."""
    above = math.ceil(c.connect_tpm)
    return f"; to start, above {above}" if above > round(c.low_tpm) else ""


def _weak(c: Any) -> str:
    if not c.hazards:
        return ""
    why = c.hazards[0].reason
    other = "" if c.described.load.kind == "lantern" else " Better a lamp than a phone."
    return f"{why[:1].upper()}{why[1:]}.{other}"


def _device(c: Any) -> str:
    return DEVICES.get(c.described.load.kind, "load")


def sign(c: Any) -> str:
    """What stands for the lamp."""
    return OTHER_SIGN.get(c.lamp, "lamp")


def _gains(c: Any) -> str:
    if c.gained_percent is None:
        return ""
    low, value, high = (getattr(c.gained_percent, name) for name in ("low", "value", "high"))
    device = _device(c)
    if value <= 0:
        return f"10 minutes bring nothing while the {device} is on: switch it off."
    sure = "" if c.capacity_given else f" (size of the {device} not known: a guess)"
    return (f"10 minutes bring about {number(value, 2)} % of the {device}"
            f"{', switched off' if device == 'phone' else ''} "
            f"({number(max(low, 0.0), 2)} to {number(high, 2)} %){sure}.")


def _signals(c: Any, kind: str) -> list[Line]:
    looks = ("led", "piezo", "vibration").index(kind)
    device = _device(c)
    flash = ("flash", "beep", "pulse")[looks]
    unit = "percent" if c.described.load.capacity_j else "0.1 Wh"
    means = {
        "rest": "nobody turns",
        "faster": f"turn faster: {_beat(c, flash)}",
        "hold": "good: keep this pace",
        "slower": "turn slower",
        "stop": f"STOP: slow right down; the {device} is let go",
        "percent": f"good, and one more {unit} is in",
        "count": f"button pressed: {unit} so far, long = ten, short = one",
        "fault": "a fault: count them, look below",
    }
    return [Line(s.name, LOOKS[s.name][looks], means[s.name]) for s in c.signals]


def _beat(c: Any, flash: str) -> str:
    """How the beat of `faster` goes with the turns."""
    a_turn = round(2 * c.flashes_per_turn) / 2
    if a_turn == 1:
        return f"a turn with each {flash}"
    if a_turn > 1:
        return f"{number(a_turn)} {flash}es a turn" if flash == "flash" else (
            f"{number(a_turn)} {flash}s a turn")
    return f"{number(1 / a_turn)} turns with each {flash}"


def _faults(c: Any) -> list[Line]:
    bypass = "use the bypass." if _bypass_for_device(c) else "needs a laptop."
    return [Line(name, FAULTS[name][0],
                 FAULTS[name][1].format(bypass=bypass, device=_device(c)))
            for name in c.faults.values()]


def _connect(c: Any) -> list[str]:
    device = _device(c)
    return [
        "Cover on, machine held fast, sleeves and hair away. Bypass cap off.",
        f"One cable only: into the {device} first, then into the machine. "
        + (f"{device.capitalize()} off or in flight mode." if device == "phone" else ""),
        f"Turn by the {sign(c)}. After some 2 s of good pace{_above(c)} the {device} is connected "
        "by itself.",
        "Rest when you like: it lets go, and comes back by itself.",
        f"Done: stop turning, then pull the cable at the {device}.",
    ]


def _above(c: Any) -> str:
    start = _start(c)
    return f" (above {start.rsplit(' ', 1)[1]} a minute)" if start else ""


def _trouble(c: Any) -> str:
    return (f"Smoke, smell, heat, a warning, anything odd: FIRST pull the {_device(c)}'s cable, "
            "then stop turning.")


def _dark(c: Any, kind: str) -> list[str]:
    rig = c.described
    none = {"led": "No light at all", "piezo": "Never a sound"}.get(kind, "Never a pulse")
    first = {
        "crank": f"{none}: the board has no power yet. Turn faster"
                 + (f", above {c.wake_tpm:.0f} a minute." if c.wake_tpm else "."),
        "cell": f"{none}: change the board's own cell.",
        "usb": f"{none}: plug in the board's own power bank, press its button.",
    }[rig.supply.feed]
    found = [first]
    if rig.rectifier.kind == "schottky" and rig.supply.feed == "crank":
        found.append("Turn the other way.")
    shade = " itself" if c.lamp in OTHER_SIGN else " itself (in sunlight: shade it)"
    found += [f"Look: motor wires, fuse, plugs, the {sign(c)}{shade}.",
              "Handle heavy although nothing is plugged in: a short. Stop using it.",
              "Handle light, nothing helps: " + (
                  "the bypass." if _bypass_for_device(c) else "it needs a meter and a laptop.")]
    return found


def _bypass_for_device(c: Any) -> bool:
    """Whether anything that acts without the board guards the device with the link closed."""
    return c.cut_v is not None


def _bypass(c: Any) -> list[str]:
    device, pace = _device(c), f"{c.target_tpm:.0f} turns a minute"
    if not _bypass_for_device(c):
        return [f"Nothing but the converter guards the {device} then: NOT for a {device}. In need "
                "a lamp, or an old power bank.",
                "Cap on the two pins marked BYPASS. Take it off again."]
    return [
        f"Only when the board is dead. {device.capitalize()} unplugged; cap on the two pins "
        "marked BYPASS.",
        f"Turn evenly, {pace}, then plug in the {device}. Unplug it before you stop or slow down.",
        f"Still at work: the cut at the output ({number(c.cut_v)} V) and the clamp. Not at work: "
        "board, lamp, letting go.",
        "Take the cap off again.",
    ]
