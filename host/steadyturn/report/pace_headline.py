"""The verdict of `pace` in one line, the same on the screen and on the map."""

from __future__ import annotations

from typing import Any

from steadyturn.report.paceband import short


def shaky(result: Any) -> bool:
    """Whether the band rests on guesses: within their ranges it can go, or too few of the
    builds that were drawn have it."""
    if result.sure is not None:
        return result.sure.low_tpm is None
    return result.measure is not None and result.measure.may_vanish


def headline(result: Any) -> str:
    """What to keep to, or that no pace works; and whether that rests on guesses."""
    if not result.feasible:
        guessed = result.measure is not None and result.measure.opens
        return f"{result.rig}: {'if the guesses hold, ' if guessed else ''}no pace works"
    return (f"{result.rig}: {'if the guesses hold, ' if shaky(result) else ''}keep to "
            f"{short(result.low_tpm)}-{short(result.high_tpm)} turns/min, "
            f"best {short(result.target_tpm)}")
