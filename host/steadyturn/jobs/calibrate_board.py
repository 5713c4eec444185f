"""The board's side of a calibration: reaching one that runs, its live readings averaged, a
correction written onto it."""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from steadyturn_fw import frames

from steadyturn.board import update
from steadyturn.board.connect import START_S, Board, Direct, connect
from steadyturn.board.files import put, read_or_none
from steadyturn.board.link import Who
from steadyturn.board.stream import Gone
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.flash import InForce, ask_board
from steadyturn.settings import corrections_before
from steadyturn.settings.file import Settings, decode, encode

MEAN_S = 2.4
BLOCK_S = 0.4  # a multimeter's own time for a reading, common practice
EVERY_S = 0.02  # a tick: no reading is new sooner
UNSTEADY = 0.01  # of the mean: more is called unsteady
LEAST_HZ = 5.0  # readings a second: with fewer the line is too slow to average over
FLASH = "'steadyturn flash RIG' brings the board up to date."


@dataclass(frozen=True)
class Reached:
    """A running board with settings in force. raw: their bytes."""

    board: Board
    who: Who
    settings: Settings
    raw: bytes


@dataclass(frozen=True)
class Mean:
    """Of some seconds, V and A. wandered: of means over BLOCK_S, one standard deviation; steady:
    it hardly did. volts, amps, out_volts, out_amps: the means of all, None where not known."""

    value: float
    wandered: float
    steady: bool
    count: int
    seconds: float
    volts: float | None
    amps: float | None
    out_volts: float | None
    out_amps: float | None


_OF = {"volts": ("bus_mv", frames.NOW_VOLTS), "amps": ("bus_ma", frames.NOW_AMPS),
       "out_volts": ("out_mv", frames.NOW_OUT), "out_amps": ("out_ma", frames.NOW_OUT)}


@contextlib.contextmanager
def reach(port: str | Direct | None) -> Iterator[Reached]:
    """The board, running. Raises Failed where there is none, or none with settings in force."""
    with connect(port) as board:
        who = board.link.wait(START_S)
        state = board.link.state()
        if state["settings_ok"] != 1:
            raise Failed(
                "The board has no settings in force." if not state["settings_ok"] else
                "The board refused its newest settings and runs those from before.", FLASH)
        raw = board.link.settings()
        try:
            settings = decode(raw)
        except WrongInput:
            raise Failed("The board's settings are those of another version of this program.",
                         FLASH) from None
        yield Reached(board, who, settings, raw)


def measure(at: Reached, name: str, seconds: float = MEAN_S,
            tell: Callable[[float, float], None] | None = None) -> Mean:
    """The mean of what the board reads of `name` over some seconds. tell: called with each
    reading, V or A, and the seconds that are left. Raises Failed."""
    bit = _OF[name][1]
    found: dict[str, list[float]] = {one: [] for one in _OF}
    times: list[float] = []
    last = -1
    start = time.monotonic()
    while (since := time.monotonic() - start) < seconds:
        now = at.board.link.now()
        if now["t_ms"] != last:
            last = now["t_ms"]
            if not now["known"] & bit:
                raise Failed("The board does not get this reading from its sensor.",
                             "Its lamp counts the fault; 'steadyturn watch' shows it.")
            if now["known"] & frames.NOW_END:
                raise Failed("A reading of the board stands at the end of its range.",
                             "Go to a lower voltage or current, and begin again.")
            times.append(since)
            for one, (field, known) in _OF.items():
                if now["known"] & known:
                    found[one].append(now[field] / 1000)
            if tell is not None:
                tell(found[name][-1], seconds - since)
        time.sleep(EVERY_S)
    if len(times) < max(LEAST_HZ * seconds, 2):
        raise Failed(f"The board gave only {len(times)} readings in {seconds:g} s.",
                     "Another program may use its port, or it is restarting: try again.")
    return _mean(found, name, times, seconds)


def _mean(found: dict[str, list[float]], name: str, times: list[float], seconds: float) -> Mean:
    blocks: dict[int, list[float]] = {}
    for at, value in zip(times, found[name], strict=True):
        blocks.setdefault(int(at / BLOCK_S), []).append(value)
    means = [sum(one) / len(one) for one in blocks.values()]
    middle = sum(means) / len(means)
    wandered = math.sqrt(sum((m - middle) ** 2 for m in means) / max(len(means) - 1, 1))
    count = len(times)
    value = sum(found[name]) / count
    every = {one: sum(values) / count if len(values) == count else None
             for one, values in found.items()}
    return Mean(value, wandered, wandered <= max(UNSTEADY * abs(value), 0.002), count, seconds,
                every["volts"], every["amps"], every["out_volts"], every["out_amps"])


def write(at: Reached, settings: Settings, before: list[dict[str, object]] | None) -> InForce:
    """Put settings on the board, read them back, have it start. before: the corrections to keep
    for an undo, None: as they are. A power cut at any moment leaves the old ones or the new ones
    in force. Raises Failed."""
    data = encode(settings)
    board = at.board
    try:
        files = board.files
        if read_or_none(files, update.SETTINGS) != at.raw:
            raise Failed("The settings on the board are no longer those that were read.",
                         "Another program has written them: begin again.")
        if before is not None:  # first: what it holds beside is passed over by an undo
            put(files, corrections_before.FILE, corrections_before.encode(before))
        difference = update.settings_alone(files, data)
        update.apply(files, data, difference)
        if read_or_none(files, update.SETTINGS) != data:
            raise Failed("Read back after writing, the settings are not what was sent.",
                         "Run the same command again.")
    except Failed as failed:
        raise _left(board, failed) from failed
    board.restart()
    return ask_board(board, data, written=True)


def _left(board: Board, failed: Failed) -> Failed:
    """The failure, and how the board is left."""
    how = f"{failed.how} The board runs with the correction it had, or with the new one: " \
          "'steadyturn calibrate --show' tells."
    with contextlib.suppress(Gone):
        try:
            board.restart()
        except Gone:
            raise
        except Failed:
            how = f"Unplug the board and plug it in. {how}"
    return Failed(failed.what, how.strip())


def before_of(at: Reached) -> list[dict[str, object]]:
    """The corrections that the board had before; the program on it is stopped for that."""
    return corrections_before.decode(read_or_none(at.board.files, corrections_before.FILE))

