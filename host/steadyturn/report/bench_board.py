"""The words of a bench by the machine's own board: before it, during it, what came of it."""

from __future__ import annotations

import math
import sys
from typing import Any, TextIO

from steadyturn import cautions
from steadyturn.report import bench, words
from steadyturn.report.style import columns, duration, item, number, table, wrap

LOADS = {"none": "open", "device": "loaded", "both": "both loads", "second": "second load"}
_TO_DO = {"turn": "turn the handle", "steady": "until it is steady", "connect": "connecting",
          "measure": "measuring", "taken": "taken", "stepped": "taken",
          "jerked": "the arm jerked, once more", "again": "not steady, once more",
          "skipped": "left out"}
_REFUSED = {
    "few": "there were too few samples",
    "small": "the second load changes the current too little",
    "blocked": "before the step no current flowed that would keep the diodes open: leave a "
    "resistor at the output",
    "slow": "the bus capacitor is too slow beside the motors' ohms (above 10 ms)",
    "unsteady": "the pace was too unsteady", "structured": "the volts moved in a way that the "
    "model has not, as from a ripple or a loose contact"}
_NO_STEP = {
    "no_second_load": "the board has no second load", "released": "the load was not connected",
    "no_current": "no current was read", "too_low": "the volts would have come near where the "
    "load is let go: turn faster", "too_much": "the current would have come near its limit",
    "no_capacitor": "the settings have no bus capacitor", "too_soon": "too soon after the last",
    "no_volts": "the bus has no volts", "chip": "the sensor did not take the fast set-up",
    "protection": "the board protected itself", "sensor_lost": "the sensor was lost a moment"}


def opening(made: Any) -> str:
    """What is said before it begins: cautions, what to connect, which paces."""
    rig = made.rig
    plan = made.plan
    lines = [wrap(f"Measuring {rig.name} with its own board {made.board[-6:]} on {made.port}: "
                  f"{len(plan)} steps, about {duration(sum(one.seconds for one in plan))}."), ""]
    lines += [item(text, mark="! ", indent="") for text in (
        "No phone: unplug whatever charges. At the output a resistor that the converter bears "
        f"(10 to 15 ohm, 5 W or more at {number(rig.converter.out_v)} V), or nothing: then less "
        "is told. It gets hot.",
        "Each pace lies inside the band, where nothing is above its rating; faster is not better.",
        *cautions.short("gears")[:2])]
    lines.append("")
    paces = sorted({one.pace_tpm for one in plan})
    flashes = "" if made.turn_sensor else (
        " Without a turn sensor your pace is all that tells k: the handle should be at the same "
        "place at each flash.")
    beats = ", ".join(f"{pace:.0f}" for pace in paces)
    lines.append(wrap(f"The lamp beats {beats} turns/min, one after the other: turn with it, "
                      f"evenly, until the next.{flashes} The motors should have lain an hour "
                      "where you are, and be cold."))
    return "\n".join(lines) + "\n"


def line(now: Any, width: int = 79) -> str:
    """One line of what is now."""
    order = now.order
    turn = {1.0: "a turn a flash", 0.5: "half a turn a flash", 2.0: "two turns a flash"}.get(
        now.turns_a_flash, f"{now.turns_a_flash:g} turns a flash")
    what = "step" if order.kind == "step" else LOADS[order.load]
    place, pace = f"{now.number}/{now.count}", f"{order.pace_tpm:.0f}/min"
    do = _TO_DO[now.state]
    if now.state in ("connect", "skipped", "again") and now.why not in ("", "none"):
        do += ": " + _why(now)
    if now.state == "measure":
        do += f", {now.left_s:.0f} s"
    seen = f"{now.volts:.2f} V {now.amps:.2f} A"
    if now.pace_seen_tpm is not None:
        seen += f" ~{now.pace_seen_tpm:.0f}/min"
    full = f"{place} {what} at {pace} ({turn}): {do}  {seen}"
    for text in (f"{full}  [{duration(now.all_left_s)} left]", full,
                 f"{place} {what} at {pace}: {do}  {seen}", f"{place} {pace}: {do}  {seen}"):
        if len(text) <= width:
            return text
    text = f"{place} {pace}  {seen}  {do}"
    return text if len(text) <= width else text[: width - 2].rpartition(" ")[0] + " .."


def _why(now: Any) -> str:
    if now.order.kind == "step":
        return _NO_STEP.get(now.why, now.why)
    if now.why in ("protection", "sensor_lost", "no_second_load"):
        return _NO_STEP[now.why]
    return words.REASON.get(now.why, now.why)


class Live:
    """Called with each moment: a line that is written over at a terminal, else one for each
    change of state."""

    def __init__(self, quiet: bool = False, out: TextIO | None = None) -> None:
        self._out = out or sys.stderr
        self._quiet = quiet
        self._moving = self._out.isatty()
        self._shown = 0
        self._last: tuple[Any, ...] = ()

    def __call__(self, now: Any) -> None:
        if self._quiet:
            return
        state = (now.number, now.state, now.why)
        keeps = now.state in ("taken", "stepped", "skipped", "again", "jerked")
        if self._moving:
            text = line(now, columns() - 1)
            self._write("\r" + text.ljust(self._shown) + ("\n" if keeps else ""))
            self._shown = 0 if keeps else len(text)
        elif state != self._last:
            self._write(line(now, 100) + "\n")
        self._last = state

    def end(self) -> None:
        if self._shown:
            self._write("\n")
            self._shown = 0

    def _write(self, text: str) -> None:
        self._out.write(text)
        self._out.flush()


def would(done: Any) -> str:
    """What a yes would write."""
    kept = "" if not done.kept else (
        f" Left as it is: {', '.join(done.kept)}; what the file has is narrower and agrees.")
    if not done.tells:
        return wrap(f"Nothing would be written.{kept}")
    return wrap(f"To be written as measured: {', '.join(done.tells)}.{kept}")


def written(answer: Any) -> str:
    """What was written after a yes."""
    done = answer.bench
    if not done.written:
        return wrap("Nothing was written: these readings tell nothing that the file has not."
                    ) + "\n"
    kept = " What stood there before is kept above each as a comment." if done.replaced else ""
    return (wrap(f"Written to {done.file} as measured: {', '.join(done.written)}.{kept}")
            + f"\n\nnext: {done.next[0]}\n  then: steadyturn flash {done.file}\n")


def text(answer: Any, asks: bool = False) -> str:
    """The constants as of readings by hand, before that how they came about, and whether this is
    the machine that was meant. asks: whether to write them is asked next."""
    lines = [wrap(f"{answer.plateaus} plateaus in {answer.minutes:.1f} minutes, the pace "
                  + ("by the turn sensor." if answer.pace_by == "turn_sensor" else
                     "by the lamp's beat: k is known no better than it was followed.")
                  + (f" {answer.skipped} could not be taken." if answer.skipped else ""))]
    lines += _step(answer)
    lines += _meant(answer.meant)
    lines += ["", bench.text(answer.bench, ends=not asks, by_board=True).rstrip("\n")]
    if asks:
        lines += ["", would(answer.bench)]
    return "\n".join(lines) + "\n"


def _step(answer: Any) -> list[str]:
    step = answer.step
    if step is None:
        return [wrap("No load step: the ohms come from the plateaus alone. A second load "
                     "(hardware/turn_and_load.md) would tell them several times better.")]
    if step.refused:
        return [wrap(f"The load steps tell no ohms: {_REFUSED[step.refused]}.")]
    half = 100 * (step.high_ohm - step.low_ohm) / 2 / step.ohm
    return [wrap(f"Load step, {step.bursts} burst{'s' if step.bursts > 1 else ''} from "
                 f"{number(step.from_a)} to {number(step.to_a)} A: the motors' row has "
                 f"{number(step.ohm)} ohm, within {number(half, 2)} %; the bus capacitor "
                 f"{number(1e6 * step.capacitor_f)} uF; together {1000 * step.lag_s:.1f} ms.")]


def _meant(meant: tuple[Any, ...]) -> list[str]:
    if not meant:
        return []
    rows = [(bench.NAMES[one.key], number(one.meant, 4), number(one.measured, 4),
             f"{one.percent:+.1f} %", bench.UNITS[one.key],
             "" if one.agrees else "differs") for one in meant]
    lines = ["", "Is it the machine you meant?", table(
        rows, ("one motor", "rig file", "measured", "", "unit", ""), right=(1, 2, 3))]
    odd = [one for one in meant if not one.agrees]
    if not odd:
        return [*lines, wrap("Nothing speaks against it.")]
    return [*lines, wrap(_odd(odd))]


def _odd(odd: list[Any]) -> str:
    by = {one.key: one for one in odd}
    k = by.get("emf_v_per_krpm")
    if k is not None and abs(math.log2(max(k.measured, 1e-9) / k.meant)) > 0.8:
        return ("k is off by a factor: was it one turn a flash? Another number of motors, another "
                "ratio, or a gear that slips would look like this too.")
    if k is not None:
        return ("It is another motor, another magnet, or another ratio than the rig file has; "
                "with a lamp's beat, perhaps another pace. Written, the band moves with it.")
    return "Wires, joints and brushes add ohms; written, the band moves with them."


def kept(path: Any, rig: Any, ended: bool) -> str:
    """Where the readings are. ended: before all were taken."""
    again = f"'steadyturn bench {rig} --readings {path}' reckons with them"
    if ended:
        return wrap(f"The readings so far are in {path}: {again} alone. A new start measures from "
                    "the first step.")
    return wrap(f"The readings are in {path}: {again} again.")
