"""What the outings have taught of the machine, in words: one line, a table, each change."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from steadyturn.report.review_words import ranged
from steadyturn.report.style import WIDTH, columns, item, number, table, wrap

NAMES = {"source_ohm": "motors' resistance", "emf_v_per_tpm": "EMF",
         "losses": "converter's losses", "slope": "sag after a load step"}
SHORT = {"source_ohm": "resistance", "emf_v_per_tpm": "EMF", "losses": "losses",
         "slope": "gears' sag"}
UNIT = {"source_ohm": "ohm", "emf_v_per_tpm": "mV a turn/min", "losses": "x settings",
        "slope": "ohm/s"}
ROW = {"source_ohm": "motors, ohm", "emf_v_per_tpm": "EMF, mV", "losses": "losses, x settings",
       "slope": "gears' sag, ohm/s"}
SCALE = {"emf_v_per_tpm": 1000.0}
WAYS = {"second_load": "the second load", "second_load_sag": "the second load",
        "turn_sensor": "the turn sensor",
        "two_channels": "both channels of the sensor"}
WARMTH = {"followed": "the board follows the windings' warmth",
          "reckoned": "the windings' warmth is reckoned from the current",
          "mixed": "the windings' warmth is followed by the board or reckoned from the current"}
MOST_ODDS = 1000.0
LEAST_ODDS = 1.5
LIGHT = (" A light handle gives way before its resistance shows; a turn sensor tells it "
         "(hardware/options.md).")
NO_OHM = ("it takes stretches of some seconds with the phone and without it, and volts well above "
          "what brushes and diodes drop.")


def values(one: Any, prefix: str = "") -> tuple[float, float, float]:
    """(value, low, high) of a sessions.learned.Learned, or of its rig's, in UNIT."""
    names = (f"{prefix}value", f"{prefix}low", f"{prefix}high")
    scale = SCALE.get(one.name, 1.0)
    value, low, high = (getattr(one, name) * scale for name in names)
    return value, low, high


def odds(to_one: float) -> str:
    """In words, to one.

    >>> [odds(x) for x in (2e6, 50.0, 1.2, 0.1)]
    ['over 1000 to 1', '50 to 1', 'even', '1 to 10']
    """
    if to_one >= MOST_ODDS:
        return f"over {MOST_ODDS:.0f} to 1"
    if to_one < LEAST_ODDS:
        return "even" if to_one > 1 / LEAST_ODDS else f"1 to {number(1 / to_one, 2)}"
    return f"{number(to_one, 2)} to 1"


def brief(learned: Sequence[Any], room: int, *, steady: bool) -> list[str]:
    """For the review's line on the machine: what changes or is not the rig file's, or (steady)
    the resistance where it does neither."""
    out = []
    for one in learned:
        unit = {"source_ohm": " ohm", "emf_v_per_tpm": " mV a turn/min"}.get(one.name, "")
        value, _, reach = ranged(*values(one)).partition(" (")
        told = f"{SHORT[one.name]} {value}{unit}"
        if one.real and not steady:
            moved, up = moves(one), moves(one).replace("rising", "up").replace("falling", "down")
            sure = odds(one.odds)
            least = sure.removeprefix("over ")  # shorter, and true as well
            ways = (f"{told} ({reach}, {moved}, {sure}", f"{told} ({reach}, {up}, {least}",
                    f"{told}, {moved}, {sure}")
            out.append(next((way for way in ways if len(way) <= room), ways[-1][:room]))
        elif one.differs and not steady:
            out.append(f"{told}, rig file {ranged(*values(one, 'rig_')).split()[0]}"[:room])
        elif not one.real and not one.differs and steady and one.name == "source_ohm":
            out.append(f"{told} ({reach}")
    return out


def moves(one: Any) -> str:
    """ "rising 4 % in 10 outings". """
    if abs(one.rate_percent) >= 0.5:
        return f"{one.trend} {number(abs(one.rate_percent), 2)} % in 10 outings"
    return f"{'up' if one.trend == 'rising' else 'down'} {number(abs(one.change_percent), 2)} %"


def verdict(one: Any) -> str:
    """A cell: what it does."""
    if one.trend == "too few":
        return "too few outings to say"
    if one.trend == "steady":
        return "no change seen" + (", not the rig file's" if one.differs else "")
    return moves(one)


def rows(learned: Sequence[Any]) -> list[tuple[str, str, str, str]]:
    """name and unit, learned with its range, the rig file's, what it does."""
    out = []
    for one in learned:
        rig = "-" if one.rig_value is None else ranged(*values(one, "rig_"))
        short = {"too few": "too few outings", "steady": "no change seen"}
        out.append((ROW[one.name], ranged(*values(one)), rig, short.get(one.trend, one.trend)))
    return out


def change(one: Any) -> str:
    """A sentence on a change that is real."""
    low, high = sorted((abs(one.change_low_percent), abs(one.change_high_percent)))
    direction = "more" if one.trend == "rising" else "less"
    return (f"The {NAMES[one.name]}: {number(abs(one.change_percent), 2)} % {direction} "
            f"({number(low, 2)} to {number(high, 2)}) since about outing {one.began}, lately "
            f"{moves(one)}; the odds that it is no chance are {odds(one.odds)}.")


def remarks(learned: Sequence[Any]) -> list[str]:
    """Sentences on what is not as the rig file says, and on what the outings cannot tell."""
    out = [differs(one) for one in learned if one.differs]
    for one in learned:
        if one.open:
            out.append(f"The {NAMES[one.name]} these outings hardly tell: the range is "
                       f"{number(one.high / one.low, 2)} times from end to end."
                       + (LIGHT if one.ways == ("second_load",) else ""))
    if "source_ohm" not in {one.name for one in learned} and any(
            "turn_sensor" in one.ways for one in learned):
        out.append(f"The {NAMES['source_ohm']} these outings do not tell: {NO_OHM}")
    return out


def differs(one: Any) -> str:
    """A sentence on a constant that the rig file has wrong."""
    return (f"The {NAMES[one.name]}: {number(one.share, 3)} times what the rig file has as "
            f"measured ({number(one.share_low, 3)} to {number(one.share_high, 3)}); by the "
            f"outings alone the odds are {odds(one.odds_other)} that this is not that machine, or "
            "was measured wrongly. Measure it anew, or let 'steadyturn retune RIG --from-use' "
            "take over what was learned.")


def text(learned: Sequence[Any]) -> str:
    """The part of a whole review; "" where nothing is known."""
    if not learned:
        return ""
    said = rows(learned)
    head = ("", "learned", "rig file", "")
    told = table(said, head, width=WIDTH)
    if max(map(len, told.splitlines())) > columns():
        told = "\n".join(item(f"{a}: {b}; rig file {c}: {d}") for a, b, c, d in said)
    count = max(one.outings for one in learned)
    outings = "1 outing" if count == 1 else f"{count} outings"
    lines = [wrap(f"Learned from {outings} of this machine (windings at 20 degC; EMF a turn/min; "
                  "95 % ranges)"), told,
             *(wrap(change(one)) for one in learned if one.real),
             *map(wrap, remarks(learned)), wrap(how(learned))]
    return "\n".join(lines)


def how(learned: Sequence[Any]) -> str:
    """By what, and what it does not know."""
    ways = sorted({WAYS.get(way, way) for one in learned for way in one.ways})
    warmth = {one.warmth for one in learned if one.name != "losses"}
    told = f"By {' and '.join(ways)}"
    if warmth:
        told += (f"; {WARMTH[warmth.pop() if len(warmth) == 1 else 'mixed']}, the air's nobody "
                 "measures: both are in the ranges")
    return f"{told}. Before the readings a change and none are equally likely."
