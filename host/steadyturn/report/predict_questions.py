"""The engineer's questions about a machine in time, answered for a person."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import item, number, quantity, table


def lines(asked: Any) -> list[str]:
    """asked: jobs.predict_questions.Questions."""
    found = ["Asked of the model besides:"]
    answers = (_threshold(asked.start, asked.sought), _hiccup(asked.hiccup),
               *_stability(asked.stability))
    found += [item(words) for words in answers if words]
    if asked.bridging is None:
        found.append(item("Which bus capacitor bridges the ripple of the arm, and what a large "
                          "one does to starting: --sizes tries a row of them."))
        return found
    return [*found, *_bridging(asked.bridging)]


def _threshold(start: Any, sought: bool) -> str:
    now = f"{number(start.start_v)} V"
    slowly = "" if start.closed_start_v is None else (
        f" Where the pace rises slowly, {number(start.closed_start_v)} V are enough.")
    if start.first_start_s is None:
        return ""
    if not start.hunts:
        return f"Which start threshold stops hunting: none is needed, it starts for good at {now}."
    if not sought:
        return ("Which start threshold stops hunting: not sought, since with so small a bus "
                f"capacitor the motors' inductance rings.{slowly}")
    if start.enough_start_v is None:
        return (f"Which start threshold stops hunting: none below the volts that it reaches (now "
                f"{now}). Turn faster, or draw less.")
    return (f"Which start threshold stops hunting: {number(start.enough_start_v)} V (now {now})."
            f"{slowly}")


def _hiccup(hiccup: Any) -> str:
    if not hiccup.hunts:
        return "Hiccup: turned steadily at this pace it does not let go again and again."
    return (f"Hiccup: turned steadily at this pace it starts and lets go every "
            f"{quantity(hiccup.period_s, 's', 2)}, on for {100 * hiccup.on_share:.0f} % of the "
            f"time; the device gets {quantity(hiccup.out_w_mean, 'W')} on average.")


def _stability(at: Any) -> list[str]:
    if at.stable is None:
        return ["Stability: there is no steady point at this pace."]
    if at.load_ohm is None:
        return []
    against = (f"the source has {quantity(at.source_ohm, 'ohm')}, the converter stands for "
               f"-{quantity(at.load_ohm, 'ohm')}")
    if at.stable:
        found = [f"Stability: {against}; a disturbance dies down in about "
                 f"{quantity(3 / abs(at.growth_per_s), 's', 2)}."]
    else:
        found = [f"Stability: NOT STABLE; {against}, and a small disturbance grows."]
    if at.least_capacitor_f > 1e-6:
        found.append("The smallest bus capacitor with which the motors' inductance does not ring "
                     f"up: {_farad(at.least_capacitor_f)}.")
    if at.greatest_capacitor_f is not None:
        found.append("The largest bus capacitor before handle and bus swing against the arm: "
                     f"{_farad(at.greatest_capacitor_f)}.")
    return found


def _bridging(bridging: Any) -> list[str]:
    if bridging.smallest_f is None:
        answer = "none that was tried holds at this pace"
    else:
        answer = f"{_farad(bridging.smallest_f)} is the smallest"
    bound = "" if bridging.hold_up_f is None else (
        f" ({_farad(bridging.hold_up_f)} would do even if the arm gave nothing for a quarter of "
        "a turn)")
    slow = [one for one in bridging.sizes if one.holds and one.starts_s is not None]
    late = "" if len(slow) < 2 else (
        f" From rest it has started for good after {quantity(slow[0].starts_s, 's', 2)} with "
        f"{_farad(slow[0].capacitor_f)}, after {quantity(slow[-1].starts_s, 's', 2)} with "
        f"{_farad(slow[-1].capacitor_f)}.")
    rows = [(_farad(one.capacitor_f), "yes" if one.holds else "no",
             "-" if one.ripple_v is None else f"{one.ripple_v:.2f}", f"{one.lowest_v:.2f}",
             f"{one.lowest_out_v:.2f}",
             f"{one.starts_s:.1f}" if one.holds and one.starts_s is not None else "-",
             str(one.lets_go))
            for one in bridging.sizes]
    return [item(f"Which bus capacitor bridges the ripple of the arm: {answer}{bound}.{late}"), "",
            table(rows, ("bus", "holds", "ripple V", "lowest V in", "lowest V out",
                         "starts after s", "lets go"), right=range(7))]


def _farad(farad: float) -> str:
    """1500 uF, 22 mF, 1 F: as printed on capacitors."""
    if farad < 9.95e-3:
        return f"{number(farad * 1e6, 2)} uF"
    return f"{number(farad * 1e3, 2)} mF" if farad < 0.995 else f"{number(farad, 2)} F"
