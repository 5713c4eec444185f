"""The cautions, once: hardware/cautions.md, the pages of hardware/ and the commands show these.

They state what is usual and certify nothing. Where a figure has a source it stands beside it.
"""

from __future__ import annotations

FOREWORD = (
    "Read this before the first turn. It states the usual cautions; it certifies nothing. Where "
    "local rules or a qualified person say otherwise, follow them.")
# where nothing is built, connected or turned yet: three that stand in every run are not read
POINTER = "Before you build it, the cautions: hardware/cautions.md."
DEFER = "Local rules and qualified people come first: cautions.md."

# section -> key -> caution
CAUTIONS: dict[str, dict[str, str]] = {
    "The phone": {
        # 5.5 V: the upper end of USB Type-C's vSafe5V
        "5.5 V": "Nothing above 5.5 V may reach the phone. A plain boost converter cannot hold "
        "its output down once its input stands above the set point: the phone then sees the "
        "generator. Fit a clamp and an over-voltage cut that act without the board, and run "
        "`steadyturn check` and `steadyturn pace` on your rig before wiring a phone.",
        "resistor first": "Prove every build on a resistor first, then on a cheap USB load, and "
        "only then on a phone. You charge a phone at your own risk.",
        "what can fail": "What can fail, and what then still stands between it and the phone: "
        "hazards.md.",
        "load goes": "When the load goes, the voltage rises: the handle speeds up and nothing "
        "draws it down. Everything that stays connected must bear the open-circuit volts.",
        "set point": "Set the converter before a phone is ever plugged in: as it comes, its screw "
        "may stand anywhere, up to volts that destroy a phone at once.",
        "one source": "One cable into a phone, never two: a second charger would feed back into "
        "this one.",
    },
    "Lithium cells": {
        "bare cell": "Charge a lithium cell only through its own charger circuit (a phone or a "
        "power bank has one). Never connect a bare cell to the converter.",
        # IEC 62133-2, from memory
        "cold or swollen": "No charging below 0 degC or above 45 degC at the cell. A swollen, hot "
        "or wet device is not charged at all.",
        "cell as supply": "A lithium cell that is shorted burns. Take one only with its own "
        "protection, a fuse at its pole, and never leave it wired and alone.",
    },
    "Gears and handle": {
        # drawing-in and entanglement: ISO 12100's list of hazards, from memory
        "drawing in": "Gears draw in fingers, hair, cuffs and jewellery: never run them without "
        "the cover. Tie hair back, keep children away from the turning machine.",
        "eyes": "Wear eye protection when you spin, drill, cut or break printed gears, and when "
        "you clip leads: teeth and wire ends fly.",
        "run down": "A spinning train holds energy. Let it run down before you touch it.",
    },
    "Heat and current": {
        "hot parts": "Motors, load resistors and diodes get hot enough to burn. A printed mount "
        "softens long before the motor is too hot (PLA near 55 degC).",
        "short": "Shorting the motors brakes the handle suddenly and loads the teeth several "
        "times harder than charging does.",
        "iron": "A soldering iron burns, its fumes irritate: a stand, a fireproof mat, an open "
        "window, washed hands.",
    },
    "Stored energy": {
        "capacitors": "Capacitors of a few thousand microfarads give strong sparks and hold their "
        "charge after the handle rests. Discharge them through a resistor (100 ohm, 2 W) and look "
        "with the meter before you touch or change anything.",
        "polarity": "An electrolytic capacitor that is wired the wrong way round, or sees more "
        "volts than are printed on it, bursts. Look twice, and keep your face away at the first "
        "turn.",
    },
    "The person": {
        "strain": "Cranking is work for the arm and the heart. Stay at a pace at which you can "
        "talk, change arms, rest often, and stop on pain, dizziness or breathlessness. If you "
        "have been told to avoid exertion, let someone else crank.",
        "flashes": "The lamp never flashes more than three times a second; if flashing light "
        "harms you, cover the lamp and use the `piezo` or `vibration` kind.",
    },
}

# a risky act -> the cautions that belong to it
ACTS: dict[str, tuple[str, ...]] = {
    "wire": ("5.5 V", "capacitors", "polarity", "cell as supply"),
    "solder": ("iron", "eyes", "capacitors"),
    "set": ("set point", "hot parts", "cell as supply", "bare cell"),
    "first turn": ("resistor first", "drawing in", "eyes", "polarity", "load goes"),
    "gears": ("drawing in", "eyes", "run down", "short"),
    "connect": ("resistor first", "load goes", "one source", "cold or swollen"),
    "crank": ("strain", "drawing in", "flashes"),
    "card": ("strain", "cold or swollen", "drawing in", "one source", "bare cell", "hot parts"),
    "flash": ("resistor first", "drawing in", "strain"),
}

_BY_KEY = {key: text for section in CAUTIONS.values() for key, text in section.items()}


def of(act: str) -> tuple[str, ...]:
    """The cautions of one act, in full.

    >>> of("solder")[0]
    'A soldering iron burns, its fumes irritate: a stand, a fireproof mat, an open window, \
washed hands.'
    """
    return tuple(_BY_KEY[key] for key in ACTS[act])


def short(act: str) -> tuple[str, ...]:
    """Of each caution of an act the first sentence, for a screen."""
    return tuple(text.split(". ")[0].removesuffix(".") + "." for text in of(act))
