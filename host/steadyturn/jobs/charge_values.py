"""What `charge` is asked: checked, and typical figures of the device where none are known."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from steadyturn.errors import Problem, WrongInput
from steadyturn.model.change import with_value
from steadyturn.rig.types import Origin, Rig

DEFAULT_TO = 80.0
MOST_MINUTES = 1440.0
FASTEST_TPM = 1000.0
USB = ("phone", "power_bank", "lantern")

# what a phone uses itself, W (low, value, high); charging.md
STATES: dict[str, tuple[float, float, float]] = {
    "off": (0.0, 0.0, 0.02), "flight": (0.02, 0.05, 0.15), "lit": (0.6, 1.2, 2.5)}
STATE_NOTE = "typical of phones, from memory"

# capacity where none is given, Wh (low, value, high); charging.md
CAPACITY_WH: dict[str, tuple[float, float, float]] = {
    "phone": (10, 14, 20), "power_bank": (18, 37, 74), "lantern": (4, 10, 20)}


def checked_states(from_percent: float, to_percent: float | None,
                   minutes: float | None) -> tuple[float, float | None]:
    """Start and end as shares (end None: by minutes); WrongInput for what cannot be."""
    problems = []
    if not 0 <= from_percent < 100:
        problems.append(Problem("--from", "", f"{from_percent:g}",
                                "the battery's percent now, 0 to below 100."))
    if to_percent is not None and minutes is not None:
        problems.append(Problem("--minutes", "", f"{minutes:g}", "give --to or --minutes, not "
                                "both.", "--to asks how long, --minutes asks how much."))
    if minutes is not None and not 0 < minutes <= MOST_MINUTES:
        problems.append(Problem("--minutes", "", f"{minutes:g}", "minutes of turning, above 0 "
                                f"and at most {MOST_MINUTES:.0f} (a day)."))
    end = DEFAULT_TO if to_percent is None and minutes is None else to_percent
    if end is not None and not problems:
        if not 0 < end <= 100:
            problems.append(Problem("--to", "", f"{end:g}", "a percent above 0, at most 100."))
        elif end <= from_percent:
            meant = "" if to_percent is None else f" Turned round: --from {end:g} --to " \
                f"{from_percent:g}."
            problems.append(Problem("--to", "", f"{end:g}", "must be above --from "
                                    f"({from_percent:g}).", ("Say --to, too." if not meant
                                                             else meant.strip())))
    if problems:
        raise WrongInput(*problems)
    return from_percent / 100, None if end is None else end / 100


def checked_pace(pace_tpm: float | None) -> None:
    if pace_tpm is not None and not (isfinite(pace_tpm) and 0 < pace_tpm <= FASTEST_TPM):
        raise WrongInput(Problem(
            "--pace", "", f"{pace_tpm:g}", "turns a minute of the handle, above 0 and at most "
            f"{FASTEST_TPM:.0f}.", "'steadyturn pace RIG' says which paces work."))


def device(rig: Rig, path: str, phone: str | None) -> Rig:
    """The rig with a battery whose capacity is known or typical, and the phone in that state.

    Raises WrongInput for a load without a battery, and for a state that is none.
    """
    if rig.load.kind not in USB:
        raise WrongInput(Problem(
            path, "load.kind", f'"{rig.load.kind}"', "has no battery to charge; right are "
            + ", ".join(f'"{kind}"' for kind in USB) + ".",
            "'steadyturn predict RIG --pace N' says what this load gets."))
    if phone is not None:
        if phone not in STATES:
            raise WrongInput(Problem("--phone", "", phone, f"one of {', '.join(STATES)}."))
        if rig.load.kind != "phone":
            raise WrongInput(Problem(
                "--phone", "", phone, f"this rig charges a {rig.load.kind}.",
                "What that uses itself stands in the rig file: load.self_use_w."))
        rig = with_state(rig, phone)
    if not rig.load.capacity_j:
        low, value, high = (wh * 3600.0 for wh in CAPACITY_WH[rig.load.kind])
        rig = _assumed(rig, "load.capacity_wh", Origin("assumed", value, low, high, "typical"))
    return rig


def with_state(rig: Rig, phone: str) -> Rig:
    """The rig with its phone "off", "flight" or "lit"."""
    low, value, high = STATES[phone]
    return _assumed(rig, "load.self_use_w", Origin("assumed", value, low, high, STATE_NOTE))


def _assumed(rig: Rig, key: str, origin: Origin) -> Rig:
    return replace(with_value(rig, key, origin.value), origins={**rig.origins, key: origin})
