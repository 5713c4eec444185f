"""The whole job without hardware: plan, set up, crank, pull, review, and one danger.

Each step is what its public command does: the same job, and the same text. Only the
person is played, and time runs as fast as it goes.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from steadyturn import extras
from steadyturn.errors import Failed
from steadyturn.jobs.flash import flash
from steadyturn.jobs.pace import pace
from steadyturn.jobs.predict import predict
from steadyturn.jobs.pull import pull
from steadyturn.jobs.review import review
from steadyturn.report import demo as screen
from steadyturn.report import flash as flash_report
from steadyturn.report import pace as pace_report
from steadyturn.report import pull as pull_report
from steadyturn.report import review as review_report
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.twin.copies import copy_flash
from steadyturn.twin.glimpse import Glimpse
from steadyturn.twin.person import Person, Plan, Steady
from steadyturn.twin.twin import Twin

GOOD = "lakeside-hut"
DANGEROUS = "dangerous-barn"
SEED = 20
HABIT_TPM = 46.0  # what this person keeps to with nothing to go by
# starts too slow, follows the lamp, overshoots once, rests until the board has lost its
# power, goes on, and stops
PLAN: Plan = (
    (0.0, 38.0), (14.0, "follow"), (75.0, 112.0), (81.0, "follow"), (120.0, "rest"),
    (134.0, "follow"), (200.0, "stop"),
)
OUTING_S = 208.0
HEEDS_S = ((20.0, 75.0), (87.0, 120.0), (140.0, 200.0))  # when the lamp (or the habit) rules
LOOK_S = 0.1
# a steady hand charges at a good pace, then speeds up
EASY_TPM = 48.0
EASY_S = 12.0
HASTE_TPM = 95.0
HASTE_S = 3.0
SPEED_UP = 40.0  # turns/min a second
TICK_S = 0.02
FINE_LOOK_S = 0.001


@dataclass(frozen=True)
class Moment:
    """One look at the handle, the lamp and the phone, for a screen."""

    t_s: float
    pace_tpm: float
    turns: float
    band_tpm: tuple[float, float]
    bus_v: float
    light: float
    lamp: str
    board_on: bool
    connected: bool
    percent: float


@dataclass(frozen=True)
class Danger:
    """The dangerous rig: a hand speeds up to pace_tpm. would_be_v: at the phone in the
    steady state, were nothing released; over_v: bus at which the board releases the load;
    released_after_ms: from the bus passing that to the load's release (None: never);
    peak_v: the most the phone saw; above_limit_ms: how long it saw more than limit_v."""

    rig: str
    pace_tpm: float
    would_be_v: float
    over_v: float
    released_after_ms: float | None
    peak_v: float
    limit_v: float
    above_limit_ms: float


@dataclass(frozen=True)
class Demo:
    """What the demo found; board_* is the journal's word, model_* the physics'. Energies
    in Wh, into the converter (in) and at the phone (out)."""

    rig: str
    port: str | None
    board_in_wh: float
    model_in_wh: float
    difference_percent: float
    board_out_wh: float
    model_out_wh: float
    out_difference_percent: float
    in_band_percent: float
    in_band_without_percent: float
    boots: int
    virtual_s: float
    real_s: float
    habit_tpm: float
    plot: Path | None
    page: Path
    danger: Danger
    not_exercised: tuple[str, ...]


class Screen(Protocol):
    def heading(self, step: str, command: str) -> None: ...
    def say(self, text: str) -> None: ...
    def moment(self, moment: Moment) -> None: ...
    def end_of_outing(self) -> None: ...
    def progress(self, done: int, total: int, what: str) -> None: ...


def demo(show: Screen, *, folder: Path | None = None, seed: int = SEED) -> Demo:
    """Play the whole job; `folder` (default: a new temporary one) keeps the library and
    the plot. Raises Failed as the commands it plays do."""
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        return _play(show, folder, seed)
    kept = Path(tempfile.mkdtemp(prefix="steadyturn-demo-"))
    try:
        return _play(show, kept, seed)
    except BaseException:  # broken off: nothing there is worth keeping
        shutil.rmtree(kept, ignore_errors=True)
        raise


def _play(show: Screen, kept: Path, seed: int) -> Demo:
    began = time.monotonic()
    rig_file = FOLDER / f"{GOOD}.toml"
    rig = read_rig(rig_file)

    show.heading("Plan", f"steadyturn pace {GOOD}")
    band = pace(rig_file)
    show.say(pace_report.brief(band))
    assert band.low_tpm is not None
    assert band.high_tpm is not None
    edges = (band.low_tpm, band.high_tpm)

    with tempfile.TemporaryDirectory(prefix="steadyturn-board-") as scratch:
        image = Path(scratch) / "board.img"
        with Twin(rig, image=image, seed=seed) as twin:
            port, why = twin.port, twin.interpreter.why
            show.heading("Set up", f"steadyturn flash {GOOD}")
            show.say(screen.board_text(port))
            show.say(flash_report.text(_flash(show, rig_file, port or twin.direct, kept)))
        # the same board twice more, for what is played after the outing
        spares = (Path(scratch) / "plain.img", Path(scratch) / "danger.img")
        for spare in spares:
            copy_flash(image, spare)

        # unplugged, at rest, without power: from here on all depends on the seed alone
        with Twin(rig, image=image, seed=seed) as twin:
            show.heading("Crank", "the board alone, no computer")
            show.say(screen.time_text())
            outing = _crank(show, twin, rig, edges, seed, heeds_lamp=True)
            truth = twin.truth
            show.heading("Review", "steadyturn pull; steadyturn review --html FILE")
            show.say(pull_report.text(pull(twin.port or twin.direct, kept / "library")))
        plot = kept / "outing.png" if _can_plot() else None
        page = kept / "outing.html"
        found = review(kept / "library", plot=plot, html=page)
        show.say(review_report.text(found))

        with Twin(rig, image=spares[0], seed=seed) as twin:
            without = _crank(None, twin, rig, edges, seed, heeds_lamp=False)
        show.heading("Danger", f"steadyturn check {DANGEROUS}")
        danger = _danger(show, spares[1], seed)
        show.say(screen.danger_text(danger))

    figures = found.figures
    result = Demo(
        rig=rig.name, port=port,
        board_in_wh=figures.energy_in_wh, model_in_wh=truth.in_j / 3600,
        difference_percent=100 * (figures.energy_in_j / truth.in_j - 1),
        board_out_wh=figures.energy_out_wh, model_out_wh=truth.out_j / 3600,
        out_difference_percent=100 * (figures.energy_out_j / truth.out_j - 1),
        in_band_percent=outing.in_band_percent, in_band_without_percent=without.in_band_percent,
        boots=len({boot.boot for boot in figures.boots if boot.turns}),
        virtual_s=2 * OUTING_S + EASY_S + HASTE_S,
        real_s=time.monotonic() - began, habit_tpm=HABIT_TPM, plot=plot, page=page,
        danger=danger,
        not_exercised=_not_exercised(port, why, plot),
    )
    show.heading("In short", "")
    show.say(screen.closing_text(result))
    return result


class _Outing:
    """Watches one outing: shows it, and counts the time in the band."""

    def __init__(
        self, show: Screen | None, edges: tuple[float, float], person: Person, begin_s: float,
        first: Glimpse,
    ) -> None:
        self.show, self.edges, self.person = show, edges, person
        self.begin_s, self.first = begin_s, first
        self.looks = self.inside = 0

    def look(self, seen: Glimpse) -> None:
        t_s = seen.t_s - self.begin_s
        if any(start <= t_s < end for start, end in HEEDS_S):
            self.looks += 1
            self.inside += self.edges[0] <= seen.pace_tpm <= self.edges[1]
        if self.show is None:
            return
        self.show.moment(Moment(
            t_s=t_s, pace_tpm=seen.pace_tpm, turns=seen.turns, band_tpm=self.edges,
            bus_v=seen.bus_v, light=seen.light, lamp=self.person.watcher.cue(seen.t_s),
            board_on=seen.board_on, connected=seen.connected,
            percent=seen.percent - self.first.percent,
        ))

    @property
    def in_band_percent(self) -> float:
        return 100 * self.inside / max(self.looks, 1)


def _crank(
    show: Screen | None, twin: Twin, rig: Rig, edges: tuple[float, float], seed: int, *,
    heeds_lamp: bool,
) -> _Outing:
    begin_s = twin.t_s
    plan = tuple((begin_s + t_s, intention) for t_s, intention in PLAN)
    person = Person(rig, seed, heeds_lamp, HABIT_TPM, plan)
    outing = _Outing(show, edges, person, begin_s, twin.glimpse())
    twin.person = person
    twin.run(OUTING_S, outing.look, LOOK_S)
    twin.person = None
    if show is not None:
        show.end_of_outing()
    return outing


def _flash(show: Screen, rig_file: Path, reach: Any, kept: Path) -> Any:
    def confirm(plan: Any) -> bool:
        show.say(flash_report.plan_text(plan))
        return True

    return flash(rig_file, port=reach, confirm=confirm, progress=show.progress,
                 library=kept / "library")


def _danger(show: Screen, image: Path, seed: int) -> Danger:
    """Charge at a good pace on the dangerous rig, then speed up; the board must release."""
    rig_file = FOLDER / f"{DANGEROUS}.toml"
    rig = read_rig(rig_file)
    limit_v = rig.load.max_v
    seen: list[Glimpse] = []
    with Twin(rig, image=image, seed=seed) as twin:
        done = _flash_quietly(rig_file, twin.port or twin.direct)
        over_v = next(c.after for c in done.settings_changed if c.name == "over_mv") / 1000
    # unplugged and begun anew, so that no time of the set-up is left in it
    with Twin(rig, image=image, seed=seed) as twin:
        begin_s = twin.t_s
        hand = Steady(0.0)
        twin.person = hand

        def ease(now: Glimpse) -> None:
            hand.pace_tpm = min(EASY_TPM, SPEED_UP * (now.t_s - begin_s))

        def hurry(now: Glimpse) -> None:
            seen.append(now)
            late_s = now.t_s - begin_s - EASY_S
            hand.pace_tpm = min(HASTE_TPM, EASY_TPM + SPEED_UP * late_s)

        twin.run(EASY_S, ease, TICK_S)
        if not twin.glimpse().connected:
            raise Failed(f"With seed {seed} nobody charges at the moment of danger.",
                         "Choose another --seed.")
        twin.run(HASTE_S, hurry, FINE_LOOK_S)
        passed = next((g.t_s for g in seen if g.bus_v >= over_v), None)
        after_s = None if passed is None else twin.truth.released_after_s(passed)
    return Danger(
        rig=rig.name, pace_tpm=HASTE_TPM, would_be_v=predict(rig_file, HASTE_TPM).out_v,
        over_v=over_v, released_after_ms=None if after_s is None else after_s * 1000,
        peak_v=max(g.out_v for g in seen), limit_v=limit_v,
        above_limit_ms=1000 * FINE_LOOK_S * sum(g.out_v > limit_v for g in seen),
    )


def _flash_quietly(rig_file: Path, reach: Any) -> Any:
    return flash(rig_file, port=reach, confirm=lambda plan: True, anchor=False)


def _can_plot() -> bool:
    import importlib.util

    return importlib.util.find_spec("matplotlib") is not None


def _not_exercised(port: str | None, why: str, plot: Path | None) -> tuple[str, ...]:
    """What this machine could not show."""
    missing = []
    if port is None:
        missing.append(
            f"MicroPython, its littlefs and the serial port: the firmware ran on CPython ({why})"
        )
    if plot is None:
        missing.append("the plot: matplotlib is not installed ("
                       f"{extras.install('plots')})")
    return tuple(missing)
