"""An outing against the machine's earlier ones, against the model, and by its own settings."""

from __future__ import annotations

from math import isnan
from types import SimpleNamespace

import numpy as np
import pytest
from model_outings import Maker, wander
from page_maker import Recorder
from steadyturn.sessions import in_force
from steadyturn.sessions.accuracy import accuracy
from steadyturn.sessions.decode import decode
from steadyturn.sessions.estimates import Estimate
from steadyturn.sessions.expected import expected
from steadyturn.sessions.figures import review
from steadyturn.sessions.flow import flow
from steadyturn.sessions.history import FIGURES, history
from steadyturn_fw import pages as layout


def row(per_turn_j=2.1, *, turns=300.0, turning_s=300.0, connected_s=250.0, band=0.9, faults=0,
        connections=4, lost=0.09):
    out_j = per_turn_j * turns
    return SimpleNamespace(
        energy_out_j=out_j, energy_in_j=out_j / (1 - lost), turns=turns, turning_s=turning_s,
        connected_s=connected_s, band_s=band * turning_s, connections=connections, faults=faults)


def usual(count=8, seed=0):
    rng = np.random.default_rng(seed)
    return [row(2.1 * (1 + rng.normal(0, 0.015)), band=0.9 + rng.normal(0, 0.02))
            for _ in range(count)]


def told(now, earlier):
    return {past.name: past for past in history(now, earlier)}


# ---- history


def test_an_outing_as_the_others():
    got = told(row(2.12), usual())
    assert set(got) == {figure.name for figure in FIGURES}
    assert {past.verdict for past in got.values()} == {"usual"}
    assert {past.trend for past in got.values()} == {"none"}
    past = got["out_per_turn"]
    assert past.value == pytest.approx(2.12)
    assert past.low < past.median < past.high
    assert past.count == 8


@pytest.mark.parametrize(("now", "name", "verdict"), [
    (row(1.7), "out_per_turn", "worse"), (row(2.5), "out_per_turn", "better"),
    (row(lost=0.16), "losses_share", "worse"), (row(connections=30), "connections", "worse"),
    (row(faults=2), "faults", "worse"), (row(band=0.6), "in_band", "worse"),
    (row(1.6), "power_out", "worse"),
])
def test_what_is_out_of_the_usual(now, name, verdict):
    assert told(now, usual())[name].verdict == verdict


def test_usual_outings_are_not_told_as_unusual():
    """Noise as of hand and sensor: few of a hundred outings stand out in any figure."""
    odd = 0
    for seed in range(100):
        earlier = usual(12, seed)
        odd += any(p.verdict != "usual" for p in told(earlier[-1], earlier[:-1]).values())
    assert odd <= 5


def test_too_few_to_say():
    got = told(row(1.0), usual(2))
    assert {past.verdict for past in got.values()} == {"too few"}
    assert isnan(got["out_per_turn"].median)
    short = usual(4) + [row(turning_s=20.0)] * 5  # a short try counts for nothing
    assert told(row(), short)["out_per_turn"].count == 4
    assert history(row(turning_s=20.0), usual()) == ()


def test_a_machine_that_gets_worse():
    fading = [row(2.2 * (1 - 0.02 * n)) for n in range(10)]
    got = told(fading[-1], fading[:-1])["out_per_turn"]
    assert got.trend == "worse"
    assert told(fading[0], fading[:0:-1])["out_per_turn"].trend == "better"
    assert told(fading[4], fading[:4])["out_per_turn"].trend == "none"  # five say nothing yet


def test_no_trend_in_noise():
    trends = 0
    for seed in range(100):
        earlier = usual(12, 1000 + seed)
        trends += told(earlier[-1], earlier[:-1])["out_per_turn"].trend != "none"
    assert trends <= 2


# ---- the model


@pytest.fixture(scope="module")
def settled():
    maker = Maker()
    maker.boot_of(wander(90, maker.target), winding_c=17.5)
    return maker, decode(maker.raw)


def compared(maker, pages, **more):
    return {c.name: c for c in expected(maker.rig, flow(pages), accuracy(maker.settings), **more)}


def test_the_model_s_own_outing_is_as_expected(settled):
    maker, pages = settled
    got = compared(maker, pages)
    assert set(got) == {"loaded_volts", "power_in"}
    for one in got.values():
        assert one.verdict == "as expected"
        assert one.measured == pytest.approx(one.expected, rel=0.005)
        assert one.low < one.expected < one.high
        assert one.note == "pace_from_volts"
    assert {c.note for c in compared(maker, pages, pace_measured=True).values()} == {""}


def test_less_than_expected():
    maker = Maker()
    maker.boot_of(wander(90, maker.target), draw_a=0.25)
    got = compared(maker, decode(maker.raw))
    assert got["power_in"].verdict == "less"
    assert got["loaded_volts"].verdict == "more"  # what draws less sags less


def test_converter_s_losses_where_the_output_is_measured(settled):
    maker, pages = settled
    energy_wh = float(flow(pages).watts.sum()) * 0.2 / 3600

    def out(share):
        wh = energy_wh * (1 - share)
        return Estimate("energy_out", wh, 0.99 * wh, 1.01 * wh, "Wh", "measured")

    kept = compared(maker, pages, out=out(0.10))["losses_share"]
    assert kept.measured == pytest.approx(10.0)
    assert kept.verdict == "as expected"
    assert compared(maker, pages, out=out(0.45))["losses_share"].verdict == "more"


def test_too_little_to_compare():
    maker = Maker()
    maker.boot_of(wander(15, maker.target))
    assert expected(maker.rig, flow(decode(maker.raw)), accuracy(maker.settings)) == ()


# ---- the settings of each boot


def settings_text(low, high, percent_mj=800_000):
    body = b'{"low": %d}' % low
    import zlib

    crc = zlib.crc32(body)
    text = b'{"crc": "%08x", "settings":\n%b\n}\n' % (crc, body)
    return text, {"low_dtpm": low, "high_dtpm": high, "percent_mj": percent_mj}


def test_paces_are_counted_by_the_band_of_their_boot():
    """Flashed in between: 60 turns/min were in the old band and are below the new one."""
    old, new = settings_text(500, 700), settings_text(650, 900, 400_000)
    recorder = Recorder(efficiency=1.0)
    raw = b""
    for text, _ in (old, new):
        told_crc = (layout.EV_SETTINGS, 0, in_force.crc_low(text))
        raw += recorder.page(count=0, events=[(layout.EV_BOOT, 0, 1), told_crc])
        raw += recorder.page(pace_tpm=60)
        recorder.reboot()
    pages = decode(raw)
    of_boots = in_force.by_boot(pages.events, [old, new])
    assert {boot: s["low_dtpm"] for boot, s in of_boots.items()} == {1: 500, 2: 650}
    got = review(pages, new[1], of_boots=of_boots)
    assert got.pace_s == pytest.approx({"below": 4.6, "in_band": 4.6, "above": 0, "unknown": 0})
    assert got.other_band_boots == 1
    one_j = 3.0 * 4.6
    assert got.percent == pytest.approx(one_j / 800 + one_j / 400)
    # nobody saw the old ones: those at the pull stand for all
    blind = review(pages, new[1], of_boots=in_force.by_boot(pages.events, [new]))
    assert blind.pace_s["below"] == pytest.approx(9.2)
    assert blind.other_band_boots == 0


@pytest.mark.parametrize("text", [b"", b"{", b'{"crc": "zzzzzzzz"', b'{"crc": 1}' * 9])
def test_a_text_without_a_crc(text):
    assert in_force.crc_low(text) is None
