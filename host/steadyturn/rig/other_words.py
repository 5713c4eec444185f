"""Other words that people use for the kinds of things, as a kind of ours."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence

# kind -> words; where several fit the longest word counts
_WORDS: dict[str, tuple[str, ...]] = {
    "boost": ("boost", "booster", "step_up", "stepup", "raises", "joule_thief"),
    "buck": ("buck", "step_down", "stepdown", "lowers"),
    "buck_boost": ("buck_boost", "boost_buck", "step_up_down", "step_down_up", "up_down", "updown",
                   "sepic", "step_up_step_down", "step_up_or_down", "both"),
    "linear": ("linear", "ldo", "7805", "regulator"),
    "phone": ("phone", "smartphone", "mobile", "cellphone", "iphone", "android", "handy"),
    "power_bank": ("power_bank", "powerbank", "battery_pack"),
    "lantern": ("lantern", "lamp", "light", "torch", "flashlight"),
    "resistor": ("resistor", "load_resistor"),
    "none": ("none", "nothing"),
    "pico": ("pico", "rp2040"),
    "pico2": ("pico2", "pico_2", "rp2350"),
    "esp32_s3": ("esp32_s3", "esp32s3"),
    "esp32_c3": ("esp32_c3", "esp32c3"),
    "other": ("other", "unknown"),
}


def tidy(text: str) -> str:
    """Lower case, whatever is no letter or digit as one underscore.

    >>> tidy(" Step-up/down ")
    'step_up_down'
    """
    return re.sub(r"[^a-z0-9]+", "_", text.strip().lower()).strip("_")


def meant(text: str, choices: Sequence[str]) -> str:
    """The choice that `text` certainly names, or "".

    >>> meant("USB booster", ("boost", "buck", "buck_boost"))
    'boost'
    >>> meant("step-down", ("boost", "buck", "buck_boost"))
    'buck'
    >>> meant("bost", ("boost", "buck", "buck_boost"))
    ''
    """
    said = tidy(text)
    if said in choices:
        return said
    found = [(len(word), kind) for kind in choices for word in _WORDS.get(kind, (kind,))
             if f"_{word}_" in f"_{said}_"]
    return max(found)[1] if found else ""


def near(text: str, choices: Sequence[str]) -> str:
    """The choice that `text` certainly or probably means, or "".

    >>> near("bost", ("boost", "buck", "buck_boost"))
    'boost'
    """
    return meant(text, choices) or next(
        iter(difflib.get_close_matches(tidy(text), choices, n=1, cutoff=0.6)), "")
