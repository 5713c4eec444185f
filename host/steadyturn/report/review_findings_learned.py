"""Findings of many outings together in a maker's words; as in review_findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from steadyturn.report.paceband import short
from steadyturn.report.review_words import ranged
from steadyturn.report.style import number

Values = Mapping[str, Any]
MOST_ODDS = 1000.0


def _n(value: Any, digits: int = 3) -> str:
    return number(float(value), digits)


def _odds(e: Values) -> str:
    return (f"over {MOST_ODDS:.0f} to 1" if e["odds"] >= MOST_ODDS
            else f"{_n(e['odds'], 2)} to 1")


def _why(e: Values, what: str, scale: float = 1.0, unit: str = "") -> str:
    low, high = sorted((abs(e["change_low_percent"]), abs(e["change_high_percent"])))
    told = (f"{what} {_n(abs(e['change_percent']), 2)} % ({_n(low, 2)} to {_n(high, 2)}) since "
            f"about outing {int(e['began'])}, by {int(e['outings'])} outings; now it is "
            f"{ranged(*(scale * e[name] for name in ('value', 'low', 'high')))}{unit}. "
            f"The odds that this is no chance are {_odds(e)}.")
    if "band_gone" in e:
        return told + " With it no pace works any more."
    if "low_tpm" not in e:
        return told
    was, now = short(e["low_tpm_was"]), short(e["low_tpm"])
    high_was, high_now = short(e["high_tpm_was"]), short(e["high_tpm"])
    if (was, high_was) == (now, high_now):
        return told + " The band is as it was."
    return told + f" It moves the band from {was} to {high_was} to {now} to {high_now} turns/min."


def _resistance(e: Values, g: Values) -> tuple[str, str, str]:
    up = _n(abs(e["change_percent"]), 2)
    do = "Look at plugs, screws and solder joints first, then at the brushes."
    if "key" in e:
        do += (f" If it is the brushes: 'steadyturn retune RIG --from-use' shows what moves with "
               f"{e['key']} = {_n(e['key_value'])}, and asks; 'steadyturn bench RIG' measures it "
               "anew.")
    return (f"the motors' resistance is up by {up} %: look at brushes and joints",
            _why(e, "At the same temperature the resistance has risen by", 1.0, " ohm"), do)


def _emf(e: Values, g: Values) -> tuple[str, str, str]:
    down = _n(abs(e["change_percent"]), 2)
    return (f"the motors give {down} % fewer volts a turn: look at the train",
            _why(e, "At the same temperature the EMF a turn has fallen by", 1000.0,
                 " mV a turn/min"),
            "Look at the train first: a belt or friction wheel that slips evenly. Else the "
            "magnets were too hot: 'steadyturn bench RIG', then 'steadyturn flash RIG'.")


def _losses(e: Values, g: Values) -> tuple[str, str, str]:
    up = _n(abs(e["change_percent"]), 2)
    return (f"the converter loses {up} % more than it did: look for its heat",
            _why(e, "What is lost between the converter's input and output has risen by", 1.0,
                 " times what the settings say"),
            "Look at its screws and the cable's plugs for heat, and at its output capacitor; "
            "a converter that gets hotter each week is replaced in time.")


def _gears(e: Values, g: Values) -> tuple[str, str, str]:
    less = 100 * (1 - 1 / (1 + e["change_percent"] / 100))
    return (f"the gears take about {_n(less, 2)} % more of the arm's work than they did",
            _why(e, "After a step of the second load the volts sag faster than they did, by", 1.0,
                 " ohm/s")
            + " EMF and inertia being the same, that is loss in gears and bearings.",
            "Grease, teeth, bearings and the belt's tension: the handle must turn as easily, "
            "unloaded, as when it was new.")


WORDS: dict[str, Callable[[Values, Values], tuple[str, str, str]]] = {
    "resistance_rising": _resistance, "emf_falling": _emf, "losses_rising": _losses,
    "gear_loss_rising": _gears,
}
