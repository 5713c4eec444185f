"""The review's figures against the samples of the exported CSV, integrated by numpy and by DuckDB.

The outing is one in which a board's totals and its samples say the same exactly, so that what
is integrated from rows of 0.2 s must be the review's figure to 1e-9, and not to the 3 %
by which ticks and samples differ on a real board (those are compared in sessions/test_figures).
"""

from __future__ import annotations

import sys
from pathlib import Path

import duckdb
import numpy as np
import pandas
import pytest
from steadyturn.jobs.export import export
from steadyturn.jobs.review import review
from steadyturn.sessions.library import Library
from steadyturn.settings.file import encode
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from model_outings import Maker, wander

STEP_S = 0.2
NEAR = {"rel": 1e-9, "abs": 1e-9}


@pytest.fixture(scope="module")
def outing(tmp_path_factory):
    """(review, folder of the CSV, settings) of four boots: into the band, too slow, off the load,
    far too fast."""
    folder = tmp_path_factory.mktemp("csv")
    maker = Maker(exact=True)
    connected = [(3, layout.EV_CONNECTED, 9000)]
    maker.boot_of(np.concatenate([np.linspace(3, maker.target, 60), wander(150, maker.target)]),
                  events=connected)
    maker.boot_of(wander(60, maker.low - 3, spread=4), seed=2, events=connected)
    maker.boot_of(wander(40, maker.target, seed=5), connected=np.arange(200) > 70, seed=3)
    maker.boot_of(wander(50, maker.high, spread=6, seed=6), seed=4, events=connected)
    with Library(folder / "library") as shelf:
        board = shelf.board("e6614c311b7a5a2f", 7, now_s=1.8e9)
        size = layout.PAGE_BYTES
        pages = [maker.raw[at : at + size] for at in range(0, len(maker.raw), size)]
        contact = shelf.begin(board, kind="pull", host_s=1.8e9, boot=5, t_ms=900, firmware="0.1.0",
                              seqs=(1, len(pages)), settings=encode(maker.settings))
        shelf.add_pages(board, contact, pages)
        shelf.finish(contact)
    export(folder / "csv", folder / "library")
    return review(folder / "library"), folder / "csv", maker.settings


def by_numpy(path, s):
    """Integrals of the samples, by numpy alone."""
    rows = pandas.read_csv(path)
    volts, amps = rows.bus_mv.to_numpy() / 1000, rows.bus_ma.to_numpy() / 1000
    pace, valid = rows.pace_tpm.to_numpy(), (rows.validity == "valid").to_numpy()
    on, turning = (rows.connected == 1).to_numpy(), (rows.cue != "rest").to_numpy()
    low, high = s["low_dtpm"] / 10, s["high_dtpm"] / 10

    def seconds(which):
        return float(np.count_nonzero(which)) * STEP_S

    return {
        "energy_in_j": float(np.sum(volts * amps)) * STEP_S,
        "energy_out_j": float(np.sum(out_w(volts[on], amps[on], s))) * STEP_S,
        "charge_mah": float(np.sum(amps)) * STEP_S / 3.6,
        "turns": float(np.sum(pace[valid])) * STEP_S / 60,
        "mean_pace_tpm": float(np.mean(pace[valid])),
        "connected_s": seconds(on),
        "turning_s": seconds(turning),
        "hold_s": seconds(rows.cue == "hold"),
        "below_s": seconds(turning & (pace < low)),
        "above_s": seconds(turning & (pace > high)),
        "in_band_s": seconds(turning & (pace >= low) & (pace <= high)),
        "peak_in_w": float(np.max(volts * amps)),
        "peak_pace_tpm": float(np.max(pace[valid])),
    }


def out_w(volts, amps, s):
    """At the device's socket, by the law of the settings (firmware/settings.md): the converter's
    losses follow the larger of both its currents, the path's its output current."""
    out_v = s["out_mv"] / 1000
    out_a = volts * amps / out_v
    for _ in range(60):
        coil = np.maximum(amps, out_a)
        lost = s["loss_uw"] / 1e6 + s["loss_mv"] / 1e3 * coil + s["loss_mohm"] / 1e3 * coil**2
        out_a = np.maximum(volts * amps - lost, 0) / out_v
    return np.maximum(out_a * out_v - out_a**2 * s["path_mohm"] / 1e3, 0)


# the same in SQL; the converter's output current by the same steps, unrolled as a recursion
QUERY = """
    WITH RECURSIVE rows AS (
        SELECT row_number() OVER () AS id, bus_mv / 1000.0 AS v, bus_ma / 1000.0 AS i,
               pace_tpm, validity, connected, cue FROM '{path}'),
    steps(id, n, a) AS (
        SELECT id, 0, v * i / {out_v} FROM rows
        UNION ALL
        SELECT s.id, n + 1, greatest(0, r.v * r.i - ({l0} + {l1} * greatest(r.i, s.a)
               + {l2} * greatest(r.i, s.a) * greatest(r.i, s.a))) / {out_v}
        FROM steps s JOIN rows r USING (id) WHERE n < 24),
    outs AS (SELECT id, greatest(0, a * {out_v} - a * a * {path_ohm}) AS w FROM steps
             WHERE n = 24)
    SELECT sum(v * i) * 0.2 AS energy_in_j,
           sum(w) FILTER (connected = 1) * 0.2 AS energy_out_j,
           sum(i) * 0.2 / 3.6 AS charge_mah,
           sum(pace_tpm) FILTER (validity = 'valid') * 0.2 / 60 AS turns,
           avg(pace_tpm) FILTER (validity = 'valid') AS mean_pace_tpm,
           count(*) FILTER (connected = 1) * 0.2 AS connected_s,
           count(*) FILTER (cue != 'rest') * 0.2 AS turning_s,
           count(*) FILTER (cue = 'hold') * 0.2 AS hold_s,
           count(*) FILTER (cue != 'rest' AND pace_tpm < {low}) * 0.2 AS below_s,
           count(*) FILTER (cue != 'rest' AND pace_tpm > {high}) * 0.2 AS above_s,
           count(*) FILTER (cue != 'rest' AND pace_tpm BETWEEN {low} AND {high}) * 0.2
               AS in_band_s,
           max(v * i) AS peak_in_w, max(pace_tpm) FILTER (validity = 'valid') AS peak_pace_tpm
    FROM rows JOIN outs USING (id)
"""


def by_duckdb(path, s):
    query = QUERY.format(
        path=path, out_v=s["out_mv"] / 1000, l0=s["loss_uw"] / 1e6, l1=s["loss_mv"] / 1e3,
        l2=s["loss_mohm"] / 1e3, path_ohm=s["path_mohm"] / 1e3,
        low=s["low_dtpm"] / 10, high=s["high_dtpm"] / 10)
    found = duckdb.sql(query)
    return dict(zip(found.columns, map(float, found.fetchall()[0]), strict=True))


def ours(figures):
    f = figures
    return {
        "energy_in_j": f.energy_in_j, "energy_out_j": f.energy_out_j, "charge_mah": f.charge_mah,
        "turns": f.turns, "mean_pace_tpm": f.mean_pace_tpm, "connected_s": f.connected_s,
        "turning_s": f.turning_s, "hold_s": f.cue_s["hold"], "below_s": f.pace_s["below"],
        "above_s": f.pace_s["above"], "in_band_s": f.pace_s["in_band"],
        "peak_in_w": f.peak_in_w, "peak_pace_tpm": f.peak_pace_tpm,
    }


@pytest.mark.parametrize("way", [by_numpy, by_duckdb])
def test_figures_from_the_samples(outing, way):
    got, folder, settings = outing
    assert settings["coil"] == "larger"
    right = way(folder / "samples.csv", settings)
    figures = ours(got.figures)
    assert set(right) == set(figures)
    for name, value in right.items():
        assert figures[name] == pytest.approx(value, **NEAR), name
    assert figures["below_s"] > 20
    assert figures["above_s"] > 10
    assert got.figures.check.agrees


def test_estimates_are_these_figures(outing):
    """What the tables show is what was integrated, and the band of each holds it."""
    got, folder, settings = outing
    right = by_numpy(folder / "samples.csv", settings)
    for name, key, per in (("energy_in", "energy_in_j", 3600),
                           ("energy_out", "energy_out_j", 3600), ("charge", "charge_mah", 1),
                           ("turns", "turns", 1)):
        estimate = got.estimate(name)
        assert estimate.value == pytest.approx(right[key] / per, **NEAR)
        assert estimate.low < estimate.value < estimate.high
    losses = got.estimate("losses")
    assert losses.value == pytest.approx(
        (right["energy_in_j"] - right["energy_out_j"]) / 3600, **NEAR)
    percent = got.estimate("percent")
    assert percent.value == pytest.approx(
        right["energy_out_j"] * 1000 / settings["percent_mj"], **NEAR)


def test_the_spread_of_the_pace(outing):
    """Once under way, of the known paces: as numpy's and DuckDB's own quantiles."""
    got, folder, _ = outing
    path = folder / "samples.csv"
    (quantiles, deviation, seconds), = duckdb.sql(
        f"WITH first AS (SELECT boot, min(t_ms) AS t0 FROM '{path}' WHERE cue != 'rest' "
        "GROUP BY boot) "
        "SELECT quantile_cont(pace_tpm, [0.05, 0.25, 0.5, 0.75, 0.95]), stddev_pop(pace_tpm), "
        f"count(*) * 0.2 FROM '{path}' JOIN first USING (boot) WHERE t_ms - t0 >= 10000 "
        "AND validity = 'valid' AND cue != 'rest'").fetchall()
    p = got.pace
    assert [p.p5_tpm, p.p25_tpm, p.p50_tpm, p.p75_tpm, p.p95_tpm] == pytest.approx(
        quantiles, **NEAR)
    assert p.deviation_tpm == pytest.approx(deviation, **NEAR)
    assert p.seconds == pytest.approx(float(seconds), **NEAR)
