"""The built machine measured by its own board: plateaus at the paces that the lamp beats, and
bursts round a load step; what comes out is a file of readings as from a bench by hand."""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Iterator
from pathlib import Path

from steadyturn_fw import bench_frames as layout
from steadyturn_fw import pages

from steadyturn.bench import step
from steadyturn.board import bench as words
from steadyturn.board.connect import Board, Direct, connect
from steadyturn.board.link import NotUnderstood
from steadyturn.board.stream import Gone
from steadyturn.errors import Failed
from steadyturn.jobs import bench_meet
from steadyturn.jobs.bench_evening import Evening, Moment
from steadyturn.jobs.bench_plan import MEASURE_S, Order
from steadyturn.jobs.bench_readings import EMF, machine, plateau_of
from steadyturn.jobs.bench_warmth import Warmth
from steadyturn.model.band import find_band
from steadyturn.rig.file import read_rig

LOOK_S = 0.5
PATIENCE_S = 45.0  # for a pace to become steady, the load to be connected
NOBODY_S = 30.0  # without any volts to speak of: nobody turns
TURNING = 0.25  # of the volts that the pace should give
STEADY = 0.06  # so far the volts of two seconds may go up and down, of their mean
SWAYED = 0.10  # a plateau whose pace wandered more (standard deviation) is taken again,
AGAIN = 3  # so often
STEP_TRIES = 6
JERKED = 1.3  # what a burst's fit may leave, in times the noise: chance gives 1.15; else the arm
# jerked within it, and there is another
PROTECTED = 6  # so often may the board end it to protect itself; each time it begins again
CALM_S = 2.0  # after that
ENOUGH = 4  # plateaus from which on the rest may be left out
TOLERANCE = 0.03  # of the pace, with a turn sensor: there the lamp may guide
HOPELESS = frozenset({layout.STEP_NO_SECOND_LOAD, layout.STEP_TOO_LOW, layout.STEP_TOO_MUCH,
                      layout.STEP_NO_CAPACITOR, layout.STEP_CHIP})


class NoSuchLoad(Exception):
    """The board knows the bench, but has not what an order's load needs."""


class Clock:
    """The world's; tests have one of their own."""

    def now(self) -> float:
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


@contextlib.contextmanager
def evening(
    rig_path: Path, port: str | Direct | None = None, *, room_c: float = 20.0, slots: int = 0,
) -> Iterator[tuple[Evening, Board]]:
    """A board that runs this rig's settings and knows the bench; at the end, however it comes,
    the bench is ended there. Raises Failed: no board, another one's settings, a firmware of
    before."""
    rig = read_rig(rig_path)
    band = find_band(rig, deep=False)
    with connect(port) as board:
        made = bench_meet.meet(board, rig, band, rig_path)
        made.room_c, made.slots = room_c, slots
        try:
            yield made, board
        finally:
            with contextlib.suppress(Failed):
                words.end(board.link)


def run(made: Evening, board: Board, clock: Clock | None = None) -> Iterator[Moment]:
    """All orders, one after the other, a moment each half second; what is taken stands in
    `made`. Raises Failed where the board goes, ends the bench, or nobody turns."""
    one = _Run(made, board, clock or Clock())
    began = one.clock.now()
    try:
        yield from one.all()
    except NotUnderstood as old:
        raise Failed("The firmware on the board does not know the bench: it is from before.",
                     "'steadyturn flash RIG' brings it up to date.") from old
    except Gone as gone:
        raise Failed(gone.what, "Plug it in and begin again: it starts with the first step."
                     ) from gone
    finally:
        made.seconds = one.clock.now() - began


class _Run:
    def __init__(self, made: Evening, board: Board, clock: Clock) -> None:
        self.made, self.link, self.clock = made, board.link, clock
        self.emf = EMF(made.rig)
        self.warmth = Warmth(made.rig)
        self.number = 0
        self.pace_before = 0.0
        self.protected = 0

    def all(self) -> Iterator[Moment]:
        for number, order in enumerate(self.made.plan, 1):
            self.number = number
            for again in range(AGAIN + 1):
                last = again == AGAIN
                try:
                    yield from (self._step(order) if order.kind == "step"
                                else self._plateau(order, last=last))
                except words.Protected as ended:
                    self.protected += 1
                    if self.protected > PROTECTED:
                        if len(self.made.taken) < ENOUGH:
                            raise
                        self.made.skipped += len(self.made.plan) - number + 1
                        return  # what is there tells something
                    self.clock.sleep(CALM_S)
                    last = last or again >= 1  # it would come again
                    yield self._left_out(order, words.look(self.link), last, ended.reason)
                except NoSuchLoad:
                    none = _step_name(layout.STEP_NO_SECOND_LOAD)
                    yield self._left_out(order, words.look(self.link), True, none)
                if self._done:
                    break

    # ---- plateaus

    def _plateau(self, order: Order, *, last: bool) -> Iterator[Moment]:
        self._done = False
        yield from self._ready(order)
        if self._done:
            return
        said = self._order(order)
        end = self.clock.now() + MEASURE_S
        warm_k = self.warmth.warm_k
        seen: list[tuple[int, int, int]] = [(0, 0, 0)]
        while True:
            self.clock.sleep(LOOK_S)
            said = self._look()
            seen.append((said["count"], said["mv_sum"], said["ma_sum"]))
            left = end - self.clock.now()
            if not self._joined(order, said):  # the board let it go meanwhile
                yield self._left_out(order, said, last, self._why(said))
                return
            if left <= 0:
                break
            yield self._moment(order, "measure", said, left)
        warm_k = (warm_k + self.warmth.warm_k) / 2
        found = plateau_of(self.made.rig, self.emf, order, said, seen, warm_k)
        if found is None or (found.sway > SWAYED and not last):
            yield self._left_out(order, said, last)
            return
        self.made.taken.append(found)
        self.pace_before, self._done = order.pace_tpm, True
        yield self._moment(order, "taken", said, 0.0)

    def _left_out(self, order: Order, said: words.Bench, last: bool, why: str = "") -> Moment:
        """A plateau that came to nothing: once more, or for good."""
        self._done = last
        self.made.skipped += last
        return self._moment(order, "skipped" if last else "again", said, 0.0, why)

    def _ready(self, order: Order) -> Iterator[Moment]:
        """Until the pace is there and steady, and the load as ordered; _done where it cannot."""
        said = self._order(order)
        begin = last_turned = self.clock.now()
        while True:
            self.clock.sleep(LOOK_S)
            said = self._look()
            now = self.clock.now()
            left = order.seconds
            if said["now_mv"] / 1000 >= TURNING * self.emf.open_v(order.pace_tpm):
                last_turned = now
            if now - last_turned > NOBODY_S:
                raise Failed(f"The bus has hardly any volts since {NOBODY_S:.0f} s: the handle "
                             "does not turn.", "Turn as the lamp beats; a new start begins "
                             "with the first step.")
            joined = self._joined(order, said)
            if now > last_turned:
                state = "turn"
            elif not joined:
                state = "connect"
            elif not self._steady(said):
                state = "steady"
            else:
                return
            yield self._moment(order, state, said, left, "" if joined else self._why(said))
            if now - begin > PATIENCE_S and now == last_turned:
                if not joined:
                    yield self._left_out(order, said, True, self._why(said))
                return  # it is as steady as it gets; its sway says so

    def _steady(self, said: words.Bench) -> bool:
        volts = [mv / layout.BLOCK_TICKS for mv, _ in said.blocks[-4:]]
        return len(volts) == 4 and max(volts) - min(volts) <= STEADY * max(volts)

    def _joined(self, order: Order, said: words.Bench) -> bool:
        device = order.load in ("device", "both")
        second = order.load in ("both", "second")
        return bool(said["connected"]) >= device and bool(said["second"]) >= second

    # ---- steps

    def _step(self, order: Order) -> Iterator[Moment]:
        self._done = False
        if self.pace_before != order.pace_tpm or not self._joined(order, self._look()):
            yield from self._ready(order)
            if self._done:
                return
            self.pace_before = order.pace_tpm
        reason = 0
        for _ in range(STEP_TRIES):
            self.clock.sleep(1.2)  # another moment of the turn; and the chip is back
            said = words.step(self.link)
            self._alive(said)
            reason = said["step_why"]
            if reason == layout.STEP_DONE:
                samples = words.samples(self.link)
                if samples is not None and samples.reason == 0:
                    found = bench_meet.burst(samples, self._pace(said) or order.pace_tpm)
                    self.made.warm_k.append(self.warmth.warm_k)
                    alone = step.fit([found], machine(self.made.rig))
                    if alone.refused or alone.left > JERKED:
                        self.made.jerked.append(found)
                        yield self._moment(order, "jerked", said, order.seconds, alone.refused)
                        continue
                    self.made.bursts.append(found)
                    self._done = True
                    yield self._moment(order, "stepped", said, 0.0)
                    return
            if reason in HOPELESS:
                break
            yield self._moment(order, "steady", said, order.seconds, _step_name(reason))
        yield self._left_out(order, said, True, _step_name(reason))

    # ---- pieces

    def _order(self, order: Order) -> words.Bench:
        dtpm = round(10 * order.pace_tpm)
        tolerance = round(TOLERANCE * dtpm) if self.made.turn_sensor else 0
        try:
            return self._alive(words.order(self.link, dtpm, tolerance, order.code))
        except NotUnderstood as refused:
            words.look(self.link)  # a firmware of before does not understand this either
            raise NoSuchLoad from refused

    def _look(self) -> words.Bench:
        said = self._alive(words.look(self.link))
        self.warmth.passed(self.clock.now(), said["now_ma"] / 1000, self._pace(said) or 0.0)
        return said

    def _alive(self, said: words.Bench) -> words.Bench:
        if not said["on"]:
            raise words.ended(said)
        return said

    def _pace(self, said: words.Bench) -> float | None:
        """By the rig's constants, of the newest volts; None while nothing flows."""
        volts, amps = said["now_mv"] / 1000, said["now_ma"] / 1000
        return self.emf.pace_tpm(volts, amps) if volts > 0.5 else None

    def _why(self, said: words.Bench) -> str:
        code = said["why"]
        return pages.REASONS[code] if code < len(pages.REASONS) else f"code {code}"

    def _moment(self, order: Order, state: str, said: words.Bench, left: float,
                why: str = "") -> Moment:
        plan = self.made.plan
        beat_s = said["beat_ms"] / 1000
        flash = order.pace_tpm / 60 * beat_s if beat_s else 1.0
        return Moment(
            self.number, len(plan), order, state, said["now_mv"] / 1000, said["now_ma"] / 1000,
            self._pace(said), 2.0 ** round(math.log2(flash)) if flash > 0 else 1.0,
            max(left, 0.0), max(left, 0.0) + sum(one.seconds for one in plan[self.number:]), why)


def _step_name(code: int) -> str:
    return layout.STEP_REASONS[code] if code < len(layout.STEP_REASONS) else f"code {code}"
