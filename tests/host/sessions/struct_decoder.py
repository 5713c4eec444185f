"""A second reader of journal pages, written from firmware/pages.md alone: it shares no code and
no constant with the host's decoder, and reads a page at a time with `struct`."""

from __future__ import annotations

import struct
import zlib
from typing import Any

ABOVE = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192)
NAMES = ("version", "shifts", "seq", "boot", "t0_ms")
TAIL = ("samples", "events", "flags", "peak_mv", "peak_ma")
TOTALS = ("energy_in_uj", "energy_out_uj", "charge_uc", "turns_m", "on_samples", "band_samples",
          "connected_samples", "connections", "faults", "events_lost", "rise_k")


def little(raw: bytes) -> int:
    """Of any width: its bytes as a number of eight."""
    return struct.unpack("<Q", raw + bytes(8 - len(raw)))[0]


def refused(page: bytes) -> str:
    """Why a page of 220 bytes must not be used."""
    if page[:2] != b"\x53\x74":
        return "stray"
    if struct.unpack("<I", page[216:])[0] != zlib.crc32(page[:216]):
        return "crc"
    version, flags = page[2], page[170]
    if version not in {1, 2}:
        return "version"
    burst, summary = flags & 32, flags & 64
    if page[168] > 23 or page[169] > 3 or (burst and summary):
        return "contents"
    if version == 1 and (burst or summary):
        return "contents"
    if summary:
        seq, first, many = (struct.unpack("<I", page[i : i + 4])[0] for i in (4, 15, 19))
        boots = little(page[23:26]), little(page[8:11])
        if page[168] or first > seq or not 1 <= many <= seq - first + 1 or boots[0] > boots[1]:
            return "contents"
    return ""


def read(page: bytes) -> dict[str, Any]:
    """All that a page says. rows: its samples or its burst's, as SAMPLE has them from t_ms on;
    happened: its events; summary: what it counts, if it is one."""
    version, shifts, seq, low, high, t0 = struct.unpack("<BBIHBI", page[2:15])
    out = dict(zip(NAMES, (version, shifts, seq, low + (high << 16), t0), strict=True))
    out |= zip(TAIL, struct.unpack("<BBBHH", page[168:175]), strict=True)
    numbers = [little(page[a:b]) for a, b in (
        (175, 181), (181, 187), (187, 193), (193, 198), (198, 202), (202, 206), (206, 210),
        (210, 212), (212, 214), (214, 215), (215, 216))]
    out |= zip(TOTALS, numbers, strict=True)
    out["bus_unit_mv"], out["bus_unit_ma"] = 1 << (shifts & 15), 1 << (shifts >> 4)
    summary, burst = out["flags"] & 64, out["flags"] & 32
    out["first_seq"], out["first_boot"], out["stands_for"] = seq, out["boot"], 1
    out["length_ms"] = 0 if burst else 200 * out["samples"]
    if summary:
        out["first_seq"], out["stands_for"] = struct.unpack("<II", page[15:23])
        out["first_boot"], out["length_ms"] = little(page[23:26]), little(page[26:30])
        out["summary"] = {
            "by_cue": list(struct.unpack("<8I", page[30:62])),
            "by_validity": list(struct.unpack("<4I", page[62:78])),
            "no_data": little(page[78:82]), "top_pace_tpm": little(page[82:84]) / 2,
            "pace_sum": little(page[84:90]) / 2, "collapses": little(page[90:92]),
            "releases": list(struct.unpack("<16H", page[92:124])),
            "faults": list(struct.unpack("<14H", page[124:152])),
        }
    out["rows"] = [
        sample(page[15 + 6 * i : 21 + 6 * i], t0 + (20 if burst else 200) * i, out)
        for i in range(out["samples"])]
    out["happened"] = []
    for i in range(out["events"]):
        code, when, argument = struct.unpack("<BhH", page[153 + 5 * i : 158 + 5 * i])
        out["happened"].append((t0 + when * (1000 if summary else 10), code, argument))
    return out


def sample(six: bytes, t_ms: int, page: dict[str, Any]) -> tuple[Any, ...]:
    """t_ms, bus_mv, bus_ma, pace_tpm, bus_peak_mv, amps_peak_ma, cue, connected, valid,
    no_data; where nothing was measured -1, and None for the pace."""
    if six == b"\xff" * 6:
        return (t_ms, -1, -1, None, -1, -1, -1, -1, -1, True)
    bits = f"{little(six):048b}"[::-1]  # bit 0 first

    def field(begin: int, width: int) -> int:
        return int(bits[begin : begin + width][::-1], 2)

    volts, amps = page["bus_unit_mv"], page["bus_unit_ma"]
    return (
        t_ms, field(0, 12) * volts, field(12, 12) * amps, field(24, 10) / 2,
        (field(0, 12) + ABOVE[field(34, 4)]) * volts, (field(12, 12) + ABOVE[field(38, 4)]) * amps,
        field(42, 3), field(45, 1), field(46, 2), False,
    )
