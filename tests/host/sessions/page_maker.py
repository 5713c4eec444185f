"""Whole pages for tests, written through the board's own layout file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from steadyturn_fw import pages as layout

# a sample: bus, amps, pace (half turns/min), bus_over, amps_over, cue, connected, valid
STEADY = (6000, 500, 120, 3, 2, layout.HOLD, 1, layout.VALID)


def shift_for(value: int, bits: int) -> int:
    shift = 0
    while value >> shift >= 1 << bits:
        shift += 1
    return shift


def make_page(
    seq: int,
    *,
    boot: int = 1,
    t0_ms: int = 0,
    samples: Iterable[tuple[int, ...] | None] = (),
    events: Iterable[tuple[int, int, int]] = (),
    totals: Mapping[str, int] | None = None,
    flags: int = 0,
    shifts: tuple[int, int] = (2, 0),
    version: int = layout.VERSION,
    events_lost: int = 0,
) -> bytes:
    """One page. A sample is in page units; None is a stall. An event: code, when in 10 ms
    units, argument. totals: by name of the layout's AT_ constants in lower case."""
    page = bytearray(layout.PAGE_BYTES)
    page[layout.AT_MAGIC], page[layout.AT_MAGIC + 1] = layout.MAGIC_0, layout.MAGIC_1
    page[layout.AT_VERSION] = version
    page[layout.AT_SHIFTS] = shifts[0] | shifts[1] << 4
    layout.put(page, layout.AT_SEQ, 4, seq)
    layout.put(page, layout.AT_BOOT, 3, boot)
    layout.put(page, layout.AT_T0, 4, t0_ms)
    count = 0
    for sample in samples:
        if sample is None:
            at = layout.AT_SAMPLES + count * layout.SAMPLE_BYTES
            page[at : at + layout.SAMPLE_BYTES] = bytes([layout.NO_DATA]) * layout.SAMPLE_BYTES
        else:
            layout.put_sample(page, count, *sample)
        count += 1
    page[layout.AT_N_SAMPLES] = count
    count = 0
    for code, when, argument in events:
        at = layout.AT_EVENTS + count * layout.EVENT_BYTES
        page[at] = code
        layout.put(page, at + 1, 2, when & 0xFFFF)
        layout.put(page, at + 3, 2, argument)
        count += 1
    page[layout.AT_N_EVENTS] = count
    page[layout.AT_FLAGS] = flags
    page[layout.AT_EVENTS_LOST] = events_lost
    sizes = {
        "energy_in": 6, "energy_out": 6, "charge": 6, "turns": 5, "on": 4, "band": 4,
        "connected": 4, "connections": 2, "faults": 2, "peak_mv": 2, "peak_ma": 2,
    }
    for name, value in (totals or {}).items():
        layout.put(page, getattr(layout, f"AT_{name.upper()}"), sizes[name], value)
    return seal(page)


def seal(page: bytearray) -> bytes:
    """The page with its CRC as the board stores it."""
    crc = layout.Crc()
    crc.feed(page, 0, layout.AT_CRC)
    crc.store(page, layout.AT_CRC)
    return bytes(page)


class Recorder:
    """Keeps running totals over steady samples as a board would, and makes pages of them.

    Volts and amps are constant within a page, so that totals and samples must agree exactly
    but for what the caller changes.
    """

    def __init__(self, *, seq: int = 1, boot: int = 1, efficiency: float = 0.9) -> None:
        self.seq, self.boot, self.t_ms = seq, boot, 0
        self.efficiency = efficiency
        self.energy_in = self.energy_out = self.charge = self.turns = 0
        self.on = self.band = self.connected = self.connections = self.faults = 0

    def reboot(self) -> None:
        self.boot += 1
        self.t_ms = 0

    def page(
        self, *, bus_mv: int = 6000, bus_ma: int = 500, pace_tpm: float = 60.0,
        cue: int = layout.HOLD, connected: int = 1, valid: int = layout.VALID,
        count: int = layout.SAMPLES, in_band: bool = True, stalls: int = 0, **more: Any,
    ) -> bytes:
        """A page of `count` equal samples, of which the last `stalls` are stalls."""
        shift = shift_for(bus_mv + 1000, layout.BITS_BUS)
        live = count - stalls
        bus_mv = bus_mv >> shift << shift
        half = round(pace_tpm * 2)
        sample = (bus_mv >> shift, bus_ma, half, 4, 2, cue, connected, valid)
        uj = bus_mv * bus_ma * layout.SAMPLE_MS // 1000
        self.energy_in += uj * live
        self.energy_out += round(uj * live * self.efficiency) if connected else 0
        self.charge += bus_ma * layout.SAMPLE_MS * live
        self.turns += round(half / 2 * live * layout.SAMPLE_MS / 60) if valid == 0 else 0
        self.on += live
        self.band += live if in_band and valid != layout.NO_SENSOR else 0
        self.connected += live if connected else 0
        self.connections += sum(e[0] == layout.EV_CONNECTED for e in more.get("events", ()))
        self.faults += sum(e[0] == layout.EV_FAULT for e in more.get("events", ()))
        totals = {
            name: getattr(self, name)
            for name in ("energy_in", "energy_out", "charge", "turns", "on", "band", "connected",
                         "connections", "faults")
        }
        totals |= {"peak_mv": bus_mv + (4 << shift), "peak_ma": bus_ma + 2}
        out = make_page(
            self.seq, boot=self.boot, t0_ms=self.t_ms, shifts=(shift, 0), totals=totals,
            samples=[sample] * live + [None] * stalls, **more,
        )
        self.seq += 1
        self.t_ms += count * layout.SAMPLE_MS
        return out
