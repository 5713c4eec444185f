"""The bench's words on the link: a steady pace asked for, what was added up since, a load step.

`steadyturn_fw.bench_frames` has the layouts; firmware/bench.md has them in words. Nothing that
comes is trusted further than its CRC and its length.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from steadyturn_fw import bench_frames as layout
from steadyturn_fw import frames

from steadyturn.board.link import Link
from steadyturn.errors import Failed

ANSWER_S = 2.0  # an order lets the load go first, a step takes a tenth of a second
_BENCH = layout.places(layout.BENCH_FIELDS)
_STEP = layout.places(layout.STEP_FIELDS)
_SAMPLE = layout.places(layout.SAMPLE_FIELDS)
MOST_PIECES = 40  # of 25 samples; a step has some six


@dataclass(frozen=True)
class Bench:
    """What a board says of a bench under way: `layout.BENCH_FIELDS` by name, and the sums of
    millivolts and milliamperes in the last blocks of `layout.BLOCK_TICKS`, the newest last."""

    said: dict[str, int]
    blocks: tuple[tuple[int, int], ...]

    def __getitem__(self, name: str) -> int:
        return self.said[name]


@dataclass(frozen=True)
class Samples:
    """A step's samples: times [us] from the first, volts [V], amps [A] of the sensor. cycle_us: of
    one conversion of both; on_us, off_us: when the second load was switched; unit_v, unit_a: of
    one digit. reason: of layout.STEP_REASONS, 0 for a whole step."""

    t_us: tuple[int, ...]
    volts: tuple[float, ...]
    amps: tuple[float, ...]
    cycle_us: int
    on_us: int
    off_us: int
    unit_v: float
    unit_a: float
    reason: int


def order(link: Link, pace_dtpm: int, tolerance_dtpm: int, load: int) -> Bench:
    """Begin, or ask for another pace (tenths of a turn/min) or load (bench_frames.LOAD_*)."""
    question = b"%s %d %d %d" % (frames.ASK_BENCH, pace_dtpm, tolerance_dtpm, load)
    return link.asked(question, _bench, answer_s=ANSWER_S)


def look(link: Link) -> Bench:
    """What is so far; keeps the bench going."""
    return link.asked(frames.ASK_BENCH, _bench)


def end(link: Link) -> Bench:
    """Back to ordinary running."""
    return link.asked(frames.ASK_BENCH + b" " + layout.BENCH_END, _bench, answer_s=ANSWER_S)


def step(link: Link) -> Bench:
    """Switch the second load once, with quick samples round it. One try: a step is not asked
    for again where its answer was lost."""
    return link.asked(frames.ASK_STEP, _bench, answer_s=ANSWER_S, tries=1)


def samples(link: Link) -> Samples | None:
    """Those of the last step; None where there are none."""
    rows: list[tuple[int, int, int]] = []
    head: dict[str, int] = {}
    for _ in range(MOST_PIECES):
        first = len(rows)
        found = link.asked(b"%s %d" % (frames.ASK_SAMPLES, first), partial(_piece, first=first))
        if found is None or (head and found[0]["step"] != head["step"]):
            break
        head, piece = found
        rows += piece
        if not piece or len(rows) >= head["total"]:
            break
    return _samples(head, rows) if rows else None


def _samples(head: dict[str, int], rows: list[tuple[int, int, int]]) -> Samples:
    unit_v = head["bus_factor"] / 2 ** head["bus_shift"] / 1000
    unit_a = head["amps_factor"] / 2 ** head["amps_shift"] / 1000
    volts = tuple(bus * unit_v + head["bus_offset_mv"] / 1000 for _, bus, _ in rows)
    counts = [(raw - 0x10000 if head["amps_signed"] and raw & 0x8000 else raw) - head["amps_zero"]
              for _, _, raw in rows]
    amps = tuple(count * unit_a + head["amps_offset_ma"] / 1000 for count in counts)
    return Samples(tuple(t for t, _, _ in rows), volts, amps, head["cycle_us"], head["on_us"],
                   head["off_us"], unit_v, abs(unit_a), head["reason"])


def _fields(places: dict[str, tuple[int, int, bool]], data: bytes) -> dict[str, int]:
    return {name: int.from_bytes(data[at : at + size], "little", signed=signed)
            for name, (at, size, signed) in places.items()}


def _bench(kind: int, payload: bytes) -> tuple[Bench] | None:
    if kind != frames.BENCH or len(payload) != layout.BENCH_BYTES:
        return None
    said = _fields(_BENCH, payload)
    blocks = []
    for n in range(min(said["blocks"], layout.BLOCKS)):
        at = layout.BENCH_HEAD_BYTES + n * layout.BLOCK_BYTES
        blocks.append((int.from_bytes(payload[at : at + 4], "little"),
                       int.from_bytes(payload[at + 4 : at + 8], "little", signed=True)))
    return (Bench(said, tuple(blocks)),)


Piece = tuple[dict[str, int], list[tuple[int, int, int]]]


def _piece(kind: int, payload: bytes, first: int) -> tuple[Piece | None] | None:
    if kind == frames.END:
        return (None,)
    if kind != frames.SAMPLES or len(payload) < layout.STEP_HEAD_BYTES:
        return None
    head = _fields(_STEP, payload)
    size = layout.STEP_SAMPLE_BYTES
    if head["first"] != first or len(payload) < layout.STEP_HEAD_BYTES + size * head["sent"]:
        return None
    rows = []
    for n in range(head["sent"]):
        at = layout.STEP_HEAD_BYTES + n * size
        one = _fields(_SAMPLE, payload[at : at + size])
        rows.append((one["t_us"], one["bus"], one["amps"]))
    return ((head, rows),)


class Protected(Failed):
    """The board has ended the bench to protect itself, or has lost its sensor for a moment; it
    may be begun again. reason: of bench_frames.BENCH_ENDS."""

    def __init__(self, what: str, how: str, reason: str) -> None:
        super().__init__(what, how)
        self.reason = reason


def ended(said: Bench) -> Failed:
    """Why there is no bench any more, for a person."""
    code = said["ended"]
    name = layout.BENCH_ENDS[code] if code < len(layout.BENCH_ENDS) else f"code {code}"
    if code in (layout.END_PROTECTION, layout.END_SENSOR_LOST):
        return Protected(*_ENDS[name], name)
    what, how = _ENDS.get(name, (f"The board has ended the bench ({name}).", "Begin again."))
    return Failed(what, how)


_ENDS = {
    "silent": ("The board has ended the bench: it heard nothing for a while.", "Begin again."),
    "protection": ("The board has ended the bench to protect itself: volts, current or heat "
                   "came to a limit.", "Turn more slowly, with a smaller load; 'steadyturn "
                   "watch' shows what it says."),
    "sensor_lost": ("The board has lost its sensor.", "Look at the sensor's four wires; "
                    "'steadyturn watch' shows when it is back."),
    "released_by_host": ("Another program has told the board to release the load.",
                         "Close it; unplug the board and plug it in."),
    "no_settings": ("The board has no settings in force.", "'steadyturn flash RIG' writes them."),
    "program_ended": ("The board's program has ended.", "Unplug the board and plug it in."),
    "no_memory": ("The board has no memory left for it.", "Unplug the board, plug it in and begin "
                  "again."),
}
