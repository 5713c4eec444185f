"""Figures of an outing against sums made by hand, and against published battery figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from page_maker import Recorder, make_page, seal
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn.sessions.outings import last_outing, spans
from steadyturn_fw import pages as layout

SETTINGS = {"percent_mj": 815_294, "low_dtpm": 500, "target_dtpm": 600, "high_dtpm": 750}


def test_constant_power_by_hand():
    """6 V and 0.5 A for 10 pages of 4.6 s: 46 s at 3 W is 138 J; 0.5 A is 23 C; 60 turns a
    minute is 46 turns."""
    recorder = Recorder(efficiency=0.9)
    got = review(decode(b"".join(recorder.page() for _ in range(10))), SETTINGS)
    assert got.energy_in_j == pytest.approx(138.0, rel=1e-12)
    assert got.energy_in_wh == pytest.approx(138.0 / 3600, rel=1e-12)
    assert got.energy_out_j == pytest.approx(124.2, rel=1e-12)
    assert got.energy_out_kind == "inferred"
    assert got.charge_mah == pytest.approx(23 / 3.6, rel=1e-12)
    assert got.turns == pytest.approx(46, rel=1e-12)
    assert got.mean_pace_tpm == 60
    assert got.on_s == got.turning_s == got.band_s == got.connected_s == pytest.approx(46)
    assert got.band_percent == 100
    assert got.cue_s["hold"] == pytest.approx(46)
    assert got.pace_s == pytest.approx({"below": 0, "in_band": 46, "above": 0, "unknown": 0})
    assert (got.peak_v, got.peak_a) == (6.008, 0.502)
    assert got.peak_in_w == 3.0
    assert not got.start_unknown
    assert got.check.agrees
    assert got.check.pages == 10
    assert got.check.energy_in_percent == pytest.approx(0, abs=1e-9)


def test_one_percent_of_a_phone():
    """5000 mAh at 3.85 V is 19.25 Wh (r2100.com, an article on a phone's battery); 1 % of it
    is 693 J stored, at 85 % of the way from socket to cell 815 J from USB, and at 5 W that
    takes 163 s. Recomputed here."""
    stored_j = 5.0 * 3.85 * 3600 / 100
    assert stored_j == pytest.approx(693)
    socket_j = stored_j / 0.85
    assert socket_j == pytest.approx(815, abs=1)
    percent_mj = round(socket_j * 1000)
    seconds = socket_j / 5
    assert seconds == pytest.approx(163, abs=0.5)
    recorder = Recorder(efficiency=1.0)
    count = round(seconds * 5)  # samples of 0.2 s
    raw = b""
    while count:
        raw += recorder.page(bus_mv=5000, bus_ma=1000, count=min(count, 23))
        count -= min(count, 23)
    got = review(decode(raw), {"percent_mj": percent_mj})
    assert got.percent == pytest.approx(1.0, abs=2e-3)
    # The energy counter over the cell's energy gives the same percentage.
    cell_wh = 5.0 * 3.85
    assert 100 * got.energy_out_wh * 0.85 / cell_wh == pytest.approx(got.percent, rel=1e-5)
    # Charge at the converter's input is no battery charge: taken for one it would be wrong.
    assert 100 * got.charge_mah / 5000 == pytest.approx(0.906, abs=2e-3)


def test_charge_does_not_depend_on_volts():
    """The same amps at twice the volts: the same charge, twice the energy."""
    low, high = (
        review(decode(Recorder().page(bus_mv=volts, bus_ma=400))) for volts in (4000, 8000)
    )
    assert low.charge_mah == high.charge_mah == pytest.approx(0.4 * 4.6 / 3.6)
    assert high.energy_in_j == 2 * low.energy_in_j
    assert math.isnan(low.percent)
    assert low.pace_s == {}


def test_totals_cover_missing_pages():
    recorder = Recorder()
    every = [recorder.page() for _ in range(20)]
    whole = review(decode(b"".join(every)))
    holes = review(decode(b"".join(every[:5] + every[8:])))
    assert holes.energy_in_j == whole.energy_in_j
    assert holes.turns == whole.turns
    assert (whole.missing_pages, holes.missing_pages) == (0, 3)
    assert holes.check.pages == 16  # the page after the hole carries the hole's energy too
    assert holes.check.agrees
    assert holes.boots[0].missing_pages == 3


def test_since_the_page_before():
    recorder = Recorder()
    every = [recorder.page() for _ in range(12)]
    got = review(decode(b"".join(every[8:])), before=every[7])
    assert got.energy_in_j == pytest.approx(4 * 4.6 * 3)
    assert not got.start_unknown
    lonely = review(decode(b"".join(every[8:])))
    assert lonely.start_unknown
    assert lonely.energy_in_j == pytest.approx(3 * 4.6 * 3)


def test_boots_and_how_they_ended():
    recorder = Recorder()
    raw = recorder.page() + recorder.page(flags=layout.FLAG_FADING, count=10)
    recorder.reboot()
    raw += recorder.page()
    recorder.reboot()
    raw += recorder.page(cue=layout.REST, connected=0, pace_tpm=0, valid=layout.BOUND,
                         bus_ma=0, count=5, flags=layout.FLAG_FLUSHED)
    pages = decode(raw)
    assert [(s.boot, s.first, s.stop, s.ended) for s in spans(pages)] == [
        (1, 0, 2, "faded"), (2, 2, 3, "cut"), (3, 3, 4, "host"),
    ]
    got = review(pages)
    assert got.boots_cut == 1
    assert [b.length_s for b in got.boots] == pytest.approx([6.6, 4.6, 1.0])
    assert sum(b.energy_in_wh for b in got.boots) == pytest.approx(got.energy_in_wh)
    assert got.turning_s == pytest.approx(11.2)
    assert got.cue_s["rest"] == pytest.approx(1.0)


def test_events_by_reason():
    recorder = Recorder()
    raw = recorder.page(events=[(layout.EV_BOOT, 0, 0), (layout.EV_CONNECTED, 50, 0),
                                (layout.EV_RELEASED, 300, layout.WHY_OVER_VOLTAGE)])
    raw += recorder.page(events=[(layout.EV_COLLAPSE, 0, 0),
                                 (layout.EV_FAULT, 1, layout.FAULT_SENSOR),
                                 (layout.EV_RELEASED, 300, 77)])
    got = review(decode(raw))
    assert got.connections == 1
    assert got.releases == {"over_voltage": 1, "code 77": 1}
    assert got.faults_by_name == {"sensor": 1}
    assert (got.faults, got.collapses) == (1, 1)


def test_a_lasting_fault_is_one_fault():
    """Each page repeats a fault that stands, dated before the page."""
    recorder = Recorder()
    sensor = layout.FAULT_SENSOR
    first = recorder.page(events=[(layout.EV_FAULT, 40, sensor)])
    rest = first + b"".join(_repeats(recorder, sensor, 5))
    got = review(decode(rest))
    assert (got.faults, got.faults_by_name) == (1, {"sensor": 1})
    later = review(decode(rest[len(first):]), before=first)
    assert (later.faults, later.faults_by_name) == (0, {"sensor": 1})


def _repeats(recorder, fault, count):
    for _ in range(count):
        before = recorder.faults
        page = recorder.page(events=[(layout.EV_FAULT, -1, fault)])
        recorder.faults = before
        # the recorder counts every fault event; a board counts beginnings
        raw = bytearray(page)
        layout.put(raw, layout.AT_FAULTS, 2, before)
        yield seal(raw)


def test_a_pace_that_is_a_bound():
    """The board counts it for the band as the lamp does; it makes no turns and no mean."""
    recorder = Recorder()
    raw = recorder.page(valid=layout.BOUND, bus_ma=5) + recorder.page(pace_tpm=70)
    got = review(decode(raw), SETTINGS)
    assert got.bound_s == pytest.approx(4.6)
    assert got.mean_pace_tpm == 70
    assert got.turns == pytest.approx(70 * 4.6 / 60, abs=1e-3)
    assert got.pace_s["in_band"] == got.band_s == pytest.approx(9.2)


def test_a_page_closed_early_may_end_with_half_a_sample():
    recorder = Recorder()
    recorder.energy_in = -300_000 // 2  # half of its last sample at 3 W was never measured
    raw = recorder.page(count=2)
    got = review(decode(raw))
    assert got.check.agrees
    recorder = Recorder()
    recorder.energy_in = -300_000 // 2
    raw = recorder.page(count=1) + recorder.page()
    assert review(decode(raw)).check.agrees


def test_wrapping_counters():
    pages = [make_page(i, samples=[], totals={"connections": n, "on": 100 * i})
             for i, n in ((5, 65_530), (6, 65_535), (7, 4))]
    got = review(decode(b"".join(pages[1:])), before=pages[0])
    assert got.connections == 10


def test_totals_that_went_back():
    """A board that lost its totals and counts anew: what it counts from there is added."""
    first = Recorder()
    raw = b"".join(first.page() for _ in range(5))
    anew = Recorder(seq=6, boot=2)
    raw += b"".join(anew.page() for _ in range(3))
    got = review(decode(raw))
    assert got.totals_restarts == 1
    assert got.energy_in_j == pytest.approx(8 * 4.6 * 3)


def test_samples_that_disagree_with_the_totals_are_told():
    recorder = Recorder()
    raw = recorder.page()
    recorder.energy_in += 2_000_000
    raw += recorder.page()
    got = review(decode(raw))
    assert not got.check.agrees
    assert got.check.energy_in_percent == pytest.approx(100 * (27.6 / 29.6 - 1))


def test_stalls_are_not_zeros():
    recorder = Recorder()
    got = review(decode(recorder.page(stalls=6)), SETTINGS)
    assert got.no_data_s == pytest.approx(1.2)
    assert got.mean_pace_tpm == 60
    assert got.on_s == pytest.approx(3.4)
    assert got.check.pages == 0


def test_nothing_to_review():
    got = review(decode(b""))
    assert (got.pages, got.energy_in_j, got.boots) == (0, 0, ())
    assert math.isnan(got.mean_pace_tpm)
    assert got.check.agrees


@pytest.mark.parametrize("seed", range(20))
def test_any_whole_page_can_be_reviewed(seed):
    """Pages of a right CRC and any contents: no exception, no negative energy."""
    rng = np.random.default_rng(seed)
    raw = b""
    for seq in rng.integers(0, 2**32, 30):
        sums = {name: int(rng.integers(0, 2**32)) for name in ("energy_in", "energy_out", "on")}
        samples = [
            tuple(int(rng.integers(0, high)) for high in (4096, 4096, 1024, 300, 300, 8, 2, 4))
            for _ in range(rng.integers(0, 24))
        ]
        events = [(int(rng.integers(0, 256)), int(rng.integers(-9, 9)), int(rng.integers(0, 99)))
                  for _ in range(rng.integers(0, 4))]
        raw += make_page(int(seq), boot=int(rng.integers(0, 2**24)), samples=samples,
                         events=events, totals=sums, version=layout.VERSION_WIDER,
                         flags=int(rng.integers(0, 256)) & ~layout.FLAG_SUMMARY)
    got = review(decode(raw), SETTINGS)
    assert got.energy_in_j >= 0
    assert got.pages == 30


# ---- which pages belong to the last outing


def contact(number, pages, finished=1, kind="pull"):
    from steadyturn.sessions.library import Contact

    return Contact(number, 1, kind, 1000.0 * number, 1, 0, "0", 1, 9, b"", finished, pages)


def ids(outing):
    return [c.id for c in outing.contacts]


def test_the_last_pull_that_brought_pages():
    assert last_outing([]) is None
    assert last_outing([contact(1, 0)]) is None
    only = last_outing([contact(1, 5)])
    assert (ids(only), only.previous, only.latest_brought_none) == ([1], None, False)
    two = last_outing([contact(1, 5), contact(2, 3), contact(3, 0)])
    assert ids(two) == [2]
    assert two.previous is not None
    assert two.previous.id == 1
    assert two.latest_brought_none
    assert not two.unfinished


def test_a_pull_that_was_broken_off_belongs_to_the_next():
    resumed = last_outing([contact(1, 5), contact(2, 3, 0), contact(3, 0, 0), contact(4, 9)])
    assert ids(resumed) == [2, 4]
    assert resumed.previous is not None
    assert resumed.previous.id == 1
    broken = last_outing([contact(1, 5), contact(2, 3, 0)])
    assert ids(broken) == [2]
    assert broken.unfinished


def test_a_meeting_that_was_no_pull_hides_nothing():
    met = last_outing([contact(1, 5), contact(2, 0, 0, "watch"), contact(3, 4),
                       contact(4, 0, 1, "flash")])
    assert ids(met) == [3]
    assert met.previous is not None
    assert (met.previous.id, met.latest_brought_none) == (1, False)
