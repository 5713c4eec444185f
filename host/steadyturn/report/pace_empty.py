"""Why no pace works, for a person, and what would part the limits that clash."""

from __future__ import annotations

from math import isnan
from typing import Any

from steadyturn.model.edges import FASTEST_TPM
from steadyturn.model.hazards import AFTER_A_FAULT
from steadyturn.report.limit_names import NAME
from steadyturn.report.pace_headline import headline
from steadyturn.report.style import item, number, quantity, table, wrap

SHOWN_REMEDIES = 6
NEAR = 1.1  # times what is asked for: a hot or a cold machine falls short of it


def lines(result: Any) -> list[str]:
    """The verdict, its cause in plain words, the two limits, the remedies."""
    found = [headline(result) + ".", ""]
    if (why := cause(result)):
        found.append(wrap(why))
    if result.clash:
        clash = clash_words(result)
        found.append(wrap(f"{clash_line(result)}:"))
        found += [item(words if len(clash) == 1 else f"{NAME.get(name, name)}, {words}")
                  for name, words in clash]
    if not result.remedies:
        return [*found, "", wrap(
            "No change that was tried opens a band of 6 turns/min: no other gear ratio, one motor "
            "more, stronger motor, converter or device, nor two of them together. 'steadyturn "
            "size' looks through all you have.")]
    return [*found, "", *_remedies(result)]


def clash_line(result: Any) -> str:
    """Which limits leave no pace, in a sentence without its end; "" where they do not clash.
    result: of `pace`, or a model.band.Band."""
    clash = clash_words(result) if result.clash else []
    if not clash:
        return ""
    both = " and ".join(f"'{NAME.get(name, name)}'" for name, _ in clash)
    return (f"Two limits clash, {both}" if len(clash) > 1 else
            f"One limit is broken at every pace at which it runs, {both}")


def cause(result: Any) -> str:
    """In one sentence, where it is the source that lacks something; else nothing."""
    at = result.source
    if at is None or not result.clash:
        return ""
    where = f"at {at.pace_tpm:.0f} turns/min, the fastest comfortable pace"
    if result.clash[0] == "start" and at.open_v < NEAR * result.start_v:
        return (f"Too few volts: {where}, the unloaded motors bring {quantity(at.open_v, 'V')} "
                f"(at 20 degC; hot ones less); the converter starts at "
                f"{quantity(result.start_v, 'V')}.")
    if result.clash[0] in ("holding", "collapse_margin") and at.most_w < NEAR * at.asks_w:
        return (f"The source is too weak: {where}, the motors can give the converter at most "
                f"{quantity(at.most_w, 'W')}, and it asks for {quantity(at.asks_w, 'W')} (at "
                "20 degC; hot windings give less).")
    return ""


def clash_words(result: Any) -> list[tuple[str, str]]:
    """Of the two limits that clash: name, and from or up to which pace it holds and why. Of
    one that holds nowhere, that one alone: no other has a part in it."""
    found = []
    for name, side in zip(result.clash, ("low", "high"), strict=True):
        own = [x for x in result.limits if x.name == name]
        known = [x for x in own if x.side == side] or own
        if not known:
            continue
        if isnan(known[0].pace_tpm) and name in ("start", "holding"):
            found.append((name, f"at no pace up to {FASTEST_TPM:.0f} turns/min"))
            continue
        if isnan(known[0].pace_tpm):
            return [(name, known[0].reason)]
        word = "from" if side == "low" else "up to"
        found.append((name, f"{word} {known[0].pace_tpm:.0f} turns/min: {known[0].reason}"))
    return found


def _remedies(result: Any) -> list[str]:
    """A table of the first remedies, unsafe ones marked; below it, once, why."""
    rows, parts, fault = [], [], False
    for remedy in result.remedies[:SHOWN_REMEDIES]:
        broken = [name for name in remedy.hazards if name not in AFTER_A_FAULT]
        fault |= len(broken) < len(remedy.hazards)
        parts += [NAME.get(name, name) for name in broken]
        rows.append((f"{remedy.low_tpm:.0f}-{remedy.high_tpm:.0f}", "!" if broken else "",
                     remedy.change))
    found = [wrap("What would help, cheapest first (each is the model run again):"),
             table(rows, ("turns/min", "", "change"), right=(0,))]
    if parts:
        names = ", ".join(f"'{part}'" for part in dict.fromkeys(parts))
        found.append(item(f"NOT SAFE without a clamp or cut in hardware or parts for more "
                          f"volts: {names}.", mark="! "))
    if fault and not any(one.name in AFTER_A_FAULT for one in result.hazards):
        found.append(item("Then fit a cut at the output too: it guards the phone should the "
                          "converter's transistor fail.", mark="  "))
    return found


def brief_remedies(remedies: Any, most: int) -> str:
    """The first remedies in one sentence, unsafe ones said to be so."""
    words = []
    for remedy in remedies[:most]:
        unsafe = not set(remedy.hazards) <= set(AFTER_A_FAULT)
        words.append(f"{remedy.change} ({number(round(remedy.low_tpm))} to "
                     f"{number(round(remedy.high_tpm))} turns/min"
                     + ("; NOT SAFE without a clamp or cut in hardware)" if unsafe else ")"))
    return "; or ".join(words)
