"""Pages there and back: written by the board's own layout file, read by the decoder."""

from __future__ import annotations

import zlib

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from page_maker import STEADY, Recorder, make_page, seal
from steadyturn.sessions import decode as decoder
from steadyturn.sessions.decode import decode
from steadyturn_fw import pages as layout

SIZE = layout.PAGE_BYTES
sample = st.tuples(
    st.integers(0, (1 << layout.BITS_BUS) - 1),
    st.integers(0, (1 << layout.BITS_AMPS) - 1),
    st.integers(0, (1 << layout.BITS_PACE) - 1),
    st.integers(0, 400),
    st.integers(0, 400),
    st.integers(0, len(layout.CUES) - 1),
    st.integers(0, 1),
    st.integers(0, len(layout.VALIDITY) - 1),
)
event = st.tuples(
    st.integers(0, len(layout.EVENT_NAMES) - 1), st.integers(-32768, 32767),
    st.integers(0, 65535),
)
TOTALS = {
    "energy_in": ("energy_in_uj", 48), "energy_out": ("energy_out_uj", 48),
    "charge": ("charge_uc", 48), "turns": ("turns_m", 40), "on": ("on_samples", 32),
    "band": ("band_samples", 32), "connected": ("connected_samples", 32),
    "connections": ("connections", 16), "faults": ("faults", 16),
    "peak_mv": ("peak_mv", 16), "peak_ma": ("peak_ma", 16),
}
totals = st.fixed_dictionaries(
    {name: st.integers(0, (1 << bits) - 1) for name, (_, bits) in TOTALS.items()}
)


def version_for(flags: int) -> int:
    return layout.VERSION_WIDER if flags & layout.FLAG_BURST else layout.VERSION


def peak(mean: int, over: int) -> int:
    """The recorded peak by the layout's own words: the smallest excess that covers it."""
    return mean + next((e for e in layout.EXCESS if e >= over), layout.EXCESS[-1])


@settings(max_examples=70, deadline=None)
@given(
    st.lists(st.none() | sample, max_size=layout.SAMPLES), st.lists(event, max_size=layout.EVENTS),
    totals, st.integers(0, 2**32 - 1), st.integers(0, 2**24 - 1), st.integers(0, 2**32 - 1),
    st.tuples(st.integers(0, 6), st.integers(0, 6)),
    st.integers(0, 255).filter(lambda flags: not flags & layout.FLAG_SUMMARY), st.integers(0, 255),
)
def test_there_and_back(samples, events, sums, seq, boot, t0, shifts, flags, lost):
    raw = make_page(seq, boot=boot, t0_ms=t0, samples=samples, events=events, totals=sums,
                    shifts=shifts, flags=flags, events_lost=lost,
                    version=version_for(flags))
    got = decode(raw)
    assert got.damage == ()
    assert got.duplicates == 0
    page = got.pages[0]
    assert (page["seq"], page["boot"], page["t0_ms"]) == (seq, boot, t0)
    assert (page["flags"], page["events_lost"]) == (flags, lost)
    for name, (field, _) in TOTALS.items():
        assert page[field] == sums[name]
    burst = flags & layout.FLAG_BURST
    rows, others = (got.bursts, got.samples) if burst else (got.samples, got.bursts)
    assert (len(rows), len(others)) == (len(samples), 0)
    for i, (want, row) in enumerate(zip(samples, rows, strict=True)):
        each_ms = 20 if burst else 200
        assert (row["seq"], row["boot"], row["t_ms"]) == (seq, boot, t0 + each_ms * i)
        if want is None:
            assert row["no_data"]
            assert row["bus_mv"] == row["cue"] == row["connected"] == decoder.UNKNOWN
            assert np.isnan(row["pace_tpm"])
            continue
        bus, amps, pace, bus_over, amps_over, cue, connected, valid = want
        assert not row["no_data"]
        assert row["bus_mv"] == bus << shifts[0]
        assert row["bus_ma"] == amps << shifts[1]
        assert row["bus_peak_mv"] == peak(bus, bus_over) << shifts[0]
        assert row["amps_peak_ma"] == peak(amps, amps_over) << shifts[1]
        assert row["pace_tpm"] == pace / 2
        assert (row["cue"], row["connected"], row["valid"]) == (cue, connected, valid)
    assert [tuple(e)[2:] for e in got.events.tolist()] == [
        (t0 + 10 * when, code, argument) for code, when, argument in events
    ]


def test_a_written_page_has_the_standard_crc():
    page = make_page(7, samples=[STEADY])
    assert zlib.crc32(page[: layout.AT_CRC]) == int.from_bytes(page[layout.AT_CRC :], "little")
    # check value of CRC-32/ISO-HDLC, common to zlib, binascii and the CRC catalogues
    crc = layout.Crc()
    crc.feed(b"123456789", 0, 9)
    assert crc.high << 16 | crc.low == 0xCBF43926


def test_every_single_changed_byte_is_seen():
    page = make_page(3, samples=[STEADY] * layout.SAMPLES)
    for at in range(SIZE):
        changed = bytearray(page)
        changed[at] ^= 0x40
        got = decode(bytes(changed))
        assert len(got.pages) == 0
        assert got.damaged == 1


def test_nothing_is_an_answer():
    for raw in (b"", b"S", b"St", b"\xff" * 1000, bytes(SIZE)):
        got = decode(raw)
        assert len(got.pages) == len(got.samples) == len(got.events) == 0
        assert sum(d.length for d in got.damage) == len(raw)


def test_damage_is_placed_and_named():
    page = Recorder()
    a, b, c = page.page(), page.page(), page.page()
    newer = bytearray(b)
    newer[layout.AT_VERSION] = max(layout.VERSIONS) + 1
    odd = bytearray(b)
    odd[layout.AT_N_SAMPLES] = layout.SAMPLES + 1
    bent = bytearray(b)
    bent[100] ^= 1
    for middle, reason in ((seal(newer), "version"), (seal(odd), "contents"),
                           (bytes(bent), "crc"), (b"\x00" * 50, "stray")):
        got = decode(a + middle + c)
        assert [(d.position, d.length, d.reason) for d in got.damage] == [
            (SIZE, len(middle), reason)
        ]
        assert got.pages["seq"].tolist() == [1, 3]
        assert got.missing == ((2, 2),)
    short = decode(a + b[:100])
    assert [(d.position, d.length, d.reason) for d in short.damage] == [(SIZE, 100, "length")]


def test_order_and_duplicates():
    page = Recorder()
    a, b, c = page.page(), page.page(), page.page()
    other = make_page(2, samples=[STEADY])
    got = decode(c + a + b + b + other)
    assert got.pages["seq"].tolist() == [1, 2, 3]
    assert (got.duplicates, got.conflicts) == (2, 1)
    assert got.missing == ()
