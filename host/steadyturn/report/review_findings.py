"""What to change, in a maker's words: a line for each, and evidence, gain and remedy below."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from steadyturn.report import review_findings_learned as learned
from steadyturn.report import words
from steadyturn.report.paceband import short
from steadyturn.report.review_words import LET_GO, Energy
from steadyturn.report.style import duration, number

Values = Mapping[str, Any]
MOST_PERCENT = 300  # of next to nothing anything is many percent


@dataclass(frozen=True, slots=True)
class Said:
    """A finding in words: head (short enough for one line), why (what was seen), gain ("" where
    no model tells), do (how it is changed)."""

    head: str
    why: str
    gain: str
    do: str


def said(finding: Any, energy: Energy) -> Said:
    """finding: sessions.findings.Finding. A code that is not known is shown as it is."""
    maker = _WORDS.get(finding.code)
    if maker is None:
        return Said(finding.code, "", "", "")
    head, why, do = maker(finding.evidence, finding.gain or {})
    return Said(head, why, gain(finding, energy), do)


def gain(finding: Any, energy: Energy) -> str:
    """What the model predicts: "0.021 Wh more in the same time, 0.4 kJ less work for the arm"."""
    told = finding.gain
    if not told:
        return ""
    parts = []
    percent = told["worth_percent"]
    if told["delivered_wh"] * energy.scale >= 0.5 * 10 ** -energy.decimals:
        parts.append(f"{number(told['delivered_wh'] * energy.scale, 2)} {energy.unit} more in the "
                     "same time")
    if told["arm_kj"] <= -0.005:
        parts.append(f"{number(-told['arm_kj'], 2)} kJ less work for the arm")
    elif told["arm_kj"] >= 0.005:
        parts.append(f"{number(told['arm_kj'], 2)} kJ more work for the arm")
    if not parts:
        return ""
    worth = f" (a gain of {percent:.0f} %)" if percent <= MOST_PERCENT else ""
    return f"The model predicts {', '.join(parts)}{worth}."


def short_gain(finding: Any) -> str:
    """For one line: "+12 %", "" where it is not known."""
    if not finding.gain or not 1 <= finding.gain["worth_percent"] <= MOST_PERCENT:
        return ""
    return f"+{finding.gain['worth_percent']:.0f} %"


def _n(value: Any, digits: int = 3) -> str:
    return number(float(value), digits)


def _times(value: Any) -> str:
    return "once" if int(value) == 1 else f"{int(value)} times"


def _too_many_volts(e: Values, g: Values) -> tuple[str, str, str]:
    return ("too many volts: mend this before you charge again",
            f"The phone was disconnected {_times(e['times'])} because of too many volts; the "
            f"highest reading was {_n(e['peak_v'])} V, the fastest pace "
            f"{_n(e['peak_pace_tpm'])} turns/min.",
            "'steadyturn check RIG' names what may reach the phone; turn slower when the phone "
            "lets go, and fit the hardware cut (hardware/hazards.md).")


def _too_hot(e: Values, g: Values) -> tuple[str, str, str]:
    return ("something got too hot: look for what heats it",
            f"The thermistor released the phone {_times(e['times'])}.",
            "Let it cool; look at converter, switch and motor mount, whichever it sits on, and "
            "at the thermistor's own wires.")


def _sensor_lost(e: Values, g: Values) -> tuple[str, str, str]:
    return ("the sensor did not answer: look at its four wires",
            f"For {duration(e['seconds'])} ({_n(e['share_percent'], 2)} % of the time) neither "
            "current nor energy could be counted.",
            "Reseat its four wires and keep them short "
            "(firmware/sensors.md).")


def _gears_slip(e: Values, g: Values) -> tuple[str, str, str]:
    return ("handle and motors do not turn together: look at the gears",
            f"Turn sensor and volts parted {_times(e['times'])}, at worst: "
            f"{words.slip(float(e['worst_permille']))}.",
            "Look at grub screws, keys, teeth and belt; then at the motor's leads and the turn "
            "sensor's magnet.")


def _motor_warm(e: Values, g: Values) -> tuple[str, str, str]:
    limit = ""
    if "mount_c" in e:
        limit = (f" By the model the windings came to {_n(e['winding_c'], 2)} degC (limit "
                 f"{_n(e['winding_limit_c'], 3)}), the mount to {_n(e['mount_c'], 2)} degC (limit "
                 f"{_n(e['mount_limit_c'], 3)}).")
    return (f"the motors get warm ({_n(e['rise_k'], 2)} K): shorter stretches, or air",
            f"The board reckons the windings {_n(e['rise_k'], 2)} K warmer than at rest, which is "
            f"{_n(e['ohm_percent'], 2)} % more resistance.{limit}",
            "Rest in between, leave air round the motors or a metal plate behind them, or share "
            "the current between more motors.")


def _resistance_up(e: Values, g: Values) -> tuple[str, str, str]:
    seen = ("by the second load" if e["how"] == "second load" else "by the turn sensor")
    return (f"the motors' resistance is up: {_n(e['ohm'])} ohm, not {_n(e['expected_ohm'])}",
            f"Seen {seen}: {_n(e['low_ohm'])} to {_n(e['high_ohm'])} ohm, where the machine as it "
            f"was described has {_n(e['expected_ohm'])}.",
            "Look at plugs, screws and solder joints first, then at the brushes; measure the "
            "ohms at the motor's own terminals.")


def _not_saved(e: Values, g: Values) -> tuple[str, str, str]:
    return (f"{int(e['cut'])} of {int(e['boots'])} boots were cut off before they could be saved",
            "The board's reservoir was empty before the last page was written, so a few seconds "
            "are lost each time.",
            "A larger reservoir, or a higher supply.fade_v in the rig file.")


def _gears_to(g: Values) -> str:
    if "ratio" not in g:
        return ""
    return f"gears of {_n(g['ratio'], 3)} in place of {_n(g['ratio_now'], 3)}"


def _band_too_high(e: Values, g: Values) -> tuple[str, str, str]:
    return _beside(e, g, "high", "slower")


def _band_too_low(e: Values, g: Values) -> tuple[str, str, str]:
    return _beside(e, g, "low", "faster")


def _beside(e: Values, g: Values, side: str, than: str) -> tuple[str, str, str]:
    gears = _gears_to(g)
    why = (f"For {_n(e['out_percent'], 2)} % of the time, once under way, the pace was {than} "
           f"than the band (its edge is {_n(e['edge_tpm'])}); this arm kept {_n(e['pace_tpm'])} "
           "turns/min.")
    if "needs_w" in e:
        why += (f" At the edge the handle asks {_n(e['needs_w'], 2)} W; the rig's arm keeps "
                f"{_n(e['keeps_w'], 2)} W for ten minutes.")
    if "too_heavy" in e:
        return ("the band is too heavy for this arm: let the phone draw less", why,
                "Gears that bring the band to this pace would be heavier still: a phone or cable "
                "that draws less, or a longer handle.")
    head = f"the band is too {side} for this arm" + (f": {gears}" if gears else "")
    do = (f"'steadyturn gears RIG' lists trains near a ratio of {_n(g['ratio'], 3)}." if gears
          else "Gears of another ratio bring the band to the arm: 'steadyturn gears RIG'.")
    return head, why, do


def _off_band(e: Values, g: Values) -> tuple[str, str, str]:
    to = f"near {short(float(g['target_tpm']))} turns/min" if "target_tpm" in g else "to the lamp"
    return (f"out of the band for {float(e['out_percent']):.0f} % of the time: keep {to}",
            f"Below it {_n(e['below_percent'], 2)} %, above it {_n(e['above_percent'], 2)} % of "
            f"the time; nine tenths were between {_n(e['p5_tpm'])} and {_n(e['p95_tpm'])} "
            f"turns/min, the band is {short(float(e['low_tpm']))} to "
            f"{short(float(e['high_tpm']))}.",
            "Turn by the lamp: dark is more, light is enough, broken light is too much.")


def _drops_out(e: Values, g: Values) -> tuple[str, str, str]:
    why = (f"The volts collapsed {_times(e['collapses'])}, at {_n(e['pace_tpm'])} turns/min "
           f"(median), though the band begins at {short(float(e['low_tpm']))}; "
           f"{duration(e['lost_s'])} of turning "
           "in the band went by without the phone.")
    if "power_w" in e:
        return (f"the phone draws too much: {_n(e['power_w'], 2)} W, planned were "
                f"{_n(e['expected_w'], 2)}", why,
                "Put load.draw_a in the rig file right and flash anew, which moves the band to "
                "what it needs; or a cable or port that lets it draw less.")
    return (f"the converter drops out inside the band, {_times(e['collapses'])}", why,
            "The machine carries less than its settings say: look at leads and plugs, and "
            "measure the motors' ohms.")


def _hunts(e: Values, g: Values) -> tuple[str, str, str]:
    return (f"the phone came and went: {int(e['short_connections'])} connections under 10 s",
            f"{int(e['short_connections'])} of {int(e['of_connections'])} connections ended for "
            f"too few volts after {_n(e['median_s'], 2)} s (median); {duration(e['lost_s'])} of "
            "turning in the band went by without the phone.",
            "Be a little faster before it connects; a larger bus capacitor or a phone that draws "
            "less holds it ('steadyturn predict RIG --time 20').")


# what ended most connections -> what to do where it is none of the hand's doing
NOT_THE_HAND = {
    "waiting": "That is the board's doing, not the hand's: it let go because a write to its flash "
               "or a laptop's question took too long. Where it happens with no laptop connected, "
               "'steadyturn flash RIG' with the newest firmware.",
    "asked": "A laptop asked for it: nothing to change at the handle.",
    "sensor_lost": "Nothing to change at the handle: reseat the sensor's four wires and keep them "
                   "short (firmware/sensors.md).",
    "over_temperature": "Nothing to change at the handle: look for what gets hot, and at the "
                        "thermistor's wires.",
    "over_current": "Nothing to change at the handle: another cable or phone, or a short in the "
                    "plug.",
}


def _comes_and_goes(e: Values, g: Values) -> tuple[str, str, str]:
    cause = LET_GO.get(str(e["cause"]), str(e["cause"]))
    return (f"the phone came and went: {int(e['connections'])} connections in "
            f"{duration(e['turning_s'])}",
            f"{duration(e['lost_s'])} of turning in the band went by without the phone"
            + (f"; what ended them mostly: {cause}." if cause else "."),
            NOT_THE_HAND.get(str(e["cause"]), "Hold the pace near the middle of the band; if it "
                             "still lets go there, look at its plug, and 'steadyturn predict RIG "
                             "--time 20'."))


def _phone_idle(e: Values, g: Values) -> tuple[str, str, str]:
    end = e["when"] == "to the end"
    head = f"the phone took next to nothing for {duration(e['idle_s'])}"
    return (head + (": was it full?" if end else ": its plug, or full"),
            f"While connected and turned, {_n(e['idle_w'], 2)} W flowed for "
            f"{_n(e['idle_percent'], 2)} % of the time, {_n(e['turns'])} turns"
            + (", up to the end." if end else "."),
            "A full phone needs no turning; else look at its plug and cable.")


def _draws_less(e: Values, g: Values) -> tuple[str, str, str]:
    return (f"the phone takes {_n(e['power_w'], 2)} W, the machine could give "
            f"{_n(e['expected_w'], 2)}",
            f"The rig file's device would draw {_n(e['draw_a'], 2)} A and this pace bears "
            f"{_n(e['could_a'], 2)} A, but less flowed throughout.",
            "A shorter or thicker cable, a port that advertises more ('steadyturn charge RIG'), "
            "or load.draw_a in the rig file is too high.")


_WORDS: dict[str, Callable[[Values, Values], tuple[str, str, str]]] = {
    "too_many_volts": _too_many_volts, "too_hot": _too_hot, "sensor_lost": _sensor_lost,
    "gears_slip": _gears_slip, "motor_warm": _motor_warm, "resistance_up": _resistance_up,
    "not_saved": _not_saved, "band_too_high": _band_too_high, "band_too_low": _band_too_low,
    "off_band": _off_band, "drops_out": _drops_out, "hunts": _hunts,
    "comes_and_goes": _comes_and_goes, "phone_idle": _phone_idle,
    "draws_less": _draws_less, **learned.WORDS,
}
CODES = tuple(_WORDS)
