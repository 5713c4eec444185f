"""Journal pages from bytes to numpy arrays. Never raises on what it is given.

The layout is not written here: every offset and width comes from
`steadyturn_fw.pages`, the file the board itself runs. Work is done on whole
arrays; the only loop is over pages, to check their CRCs.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions import summaries

MAGIC = bytes((layout.MAGIC_0, layout.MAGIC_1))
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


@dataclass(frozen=True, slots=True)
class Damage:
    """Bytes that could not be used.

    position, length: where, in bytes; pages: how many pages that is, rounded up.
    reason: "crc" (changed bytes), "length" (a page cut short at the end), "version" (whole,
    but of a layout this program does not know), "contents" (whole, but its counts are
    impossible), "stray" (no page begins there).
    """

    position: int
    length: int
    reason: str

    @property
    def pages(self) -> int:
        return -(-self.length // layout.PAGE_BYTES)


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


def fault(raw: bytes, at: int = 0) -> str:
    """Why no usable page stands at byte `at`; empty if one does."""
    if raw[at : at + 2] != MAGIC:
        return "stray"
    end = at + layout.PAGE_BYTES
    if end > len(raw):
        return "length"
    stored = int.from_bytes(raw[at + layout.AT_CRC : end], "little")
    if zlib.crc32(raw[at : at + layout.AT_CRC]) != stored:
        return "crc"
    if raw[at + layout.AT_VERSION] not in layout.VERSIONS:
        return "version"
    if raw[at + layout.AT_N_SAMPLES] > layout.SAMPLES:
        return "contents"
    if raw[at + layout.AT_N_EVENTS] > layout.EVENTS:
        return "contents"
    return ""


def seq_of(page: bytes) -> int:
    """The sequence number of one page."""
    return int.from_bytes(page[layout.AT_SEQ : layout.AT_SEQ + 4], "little")


def first_of(page: bytes) -> int:
    """The number of the first page that this one stands for: its own, but for a summary."""
    if not page[layout.AT_FLAGS] & layout.FLAG_SUMMARY:
        return seq_of(page)
    return int.from_bytes(page[layout.AT_FIRST : layout.AT_FIRST + 4], "little")


def boot_of(page: bytes) -> int:
    """The boot number of one page."""
    return int.from_bytes(page[layout.AT_BOOT : layout.AT_BOOT + 3], "little")


def find(raw: bytes) -> tuple[list[int], list[Damage]]:
    """Positions of the usable pages in a stream of bytes, and the damage between them.

    After damage the search goes on at the next magic, so a lost or added byte costs the page
    it stands in and no other. A page of an unknown version keeps its place if its CRC holds.
    """
    starts: list[int] = []
    damage: list[Damage] = []
    at, end = 0, len(raw)
    bad, why = -1, ""
    while at < end:
        reason = fault(raw, at)
        whole = reason in {"", "version", "contents"}
        if whole and bad >= 0:
            damage.append(Damage(bad, at - bad, why))
            bad = -1
        if whole:
            if reason:
                damage.append(Damage(at, layout.PAGE_BYTES, reason))
            else:
                starts.append(at)
            at += layout.PAGE_BYTES
            continue
        if bad < 0:
            bad, why = at, reason
        at = raw.find(MAGIC, at + 1)
        if at < 0:
            at = end
    if bad >= 0:
        damage.append(Damage(bad, end - bad, why))
    return starts, damage


def decode(raw: bytes | bytearray | memoryview) -> Pages:
    """Decode any bytes that hold pages of one board: a log file, a library's rows, a stream.

    Returns `Pages`; damage is counted in it, never raised.
    """
    raw = bytes(raw)
    starts, damage = find(raw)
    position = np.array(starts, "i8")
    bytes_ = np.frombuffer(raw, "u1")
    block = bytes_[position[:, None] + np.arange(layout.PAGE_BYTES)]
    seq, first, index = np.unique(
        _number(block, layout.AT_SEQ, 4), return_index=True, return_inverse=True
    )
    conflicts = int(np.count_nonzero((block != block[first][index.reshape(-1)]).any(axis=1)))
    duplicates = len(block) - len(seq)
    block, position = block[first], position[first]
    pages = _pages(block, position)
    burst = pages["flags"] & layout.FLAG_BURST > 0
    bursts = _samples(block[burst], pages[burst], TICK_MS)
    pages["samples"][burst] = 0
    return Pages(
        pages, _samples(block, pages, layout.SAMPLE_MS), _events(block, pages), bursts,
        tuple(damage), summaries.decode(block), duplicates, conflicts,
    )


def _number(block: NDArray[Any], at: int, size: int) -> NDArray[Any]:
    wide = np.zeros((len(block), 8), "u1")
    wide[:, :size] = block[:, at : at + size]
    return wide.view("<i8")[:, 0]


def _pages(block: NDArray[Any], position: NDArray[Any]) -> NDArray[Any]:
    pages = np.zeros(len(block), PAGE)
    pages["position"] = position
    for name, at, size in _NUMBERS:
        pages[name] = _number(block, at, size)
    shifts = block[:, layout.AT_SHIFTS].astype("i4")
    pages["bus_unit_mv"] = 1 << (shifts & 0x0F)
    pages["bus_unit_ma"] = 1 << (shifts >> 4)
    pages["first_seq"], pages["first_boot"] = pages["seq"], pages["boot"]
    pages["stands_for"] = 1
    pages["length_ms"] = pages["samples"] * layout.SAMPLE_MS
    pages["length_ms"][pages["flags"] & layout.FLAG_BURST > 0] = 0
    many = pages["flags"] & layout.FLAG_SUMMARY > 0
    for name, at, size in _OF_SUMMARIES:
        pages[name][many] = _number(block[many], at, size)
    return pages


def _samples(block: NDArray[Any], pages: NDArray[Any], each_ms: int) -> NDArray[Any]:
    end = layout.AT_SAMPLES + layout.SAMPLES * layout.SAMPLE_BYTES
    packed = block[:, layout.AT_SAMPLES : end].reshape(-1, layout.SAMPLES, layout.SAMPLE_BYTES)
    page, index = np.nonzero(np.arange(layout.SAMPLES) < pages["samples"][:, None])
    wide = np.zeros((len(page), 8), "u1")
    wide[:, : layout.SAMPLE_BYTES] = packed[page, index]
    word = wide.view("<u8")[:, 0]
    parts = []
    at = 0
    for bits in _BITS:
        parts.append((word >> np.uint64(at) & np.uint64((1 << bits) - 1)).astype("i4"))
        at += bits
    bus, amps, pace, bus_over, amps_over, cue, connected, valid = parts
    bus_unit, amps_unit = pages["bus_unit_mv"][page], pages["bus_unit_ma"][page]
    lost = (wide[:, : layout.SAMPLE_BYTES] == layout.NO_DATA).all(axis=1)

    out = np.zeros(len(page), SAMPLE)
    out["boot"], out["seq"] = pages["boot"][page], pages["seq"][page]
    out["t_ms"] = pages["t0_ms"][page] + index * each_ms
    out["bus_mv"], out["bus_ma"] = bus * bus_unit, amps * amps_unit
    out["bus_peak_mv"] = (bus + _EXCESS[bus_over]) * bus_unit
    out["amps_peak_ma"] = (amps + _EXCESS[amps_over]) * amps_unit
    out["pace_tpm"] = pace / np.float32(2)
    out["cue"], out["connected"], out["valid"] = cue, connected, valid
    out["no_data"] = lost
    for name in ("bus_mv", "bus_ma", "bus_peak_mv", "amps_peak_ma", "cue", "connected", "valid"):
        out[name][lost] = UNKNOWN
    out["pace_tpm"][lost] = np.nan
    return out


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
