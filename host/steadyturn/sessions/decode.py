"""Journal pages from bytes to numpy arrays. Never raises on what it is given.

The layout is not written here: every offset and width comes from
`steadyturn_fw.pages`, the file the board itself runs. Work is done on whole
arrays; whole.py finds the pages in the bytes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions import summaries
from steadyturn.sessions.one_page import SIZE, Damage, boot_of, fault, first_of, seq_of
from steadyturn.sessions.whole import find, number

__all__ = ["Damage", "Pages", "boot_of", "decode", "fault", "find", "first_of", "seq_of"]

UNKNOWN = -1  # a whole number that was not measured
TICK_MS = 20  # a burst's sample

# One row a page. t0_ms and the samples' t_ms count from the boot of that number. samples: of
# 0.2 s; a burst's are none of these.
PAGE = np.dtype([
    ("position", "i8"),  # byte offset in what was decoded
    ("seq", "i8"), ("boot", "i4"), ("t0_ms", "i8"),
    ("bus_unit_mv", "i4"), ("bus_unit_ma", "i4"),
    ("samples", "i4"), ("events", "i4"), ("flags", "i4"),
    ("peak_mv", "i4"), ("peak_ma", "i4"),
    ("energy_in_uj", "i8"), ("energy_out_uj", "i8"), ("charge_uc", "i8"), ("turns_m", "i8"),
    ("on_samples", "i8"), ("band_samples", "i8"), ("connected_samples", "i8"),
    # a summary stands for the pages from first_seq, of the boots from first_boot on
    ("first_seq", "i8"), ("first_boot", "i4"), ("stands_for", "i8"), ("length_ms", "i8"),
    ("connections", "i4"), ("faults", "i4"), ("events_lost", "i4"), ("rise_k", "i4"),
])

# One row a sample: means over t_ms to t_ms + 200, peaks within it (at least that, where a
# peak stands EXCESS[15] units above the mean). Where no_data is set
# nothing was measured: whole numbers are -1, the pace is NaN.
SAMPLE = np.dtype([
    ("boot", "i4"), ("seq", "i8"), ("t_ms", "i8"),
    ("bus_mv", "i4"), ("bus_ma", "i4"), ("pace_tpm", "f4"),
    ("bus_peak_mv", "i4"), ("amps_peak_ma", "i4"),
    ("cue", "i1"), ("connected", "i1"), ("valid", "i1"), ("no_data", "?"),
])

EVENT = np.dtype([
    ("boot", "i4"), ("seq", "i8"), ("t_ms", "i8"), ("code", "i4"), ("argument", "i4"),
])

# where each number stands in a page: name, offset, bytes
_NUMBERS = (
    ("seq", layout.AT_SEQ, 4), ("boot", layout.AT_BOOT, 3), ("t0_ms", layout.AT_T0, 4),
    ("samples", layout.AT_N_SAMPLES, 1), ("events", layout.AT_N_EVENTS, 1),
    ("flags", layout.AT_FLAGS, 1),
    ("peak_mv", layout.AT_PEAK_MV, 2), ("peak_ma", layout.AT_PEAK_MA, 2),
    ("energy_in_uj", layout.AT_ENERGY_IN, 6), ("energy_out_uj", layout.AT_ENERGY_OUT, 6),
    ("charge_uc", layout.AT_CHARGE, 6), ("turns_m", layout.AT_TURNS, 5),
    ("on_samples", layout.AT_ON, 4), ("band_samples", layout.AT_BAND, 4),
    ("connected_samples", layout.AT_CONNECTED, 4),
    ("connections", layout.AT_CONNECTIONS, 2), ("faults", layout.AT_FAULTS, 2),
    ("events_lost", layout.AT_EVENTS_LOST, 1), ("rise_k", layout.AT_RISE, 1),
)

_OF_SUMMARIES = (
    ("first_seq", layout.AT_FIRST, 4), ("first_boot", layout.AT_FIRST_BOOT, 3),
    ("stands_for", layout.AT_STANDS_FOR, 4), ("length_ms", layout.AT_LENGTH, 4),
)

# a sample's fields in the order in which they fill its bits from bit 0 upwards
_BITS = (
    layout.BITS_BUS, layout.BITS_AMPS, layout.BITS_PACE, layout.BITS_BUS_PEAK,
    layout.BITS_AMPS_PEAK, layout.BITS_CUE, layout.BITS_CONNECTED, layout.BITS_VALID,
)
_EXCESS = np.array(layout.EXCESS, "i4")
# SAMPLE's last four fields as one number: their bits stand together, at the sample's end
_AT_MARKS = sum(_BITS[:5])
_MARK = np.dtype([(name, SAMPLE[name]) for name in ("cue", "connected", "valid", "no_data")])
_MARKED = np.dtype({"names": ["marks"], "formats": ["u4"], "itemsize": SAMPLE.itemsize,
                    "offsets": [SAMPLE.itemsize - _MARK.itemsize]})
_CHUNK = 1024  # pages: all that is made of them stays near the processor


def _marks() -> NDArray[Any]:
    """The four fields by the bits from _AT_MARKS on."""
    bits = np.arange(1 << sum(_BITS[5:]))
    table = np.zeros(len(bits), _MARK)
    for name, width in zip(("cue", "connected", "valid"), _BITS[5:], strict=True):
        table[name] = bits & (1 << width) - 1
        bits >>= width
    return table.view("u4")


_MARKS = _marks()


@dataclass(frozen=True, slots=True)
class Pages:
    """What was found, in the order of the sequence numbers, each number once.

    pages, samples, events: arrays of PAGE, SAMPLE and EVENT. bursts: of SAMPLE too, but of
    one tick each: 0.46 s round a step of the load, which other samples tell of as well.
    summaries: of SUMMARY, what stands for boots whose samples were given up.
    damage: what could not be used. duplicates: pages left out because their number was there
    already; conflicts: how many of those had other contents.
    """

    pages: NDArray[Any]
    samples: NDArray[Any]
    events: NDArray[Any]
    bursts: NDArray[Any] = field(default_factory=lambda: np.zeros(0, SAMPLE))
    damage: tuple[Damage, ...] = ()
    summaries: NDArray[Any] = field(default_factory=lambda: np.zeros(0, summaries.SUMMARY))
    duplicates: int = 0
    conflicts: int = 0

    @property
    def damaged(self) -> int:
        """Damaged pages."""
        return sum(d.pages for d in self.damage)

    @property
    def missing(self) -> tuple[tuple[int, int], ...]:
        """Runs of sequence numbers that are absent between the first and the last page, and
        that no summary stands for."""
        seq, first = self.pages["seq"], covered_from(self.pages)
        after = np.flatnonzero(first[1:] - seq[:-1] > 1)
        return tuple((int(seq[i]) + 1, int(first[i + 1]) - 1) for i in after)


def covered_from(table: NDArray[Any]) -> NDArray[Any]:
    """For each row, the lowest number that it or a summary after it stands for."""
    lowest: NDArray[Any] = np.minimum.accumulate(table["first_seq"][::-1])[::-1]
    return lowest


def decode(raw: bytes | bytearray | memoryview) -> Pages:
    """Decode any bytes that hold pages of one board: a log file, a library's rows, a stream.

    Returns `Pages`; damage is counted in it, never raised. runs.py does it with any number of
    pages in flat memory.
    """
    raw = bytes(raw)
    return tables(raw, *find(raw))


def tables(
    raw: bytes, position: NDArray[Any], damage: list[Damage], *, begin: int = 0,
    known: Callable[[NDArray[Any]], NDArray[Any]] | None = None,
) -> Pages:
    """The pages that stand at these positions. begin: where raw itself begins in the whole;
    known: says of numbers which of them earlier bytes had."""
    block = _rows(raw, position)
    seq = number(block, layout.AT_SEQ, 4)
    duplicates = conflicts = 0
    if known is not None and (old := known(seq)).any():
        duplicates = int(old.sum())
        block, position, seq = block[~old], position[~old], seq[~old]
    if (seq[1:] <= seq[:-1]).any():
        order = np.argsort(seq, kind="stable")  # of equal numbers the one that came first
        block, position, seq = block[order], position[order], seq[order]
        keep = np.append(True, seq[1:] != seq[:-1])
        own = np.maximum.accumulate(np.where(keep, np.arange(len(seq)), 0))
        conflicts = int((block[~keep] != block[own[~keep]]).any(axis=1).sum())
        duplicates += len(seq) - int(keep.sum())
        block, position = block[keep], position[keep]
    pages = _pages(block, position + begin)
    burst = pages["flags"] & layout.FLAG_BURST > 0
    bursts = _samples(block[burst], pages[burst], TICK_MS)
    pages["samples"][burst] = 0
    return Pages(
        pages, _samples(block, pages, layout.SAMPLE_MS), _events(block, pages), bursts,
        tuple(damage), summaries.decode(block), duplicates, conflicts,
    )


def _rows(raw: bytes, position: NDArray[Any]) -> NDArray[Any]:
    """The bytes of these pages, a row each."""
    count = len(position)
    if not count:
        return np.zeros((0, SIZE), "u1")
    first, last = int(position[0]), int(position[-1])
    if last - first == SIZE * (count - 1):  # one after the other: no copy
        return np.frombuffer(raw, "u1", SIZE * count, first).reshape(count, SIZE)
    whole = np.frombuffer(raw, "u1")
    rows: NDArray[Any] = np.lib.stride_tricks.sliding_window_view(whole, SIZE)[position]
    return rows


def _pages(block: NDArray[Any], position: NDArray[Any]) -> NDArray[Any]:
    pages = np.zeros(len(block), PAGE)
    pages["position"] = position
    for name, at, size in _NUMBERS:
        pages[name] = number(block, at, size)
    shifts = block[:, layout.AT_SHIFTS].astype("i4")
    pages["bus_unit_mv"] = 1 << (shifts & 0x0F)
    pages["bus_unit_ma"] = 1 << (shifts >> 4)
    pages["first_seq"], pages["first_boot"] = pages["seq"], pages["boot"]
    pages["stands_for"] = 1
    pages["length_ms"] = pages["samples"] * layout.SAMPLE_MS
    pages["length_ms"][pages["flags"] & layout.FLAG_BURST > 0] = 0
    many = np.flatnonzero(pages["flags"] & layout.FLAG_SUMMARY)
    if len(many):
        for name, at, size in _OF_SUMMARIES:
            pages[name][many] = number(block[many], at, size)
    return pages


def _samples(block: NDArray[Any], pages: NDArray[Any], each_ms: int) -> NDArray[Any]:
    end = np.cumsum(pages["samples"])
    out = np.empty(end[-1] if len(end) else 0, SAMPLE)
    at = 0
    for begin in range(0, len(block), _CHUNK):
        some = slice(begin, begin + _CHUNK)
        to = int(end[some][-1])
        _fill(out[at:to], block[some], pages[some], each_ms)
        at = to
    return out


def _fill(out: NDArray[Any], block: NDArray[Any], pages: NDArray[Any], each_ms: int) -> None:
    stop = layout.AT_SAMPLES + layout.SAMPLES * layout.SAMPLE_BYTES
    packed = np.ascontiguousarray(block[:, layout.AT_SAMPLES : stop])
    count: Any = pages["samples"].astype("u1")
    since = np.broadcast_to(np.arange(layout.SAMPLES) * each_ms, (len(block), layout.SAMPLES))
    if (count == layout.SAMPLES).all():
        count, since = layout.SAMPLES, since.reshape(-1)
    else:
        used = np.arange(layout.SAMPLES, dtype="u1") < count[:, None]
        packed, since = packed.view(f"V{layout.SAMPLE_BYTES}")[used], since[used]
    words = packed.view("<u2").reshape(-1, layout.SAMPLE_BYTES // 2)
    words = np.ascontiguousarray(words.T)

    def bits(field: int) -> NDArray[Any]:
        word, shift = divmod(sum(_BITS[:field]), 16)
        value = words[word] >> shift
        if shift + _BITS[field] > 16:
            value |= words[word + 1] << (16 - shift)
        cut: NDArray[Any] = value & ((1 << _BITS[field]) - 1)
        return cut

    def of_page(name: str) -> NDArray[Any]:
        return np.repeat(pages[name], count)

    out["boot"], out["seq"] = of_page("boot"), of_page("seq")
    out["t_ms"] = of_page("t0_ms") + since
    for mean, peak, unit, own, over in (
        ("bus_mv", "bus_peak_mv", "bus_unit_mv", 0, 3),
        ("bus_ma", "amps_peak_ma", "bus_unit_ma", 1, 4),
    ):
        units, value = of_page(unit), bits(own).astype("i4")
        out[mean] = value * units
        out[peak] = (value + _EXCESS.take(bits(over))) * units
    out["pace_tpm"] = bits(2) * np.float32(0.5)
    word, shift = divmod(_AT_MARKS, 16)
    out.view(_MARKED)["marks"] = _MARKS.take(words[word] >> shift)

    lost = np.flatnonzero(np.bitwise_and.reduce(words) == layout.NO_DATA * 0x101)
    if len(lost):
        for name in ("bus_mv", "bus_ma", "bus_peak_mv", "amps_peak_ma", "cue", "connected",
                     "valid"):
            out[name][lost] = UNKNOWN
        out["pace_tpm"][lost] = np.nan
        out["no_data"][lost] = True


def _events(block: NDArray[Any], pages: NDArray[Any]) -> NDArray[Any]:
    end = layout.AT_EVENTS + layout.EVENTS * layout.EVENT_BYTES
    packed = block[:, layout.AT_EVENTS : end].reshape(-1, layout.EVENTS, layout.EVENT_BYTES)
    page, index = np.nonzero(np.arange(layout.EVENTS) < pages["events"][:, None])
    rows = packed[page, index].astype("i4")
    when = (rows[:, 1] | rows[:, 2] << 8).astype("u2").view("i2").astype("i8")
    out = np.zeros(len(page), EVENT)
    out["boot"], out["seq"] = pages["boot"][page], pages["seq"][page]
    many = pages["flags"][page] & layout.FLAG_SUMMARY > 0
    unit = np.where(many, layout.SUMMARY_EVENT_MS, layout.EVENT_UNIT_MS)
    out["t_ms"] = pages["t0_ms"][page] + when * unit
    out["code"] = rows[:, 0]
    out["argument"] = rows[:, 3] | rows[:, 4] << 8
    return out
