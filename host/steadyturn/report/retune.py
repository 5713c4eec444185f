"""What `retune` shows: two machines side by side, what else must change, and how it ended."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from steadyturn.model.hazards import AFTER_A_FAULT
from steadyturn.report import correction_words, retune_use
from steadyturn.report import flash as on_flash
from steadyturn.report.limit_names import NAME, clash_line
from steadyturn.report.paceband import short
from steadyturn.report.style import columns, item, number, quantity, shown_path, table, wrap

# settings that a maker knows, in their words: name, words, unit, how many of it make one
SETTINGS = (
    ("connect_mv", "phone connected from", "V", 1000),
    ("release_mv", "released below", "V", 1000),
    ("over_mv", "released above", "V", 1000),
    ("over_ma", "released above", "A", 1000),
    ("over_dtpm", "slow down shown above", "turns/min", 10),
    ("rest_dtpm", "rest shown below", "turns/min", 10),
)
WALKS = ("restore", "forward")
CONSTANTS = "the motor's constants"  # as jobs.retune_compare says it
HEADS = {"retune": "another machine", "restore": "back to the machine from before",
         "forward": "forward again to the machine from after",
         "from_use": "the band that outings show"}


def plan_text(plan: Any) -> str:
    """All that would change (see jobs.retune.Retuned)."""
    lines = [wrap(f"{plan.rig}: {HEADS[plan.kind]}, in {shown_path(plan.file)}"), ""]
    if plan.use is not None:
        lines += [*retune_use.lines(plan.use), ""]
    elif plan.swaps:
        lines += [table([(s.what, s.before, s.after + (f" ({shown_path(s.where)})" if s.where
                                                       else "")) for s in plan.swaps],
                        ("what", "old", "new")), ""]
    compared = plan.compared
    if compared is not None:
        lines += [*_beside(compared.before, compared.after), *_guessed(compared)]
        lines += [*_remedies(compared), *_musts(compared, plan.kind), *_settings(compared)]
    if plan.notes and plan.outcome != "impossible":
        lines += ["", *(item(note) for note in plan.notes)]
    if plan.flashed is not None:
        lines += ["", *_board(plan.flashed)]
    elif plan.board_absent or plan.board_unasked:
        then = (f"'steadyturn check {shown_path(plan.file)}' says what it needs before a board is "
                "set to it." if plan.dangerous else
                f"'steadyturn flash {shown_path(plan.file)}' then sets the board.")
        why = "connected" if plan.board_absent else "asked"
        lines += ["", wrap(f"No board is {why}: only the rig file is prepared; {then}")]
    lines += _dangers(plan)  # last, where the question is
    return "\n".join(lines) + "\n"


def _beside(before: Any, after: Any) -> list[str]:
    def pair(words: str, of: Callable[[Any], str]) -> tuple[str, str, str]:
        return words, of(before), of(after)

    def at(name: str, unit: str) -> Callable[[Any], str]:
        return lambda one: "-" if getattr(one, name) is None else quantity(
            getattr(one, name), unit)

    rows = [
        pair("band, turns/min", _band),
        pair("slow end by", lambda one: NAME.get(one.low_limit, one.low_limit)),
        pair("fast end by", lambda one: NAME.get(one.high_limit, one.high_limit)),
        pair("unloaded, hand runs away", at("open_circuit_v", "V")),
    ]
    if after.low_tpm is not None:
        rows += [
            pair("at the target, unloaded", at("open_at_target_v", "V")),
            pair("  into the converter", at("bus_v", "V")),
            pair("  current into it", at("bus_a", "A")),
            pair("  in each motor", at("motor_a", "A")),
            pair("  torque at the handle", at("crank_nm", "N m")),
            pair("  force at the grip", at("force_n", "N")),
            pair("  the arm gives", at("arm_w", "W")),
            pair("  the device gets", at("out_w", "W")),
            pair("  arm W for each W", lambda one: number(one.arm_w_per_w)),
            pair("    95 % of builds", lambda one: "-" if one.arm_w_per_w_range is None else
                 "-".join(number(x) for x in one.arm_w_per_w_range)),
            pair("works, of 100 builds", lambda one: f"{100 * one.works_share:.0f}"),
            pair("  paces sure for 95", lambda one: "none" if one.sure_low_tpm is None else
                 f"{short(one.sure_low_tpm)}-{short(one.sure_high_tpm)}"),
            pair("the lamp's beat", lambda one: "-" if one.beat_per_min is None else
                 f"{one.beat_per_min:.0f} a minute"),
        ]
    widths = [max(len(row[i]) for row in rows) for i in range(3)]
    if sum(widths) + 6 <= columns():
        return [table(rows, ("", "old", "new"), right=(1, 2))]
    return [item(f"{words.strip()}: {old} -> {new}") for words, old, new in rows]


def _guessed(compared: Any) -> list[str]:
    """That exact figures stand on guesses, where they do."""
    guess = next((m for m in compared.musts if m.what == CONSTANTS), None)
    if guess is None:
        return []
    return ["", item(f"The new figures are for a typical motor of that kind, not for yours: "
                     f"{guess.after}. The rows of builds show how far off they may be.", "! ", "")]


def _band(one: Any) -> str:
    if one.low_tpm is None:
        return "none"
    return "-".join(short(x) for x in (one.low_tpm, one.target_tpm, one.high_tpm))


def _remedies(compared: Any) -> list[str]:
    if not compared.remedies and compared.after.low_tpm is not None:
        return []
    lines = [""]
    if compared.after.low_tpm is None:
        lines.append(wrap(f"NO PACE WORKS with this change. {clash_line(compared.clash)}"))
        if not compared.remedies:
            return [*lines, wrap("No single further change that was tried opens a band: "
                                 "'steadyturn size' looks through all you have.")]
    else:
        lines.append("The new band is narrow.")
    lines[-1] += " What would widen it:" if compared.after.low_tpm is not None else ""
    if compared.after.low_tpm is None:
        lines.append("What would help, mildest first:")
    return lines + [_remedy(one) for one in compared.remedies]


def _remedy(one: Any) -> str:
    broken = [NAME.get(name, name) for name in one.hazards if name not in AFTER_A_FAULT]
    unsafe = f"; NOT SAFE for: {', '.join(broken)}" if broken else ""
    return item(f"{short(one.low_tpm)}-{short(one.high_tpm)} turns/min: {one.change}{unsafe}")


def _musts(compared: Any, kind: str) -> list[str]:
    if not compared.musts and not compared.circuit and not compared.unsettable:
        return []
    lines = ["", "What else must change:"]  # without a band it was said already
    told = any(one.what == "shunt" for one in compared.musts)
    if compared.unsettable and compared.after.low_tpm is not None and not told:
        lines.append(item(f"{compared.unsettable} {compared.how_settable}", mark="! "))
    known = [one for one in compared.musts if kind in WALKS and one.what != "shunt"]
    if known:  # the maker has done it once, the other way round
        lines.append(item("as it was with that machine: "
                          f"{', '.join(one.what for one in known)}."))
    for one in compared.musts:
        if one in known:
            continue
        change = " -> ".join(x for x in (one.before, one.after) if x)
        lines.append(item(f"{one.what}{f', {change}' if change else ''}: {one.why}. "
                          f"{one.how[:1].upper()}{one.how[1:]}."))
    lines += [item(f"{one.words} ({quantity(one.value, one.unit)}, limit "
                   f"{quantity(one.limit, one.unit)})") for one in compared.circuit]
    return lines


def _dangers(plan: Any) -> list[str]:
    if not plan.hazards:
        return []
    head = ("DANGER: the new machine can harm what is connected to it:" if plan.dangerous
            else "Mind: if one more part fails, the new machine can harm what is connected:")
    before = {} if plan.compared is None else {
        h.name: quantity(h.volts, "V") for h in plan.compared.hazards_before}
    lines = ["", wrap(head)]
    for one in plan.hazards:
        now, old = quantity(one.volts, "V"), before.get(one.name)
        said = now if old is None else f"already before: {now}" if old == now else (
            f"already before: {old}, now {now}")
        mark = "NEW  " if old is None and plan.compared is not None else "- "
        lines.append(item(f"{said} where {quantity(one.rating_v, 'V')} is borne: {one.reason}. "
                          f"{one.how}", mark=mark))
    return lines


def _settings(compared: Any) -> list[str]:
    before, after = compared.settings_before, compared.settings_after
    if after is None:
        return []
    before = before or {}
    rows = []
    for name, words, unit, per in SETTINGS:
        old, new = before.get(name), after[name]
        if old != new:
            rows.append((words, "-" if old is None else f"{old / per:.3g} {unit}",
                         f"{new / per:.3g} {unit}"))
    changed = sum(before.get(name) != value for name, value in after.items())
    if not changed:
        return []
    more = changed - len(rows)
    head = "The board's settings, by themselves" + (
        f" (and {more} more: band, machine's constants; --json has all)" if more else "")
    return ["", wrap(head + (":" if rows else ".")),
            *([table(rows, ("", "old", "new"), right=(1, 2))] if rows else [])]


def _board(flashed: Any) -> list[str]:
    """Against what is on the board now."""
    count = len(flashed.settings_changed)
    words = f"{count} settings change" if count else "its settings are so already"
    if flashed.settings_problem:
        words = f"its settings: {flashed.settings_problem}"
    firmware = ("firmware as it is" if flashed.firmware_before == flashed.firmware_after else
                f"firmware {flashed.firmware_before or 'none'} -> {flashed.firmware_after}")
    other = [c.before for c in flashed.settings_changed if c.name == "rig" and c.before]
    return [wrap(f"On the board ({flashed.port}): {words}; {firmware}."),
            *(item(f"It is set for another rig now, '{name}': is it the right board?", mark="! ")
              for name in other),
            *(item(line) for line in correction_words.taken(flashed.corrections))]


# -------------------------------------------------------------------------------- the end


def text(done: Any) -> str:
    """How it ended; for what was never asked about, what there was to see too."""
    file = shown_path(done.file)
    if done.outcome == "same":
        return wrap({"from_use": "The rig file says so already; nothing was changed."}.get(
            done.kind, f"{file} says so already; nothing was changed. 'steadyturn flash {file}' "
            "brings a board up to it.")) + "\n"
    if done.outcome == "too_little":
        return "\n".join([*retune_use.lines(done.use), "", "Nothing was changed."]) + "\n"
    if done.outcome == "impossible":
        return plan_text(done) + "\n" + wrap(
            "So no board can be set to it: nothing was changed.") + "\n"
    if done.outcome == "declined":
        return "Nothing was changed, neither the rig file nor a board.\n"
    if done.outcome == "dry_run":
        return plan_text(done) + "\nDry run: nothing was changed.\n"
    lines = [wrap(f"{file} is written"
                  + (f"; what it said before is in {shown_path(done.kept)}" if done.kept else "")
                  + ".")]
    if done.came_from:
        lines.append(wrap(f"It is restored from {done.came_from}."))
    if done.flashed is None:
        left = "No board was asked" if done.board_unasked else "No board was there"
        step = "check" if done.dangerous else "flash"  # which refuses a dangerous one
        return "\n".join([*lines, wrap(f"{left}. {_back(done, file)}"), "",
                          f"next: steadyturn {step} {file}"]) + "\n"
    ended = on_flash.text(done.flashed)
    return ("\n".join([*lines, wrap(_back(done, file))]) + "\n" + ended)


def _back(done: Any, file: str) -> str:
    if done.kind == "restore":
        return (f"'steadyturn retune {file} --forward' takes this step again; --restore goes on "
                "back, where an older file is kept.")
    return f"'steadyturn retune {file} --restore' goes back."
