"""A review in six lines: what was delivered, what it cost, how the machine did, what to change."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterable
from typing import Any

from steadyturn.report import learned, review_findings
from steadyturn.report.moments import moment as when
from steadyturn.report.review_words import FAULT, PAST, Energy, energy_unit, past_value, shown
from steadyturn.report.style import WIDTH, columns, duration, item, number, shown_path
from steadyturn.sessions.library import default_folder

ENDED = {
    "faded": "power faded, saved in time",
    "host": "saved for the laptop",
    "cut": "cut off by loss of power",
}
LABEL = 11  # columns of the word in front
ROOM = WIDTH - LABEL


def text(review: Any) -> str:
    """review: jobs.review.Review. At most six lines of 80 columns, more in a narrower window;
    then the files that were asked for."""
    energy = energy_unit(review)
    rows = [("", head(review)), ("Delivered", delivered(review, energy))]
    if review.figures.turning_s or review.figures.turns:
        rows += [("Cost", _cost(review)), ("Machine", _machine(review)),
                 ("Change", _change(review))]
    rows.append(("More", _more(review)))
    lines = [item(said, (word.ljust(LABEL) if word else ""), "") if columns() < WIDTH
             else (word.ljust(LABEL) if word else "") + said for word, said in rows]
    return "\n".join([*lines, *files(review)]) + "\n"


def files(review: Any) -> list[str]:
    """What was written beside it."""
    found = [("Plot", review.plot), ("Page", review.html)]
    return [f"{word}: {path}" for word, path in found if path]


def head(review: Any) -> str:
    """Which machine, and when."""
    name = review.label or f"board {review.board}"
    rig = f", rig {review.rig}" if review.rig and review.label != review.rig else ""
    return _first_that_fits(
        (f"{name}{rig}: {said}" for said in _times(review)), f"{name}: {_times(review)[-1]}",
        WIDTH)


def _times(review: Any) -> list[str]:
    """When it was cranked, as far as it is known, the fullest way of saying it first."""
    if review.scope == "all":
        return [f"{_count(review.outings)}, up to {when(review.pulled_s)}", "everything"]
    if not review.outings:
        return [f"pulled {when(review.pulled_s)}"]
    first, last = review.outings[0], review.outings[-1]
    more = f"{_count(review.outings)}, " if len(review.outings) > 1 else ""
    if review.scope == "outing":
        more = f"outing {first.id}, "
    if first.begin_s is not None and last.end_s is not None:
        if when(first.begin_s) == when(last.end_s):
            return [f"{more}at {when(last.end_s)}"]
        return [f"{more}{when(first.begin_s)} to {_until(first.begin_s, last.end_s)}",
                f"{more}{when(first.begin_s)}"]
    ends = last.until_s if last.until_s is not None else review.pulled_s
    if first.after_s is not None:
        if when(first.after_s) == when(ends):
            return [f"{more}at {when(ends)}"]
        return [f"{more}between {when(first.after_s)} and {_until(first.after_s, ends)}",
                f"{more}after {when(first.after_s)}"]
    return [f"{more}some time before {when(ends)}", f"{more}before {when(ends)}"]


def _until(begin_s: float, end_s: float) -> str:
    """The later of two times, without its day or its year where they are the same."""
    (first, _), (last, hour) = (when(s).split(", ") for s in (begin_s, end_s))
    if first == last:
        return hour
    return f"{last.removesuffix(first[-5:])}, {hour}"


def _count(outings: Any) -> str:
    return "1 outing" if len(outings) == 1 else f"{len(outings)} outings"


def delivered(review: Any, energy: Energy) -> str:
    """Wh and percent, with their range."""
    f = review.figures
    if not f.pages:
        return "nothing was recorded"
    if not f.turning_s and not f.turns:
        return ("nothing: all of it was readings for a bench" if f.bench.turns
                else "nothing: the handle rested")
    if not f.energy_out_j:
        return ("nothing: the phone was never connected" if not f.connected_s
                else "nothing, though the phone was connected")
    percent = review.estimate("percent")
    if percent is None or not math.isfinite(percent.value):
        out = review.estimate("energy_out")
        return f"{energy.text(f.energy_out_wh)} to the phone ({shown(out, energy)[1]})"
    value, reach = shown(percent, energy)
    return f"{energy.text(f.energy_out_wh)}, {value} of the phone's battery ({reach} %)"


def _cost(review: Any) -> str:
    f = review.figures
    turned = f"{number(f.turns, 3 if f.turns >= 100 else 2)} turns in {duration(f.turning_s)}"
    power, work = review.estimate("arm_power"), review.estimate("arm_work")
    if power is None:
        return f"{turned} of turning"
    arm = f"{turned}; the arm gave {number(power.value, 2)} W, {number(work.value, 2)} kJ"
    keeps = ""
    if review.arm_keeps_w is not None:
        low, _, high = review.arm_keeps_w
        keeps = f" (so long it keeps {number(low, 2)} to {number(high, 2)} W)"
    return _first_that_fits([arm + keeps], arm, ROOM)


def _machine(review: Any) -> str:
    parts = [*_faults(review.figures), *_other_rig(review),
             *learned.brief(review.learned, ROOM, steady=False), *_against_itself(review),
             *learned.brief(review.learned, ROOM, steady=True), *_against_model(review)]
    parts = parts or ["too little of it was steady to compare"]
    said = parts[0]
    for part in parts[1:]:
        if len(said) + len(part) + 2 <= ROOM:
            said += f"; {part}"
    return said


def _other_rig(review: Any) -> list[str]:
    if not review.other_rig:
        return []
    if review.other_rig == review.rig:
        return ["the rig file is not as it was flashed"]
    return [f"held against {review.other_rig}, not the rig flashed"]


def _faults(f: Any) -> list[str]:
    if not f.faults and not f.faults_by_name:
        return []
    kinds = ", ".join(FAULT.get(name, name) for name in f.faults_by_name if name != "none")
    count = max(f.faults, sum(f.faults_by_name.values()))
    return [("1 fault" if count == 1 else f"{count} faults") + (f": {kinds}" if kinds else "")]


def _against_itself(review: Any) -> list[str]:
    """The figure that stands out most, or that none does."""
    if not review.history:
        return []
    for verdict in ("worse", "better"):
        for past in review.history:
            if past.verdict == verdict:
                return [f"{verdict} than usual: {PAST[past.name]} "
                        f"{past_value(past.value, past.unit)}, usually {number(past.median)}"]
            if past.trend == verdict:
                return [f"getting {verdict} outing by outing: {PAST[past.name]} "
                        f"{past_value(past.value, past.unit)}"]
    count = max(past.count for past in review.history)
    if all(past.verdict == "too few" for past in review.history):
        return ["too few outings to compare"]
    return [f"as in its last {count} outings"]


def _against_model(review: Any) -> list[str]:
    power = next((c for c in review.expected if c.name == "power_in"), None)
    if power is None:
        return [] if review.rig_source else ["no rig file known (--rig RIG)"]
    if power.verdict == "as expected":
        return [f"{number(power.measured)} W in, as the model expects"]
    return [f"{number(power.measured)} W in, the model expects {number(power.low, 2)} to "
            f"{number(power.high, 2)}"]


def _change(review: Any) -> str:
    if not review.findings:
        return "nothing that this outing shows"
    first = review.findings[0]
    said = review_findings.said(first, energy_unit(review)).head
    gain = review_findings.short_gain(first)
    return _first_that_fits([f"{said} ({gain})"] if gain else [], said, ROOM)


def _more(review: Any) -> str:
    """What must not be missed, and where the rest is."""
    told = []
    if review.unfinished:
        told.append("the pull was broken off: pull again")
    if review.latest_brought_none:
        told.append("the last pull brought nothing new")
    if review.latest_rested:
        told.append("the last pull brought no turning")
    if review.figures.bench.pages:
        told.append(f"{duration(review.figures.bench.on_s)} of a bench left out")
    if review.figures.damaged_pages:
        told.append(f"{review.figures.damaged_pages} damaged pages left out")
    if review.figures.missing_pages:
        told.append(f"{review.figures.missing_pages} pages missing")
    if not told:
        return command(review)
    whole = [f"{'; '.join(told[:count])}: {command(review)}" for count in range(len(told), 0, -1)]
    return next((said for said in whole if len(said) <= ROOM), whole[-1])


def command(review: Any) -> str:
    """The whole review's command, with every choice that was made, to be given to a shell."""
    given = ["steadyturn", "review", "--more"]
    for word in review.choices:
        given.append(shown_path(word) if given[-1] == "--rig" else word)
    if review.library != default_folder():
        given += ["--library", str(review.library)]
    return shlex.join(given)


def _first_that_fits(candidates: Iterable[str], otherwise: str, room: int) -> str:
    return next((said for said in candidates if len(said) <= room), otherwise[:room])

