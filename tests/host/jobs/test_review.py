"""The review from a library: which pages it shows, what it says, and its picture."""

from __future__ import annotations

import builtins
import json
import struct
import sys
import zlib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from steadyturn.cli.main import code
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.review import Review, review
from steadyturn.report import plots
from steadyturn.report.objects import to_object
from steadyturn.report.review import text as brief
from steadyturn.report.review_more import text
from steadyturn.sessions.library import Library
from steadyturn_fw import fields
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import Recorder

UID = "e6614c311b7a5a2f"
STORY = {
    "low_dtpm": 500, "target_dtpm": 600, "high_dtpm": 750, "over_dtpm": 900, "rest_dtpm": 150,
    "window_low_mv": 4200, "window_high_mv": 8500, "over_mv": 11000, "release_mv": 3500,
    "connect_mv": 5000, "percent_mj": 800_000, "fade_mv": 3600, "forbid_mv": 3000,
    "gap_ms": 2000, "version": fields.VERSION, "rig": "bench boost", "label": "kitchen",
}


def settings_text(**changes):
    """A settings file by the rules written in fields.py, made without the host's encoder."""
    values = {name: low for name, low, _, _ in fields.WHOLE}
    values |= {name: choices[0] for name, choices, _ in fields.CHOICE}
    values |= {name: "" for name, _, _ in fields.TEXT}
    values |= STORY | changes
    line = json.dumps(values)
    crc = zlib.crc32(line.encode())
    return f'{{"crc": "{crc:08x}", "settings":\n{line}\n}}\n'.encode()


def shelve(folder, pages, *, host_s=1_000_000.0, uid=UID, finished=True, settings=None,
           format_id=7):
    with Library(folder) as shelf:
        board = shelf.board(uid, format_id, now_s=host_s)
        contact = shelf.begin(
            board, kind="pull", host_s=host_s, boot=9, t_ms=5000, firmware="0.1.0",
            seqs=(1, 99), settings=settings_text() if settings is None else settings)
        shelf.add_pages(board, contact, pages)
        if finished:
            shelf.finish(contact)


def evening(recorder, boots=3):
    """Boots of a minute each: too slow, in band, once too fast; the second is cut off."""
    pages = []
    connected = [(layout.EV_CONNECTED, 0, 0)]
    for n in range(boots):
        pages.append(recorder.page(pace_tpm=30, cue=layout.FASTER, connected=0, bus_ma=10,
                                   valid=layout.BOUND, in_band=False,
                                   events=[(layout.EV_BOOT, 0, 0)]))
        pages.append(recorder.page(events=connected))
        pages += [recorder.page() for _ in range(8)]
        pages.append(recorder.page(pace_tpm=85, bus_mv=9000, cue=layout.SLOWER, in_band=False))
        released = [(layout.EV_RELEASED, 40, layout.WHY_FADING)]
        if n != 1:
            pages.append(recorder.page(count=8, flags=layout.FLAG_FADING, events=released))
        recorder.reboot()
    return pages


def test_since_the_last_pull(tmp_path):
    recorder = Recorder()
    first, second = evening(recorder), evening(recorder, 2)
    shelve(tmp_path, first, host_s=1000.0)
    shelve(tmp_path, second, host_s=2000.0)
    got = review(tmp_path)
    assert (got.scope, got.pulled_s, got.since_s) == ("last_pull", 2000.0, 1000.0)
    assert got.figures.pages == len(second)
    assert not got.latest_brought_none
    everything = review(tmp_path, everything=True)
    assert everything.figures.pages == len(first) + len(second)
    assert everything.since_s is None
    # what the two pulls brought is all there is: the totals join without a gap
    with Library(tmp_path) as shelf:
        shelf._db.execute("DELETE FROM page WHERE contact = 2")
    earlier = review(tmp_path)
    assert earlier.figures.energy_in_j + got.figures.energy_in_j == pytest.approx(
        everything.figures.energy_in_j)


def test_a_pull_that_brought_nothing(tmp_path):
    pages = evening(Recorder())
    shelve(tmp_path, pages, host_s=1000.0)
    shelve(tmp_path, pages, host_s=2000.0)
    got = review(tmp_path)
    assert got.latest_brought_none
    assert got.pulled_s == 1000.0
    assert got.figures.pages == len(pages)
    assert "brought nothing new" in brief(got)
    assert "brought nothing new" in text(got)


def test_a_pull_that_was_broken_off(tmp_path):
    pages = evening(Recorder())
    shelve(tmp_path, pages[:10], finished=False)
    got = review(tmp_path)
    assert got.unfinished
    assert "Pull again" in " ".join(text(got).split())
    shelve(tmp_path, pages[10:])
    assert review(tmp_path).figures.pages == len(pages)


def test_which_board(tmp_path):
    shelve(tmp_path, evening(Recorder(), 1))
    shelve(tmp_path, evening(Recorder(), 2), uid="e6614c311b7affff", host_s=2_000_000.0)
    assert review(tmp_path).board.endswith("ffff")
    assert review(tmp_path).other_boards == (UID,)
    assert review(tmp_path, board="5A2F").board == UID
    for wanted in ("00", ""):
        with pytest.raises(WrongInput) as caught:
            review(tmp_path, board=wanted)
        assert UID in str(caught.value)


def test_a_reformatted_board_shows_its_newest_journal(tmp_path):
    shelve(tmp_path, evening(Recorder(), 1))
    shelve(tmp_path, evening(Recorder(), 2), format_id=8)
    assert (review(tmp_path).format_id, review(tmp_path, board=UID).format_id) == (8, 8)


def test_nothing_yet(tmp_path):
    with pytest.raises(Failed) as caught:
        review(tmp_path / "none")
    assert "steadyturn pull" in caught.value.how
    shelve(tmp_path, [])
    with pytest.raises(Failed) as caught:
        review(tmp_path)
    assert "steadyturn pull" in caught.value.how


def test_settings_of_an_older_version_still_give_band_and_name(tmp_path):
    shelve(tmp_path, evening(Recorder()), settings=settings_text(version=1))
    found = review(tmp_path)
    assert (found.label, found.rig) == ("kitchen", "bench boost")
    assert found.band_tpm == (50, 60, 75)
    assert found.window_v == (4.2, 8.5)


@pytest.mark.parametrize("settings", [b"", b"{", settings_text()[:-30]])
def test_without_valid_settings(tmp_path, settings):
    shelve(tmp_path, evening(Recorder()), settings=settings)
    got = review(tmp_path)
    assert got.band_tpm is None
    assert got.window_v is None
    assert got.figures.energy_in_j > 0
    said = " ".join(text(got).split())
    assert "no valid settings" in said
    assert "% of the phone" not in said


def test_what_it_says(tmp_path):
    shelve(tmp_path, evening(Recorder()))
    got = review(tmp_path)
    said = text(got)
    flat = " ".join(said.split())
    assert max(map(len, said.splitlines())) <= 80
    assert "1 boot was cut off by loss of power" in flat
    assert "to the phone" in flat
    assert "inferred" in flat
    assert "Phone connected 3 times" in flat
    assert "2 x the board's own supply is going" in flat
    assert "kitchen" in flat
    assert got.figures.boots_cut == 1
    assert got.percent_j == 800
    assert got.figures.percent == pytest.approx(got.figures.energy_out_j / 800)


def test_the_screen_holds_only_what_json_has(tmp_path):
    shelve(tmp_path, evening(Recorder()))
    got = review(tmp_path)
    shown = to_object(got)
    assert set(shown) == set(Review.__dataclass_fields__) - {"pages", "earlier"}
    json.dumps(shown)
    inner = shown["figures"]
    assert inner["cue_s"]["hold"] == pytest.approx(3 * 9 * 4.6 + 2 * 1.6)
    assert inner["pace_s"] == pytest.approx(
        {"below": 3 * 4.6, "in_band": 3 * 9 * 4.6 + 2 * 1.6, "above": 3 * 4.6, "unknown": 0})


def test_the_command(tmp_path, capsys):
    shelve(tmp_path, evening(Recorder()))
    picture = tmp_path / "outing.png"
    assert code(["review", "--library", str(tmp_path), "--plot", str(picture), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["plot"] == str(picture)
    assert picture.stat().st_size > 10_000
    assert code(["review", "--library", str(tmp_path), "--all"]) == 0
    assert "1 outing, up to" in capsys.readouterr().out
    for name in ("outing.gif", "nowhere/outing.png"):
        assert code(["review", "--library", str(tmp_path),
                     "--plot", str(tmp_path / name)]) == 2
        assert "--plot" in capsys.readouterr().err
    assert code(["review", "--library", str(tmp_path), "--board", "zz"]) == 2
    assert UID in capsys.readouterr().err


# ---- the picture


def test_without_matplotlib(tmp_path, monkeypatch, capsys):
    shelve(tmp_path, evening(Recorder(), 1))
    real = builtins.__import__

    def missing(name, *rest, **more):
        if name.split(".")[0] == "matplotlib":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", missing)
    assert code(["review", "--library", str(tmp_path), "--plot", str(tmp_path / "a.png")]) == 1
    assert "[plots]'" in capsys.readouterr().err
    assert code(["review", "--library", str(tmp_path)]) == 0


def png_size(path):
    raw = path.read_bytes()
    assert raw[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", raw[16:24])


def test_png_and_svg(tmp_path):
    recorder = Recorder()
    pages = evening(recorder)
    del pages[5]
    shelve(tmp_path, pages)
    got = review(tmp_path, plot=tmp_path / "a.png")
    assert png_size(tmp_path / "a.png") == (1500, 1260)
    plots.write(got, tmp_path / "a.svg")
    plots.write(got, tmp_path / "b.svg")
    first = (tmp_path / "a.svg").read_text()
    assert first == (tmp_path / "b.svg").read_text()
    for words in ("length unknown", "pages missing", "boot 2", "turns/min", "window", "hold"):
        assert words in first


def test_the_lines_are_the_samples(tmp_path):
    recorder = Recorder()
    pages = evening(recorder)
    del pages[5]
    shelve(tmp_path, pages)
    got = review(tmp_path)
    stretches = plots.lay_out(got.pages)
    assert [s.boot for s in stretches] == [1, 2, 3]
    assert all(a.end < b.begin for a, b in pairwise(stretches))
    for stretch, boot in zip(stretches, got.figures.boots, strict=True):
        assert stretch.end - stretch.begin == pytest.approx(boot.length_s)
    assert [len(plots.holes(s)) for s in stretches] == [1, 0, 0]
    figure = plots.draw(got)
    samples = got.pages.samples
    panels = dict(zip(plots.PANELS, figure.axes, strict=True))
    for name, want in (("volts", samples["bus_mv"] / 1000), ("amps", samples["bus_ma"] / 1000),
                       ("power", samples["bus_mv"] * 1.0 * samples["bus_ma"] / 1e6)):
        drawn = panels[name].lines[-1].get_ydata()
        assert np.array_equal(drawn[~np.isnan(drawn)], want)
        assert np.isnan(drawn).sum() == 4  # after each boot, and at the missing page
    drawn = panels["pace"].lines[-1].get_ydata()
    assert np.array_equal(drawn[~np.isnan(drawn)],
                          samples["pace_tpm"][samples["valid"] == layout.VALID])


def test_a_long_library_is_thinned_but_keeps_its_peaks(tmp_path):
    recorder = Recorder()
    shelve(tmp_path, [recorder.page(bus_mv=9600 if n == 300 else 6000) for n in range(700)])
    got = review(tmp_path, everything=True)
    volts = plots.draw(got).axes[list(plots.PANELS).index("volts")]
    assert all(len(line.get_xdata()) < 1.1 * plots.COLUMNS for line in volts.lines)
    highest = max(ys.max() for part in volts.collections
                  for ys in [part.get_paths()[0].vertices[:, 1]])
    assert highest == pytest.approx(got.pages.samples["bus_peak_mv"].max() / 1000)


def test_many_boots_are_named_without_crowding(tmp_path):
    recorder = Recorder()
    shelve(tmp_path, evening(recorder, 25))
    axes = plots.draw(review(tmp_path)).axes
    shown = [t.get_text() for t in axes[-1].get_xticklabels() if t.get_text()]
    assert 5 < len(shown) <= 16
    assert set(shown) <= {"0:51", "0:52"}
    boots = [t.get_text() for t in axes[0].texts if t.get_text().startswith("boot")]
    assert boots[0] == "boot 1"
    assert 5 < len(boots) <= 16


def test_a_boot_without_samples_has_no_place_in_the_picture(tmp_path):
    recorder = Recorder()
    pages = evening(recorder, 2)
    pages.append(recorder.page(count=0, events=[(layout.EV_HOST, 0, 1)],
                               flags=layout.FLAG_FLUSHED))
    shelve(tmp_path, pages)
    got = review(tmp_path)
    assert [b.boot for b in got.figures.boots] == [1, 2, 3]
    assert [s.boot for s in plots.lay_out(got.pages)] == [1, 2]
    assert "laptop connected" in text(got)
    shelve(tmp_path / "bare", pages[-1:])
    bare = review(tmp_path / "bare", plot=tmp_path / "bare.png")
    assert plots.lay_out(bare.pages) == []
    assert "The handle rested" in text(bare)


def test_runs():
    values = np.array([1, 1, 2, 2, 2, 1])
    times = np.array([0.0, 0.2, 0.4, 0.6, 2.0, 2.2])
    assert plots.runs(values, times) == [
        (1, 0.0, pytest.approx(0.4)), (2, 0.4, pytest.approx(0.4)),
        (2, 2.0, pytest.approx(0.2)), (1, 2.2, pytest.approx(0.2)),
    ]
    assert plots.runs(values[:0], times[:0]) == []


def test_clock():
    assert [plots.clock(s) for s in (0, 59.6, 61, 3600, 7325)] == [
        "0:00", "1:00", "1:01", "1:00:00", "2:02:05"]


def test_the_window_is_named_where_it_is_seen(tmp_path):
    """Also where it ends far above the volts: a name out there would push the panels apart."""
    shelve(tmp_path, evening(Recorder()), settings=settings_text(window_high_mv=60_000))
    axis = plots.draw(review(tmp_path)).axes[list(plots.PANELS).index("volts")]
    (name,) = [t for t in axis.texts if t.get_text() == "window"]
    low, high = axis.get_ylim()
    assert low < name.xy[1] < high < 20
