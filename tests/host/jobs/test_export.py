"""The export: its files as other programs read them, and its figures against the review's."""

from __future__ import annotations

import csv
import json
import re
import sys
import time
from pathlib import Path

import duckdb
import numpy as np
import pytest
from steadyturn.cli.main import code
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs import export as job
from steadyturn.jobs.export import export
from steadyturn.jobs.review import review
from steadyturn.report.export import text
from steadyturn.sessions import columns
from steadyturn.sessions import export as tables
from steadyturn.sessions.agreement import AGREE_PERCENT
from steadyturn.sessions.library import Library
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import STEADY, Recorder, make_page

UID = "e6614c311b7a5a2f"
PAGE_OF_COLUMNS = Path(columns.__file__).with_name("export.md")
HOST_S = 1_772_360_430.25  # 2026-03-01 10:20:30.250 UTC


def shelve(folder, pages, *, host_s=HOST_S, boot=3, t_ms=60_000, uid=UID, format_id=7):
    with Library(folder) as shelf:
        board = shelf.board(uid, format_id, now_s=host_s)
        contact = shelf.begin(board, kind="pull", host_s=host_s, boot=boot, t_ms=t_ms,
                              firmware="0.1.0", seqs=(1, 99), settings=b"")
        shelf.add_pages(board, contact, pages)
        shelf.finish(contact)


def outing(recorder, boots=3):
    pages = []
    for n in range(boots):
        pages.append(recorder.page(pace_tpm=30, cue=layout.FASTER, connected=0, bus_ma=10,
                                   valid=layout.BOUND, events=[(layout.EV_BOOT, 0, 0)]))
        pages += [recorder.page(bus_mv=5000 + 310 * i, bus_ma=400 + 17 * i, pace_tpm=50 + i,
                                stalls=2 if i == 4 else 0) for i in range(7)]
        pages.append(recorder.page(count=8, flags=layout.FLAG_FADING, events=[
            (layout.EV_RELEASED, 40, layout.WHY_FADING), (layout.EV_FAULT, 50, n + 1)]))
        recorder.reboot()
    return pages


@pytest.fixture
def shelf(tmp_path):
    """Three boots, of which the last was met by a host."""
    pages = outing(Recorder())
    shelve(tmp_path / "library", pages)
    return tmp_path / "library", pages


def read(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(rows, name):
    return np.array([float(r[name]) if r[name] else np.nan for r in rows])


def said(table):
    """Columns and types by export.md."""
    text = PAGE_OF_COLUMNS.read_text(encoding="utf-8")
    section = re.split(r"^## ", text, flags=re.M)[1:]
    found = next(s for s in section if table in s.splitlines()[0].split(", "))
    cells = [[c.strip() for c in line.split("|")[1:-1]] for line in found.splitlines()
             if line.startswith("| ") and not line.startswith("| column")]
    assert all(len(row) == 4 and row[3] for row in cells)
    return cells


@pytest.mark.parametrize("table", columns.TABLES)
def test_the_page_names_every_column_in_order(table):
    assert [row[:2] for row in said(table)] == [[c.name, c.kind] for c in columns.TABLES[table]]
    for name, _, unit, _ in said(table):
        ends = {"_ms": "ms", "_mv": "mV", "_ma": "mA", "_tpm": "turns/min", "_uj": "uJ",
                "_uc": "uC", "_k": "K", "_samples": "0.2 s"}
        for end, right in ends.items():
            if name.endswith(end):
                assert unit == right
    assert f"schema {columns.VERSION}." in PAGE_OF_COLUMNS.read_text(encoding="utf-8")


def test_totals_of_the_pages_are_the_reviews(shelf, tmp_path):
    export(tmp_path / "out", shelf[0])
    figures = review(shelf[0], everything=True).figures
    pages = read(tmp_path / "out" / "pages.csv")
    last = {name: column(pages, name)[-1] for name in
            ("energy_in_uj", "energy_out_uj", "charge_uc", "milliturns", "connected_samples")}
    assert last["energy_in_uj"] / 1e6 == pytest.approx(figures.energy_in_j, rel=1e-12)
    assert last["energy_out_uj"] / 1e6 == pytest.approx(figures.energy_out_j, rel=1e-12)
    assert last["charge_uc"] / 3.6e6 == pytest.approx(figures.charge_mah, rel=1e-12)
    assert last["milliturns"] / 1e3 == pytest.approx(figures.turns, rel=1e-12)
    assert last["connected_samples"] / 5 == pytest.approx(figures.connected_s, rel=1e-12)


def test_integrated_samples_agree_with_the_review(shelf, tmp_path):
    export(tmp_path / "out", shelf[0])
    figures = review(shelf[0], everything=True).figures
    rows = read(tmp_path / "out" / "samples.csv")
    volts, amps = column(rows, "bus_mv") / 1000, column(rows, "bus_ma") / 1000
    pace = column(rows, "pace_tpm")
    cue = np.array([r["cue"] for r in rows])
    valid = np.array([r["validity"] == "valid" for r in rows])
    # by counting: exactly
    assert np.nanmax(volts * amps) == pytest.approx(figures.peak_in_w, rel=1e-12)
    assert pace[valid].mean() == pytest.approx(figures.mean_pace_tpm, rel=1e-9)
    assert column(rows, "no_data").sum() * 0.2 == pytest.approx(figures.no_data_s)
    assert {w: (cue == w).sum() * 0.2 for w in layout.CUES} == pytest.approx(figures.cue_s)
    # by integrating: within what the review's own check allows. These pages hold constant
    # volts and amps, so that only the totals' rounding is between the two
    for integral, figure in (
        (np.nansum(volts * amps) * 0.2, figures.energy_in_j),
        (np.nansum(amps) * 0.2 / 3.6, figures.charge_mah),
        (pace[valid].sum() * 0.2 / 60, figures.turns),
    ):
        assert integral == pytest.approx(figure, rel=AGREE_PERCENT / 100)
        assert integral == pytest.approx(figure, rel=1e-4)
    assert figures.check.agrees


def test_every_row_is_there_and_what_was_not_measured_is_empty(shelf, tmp_path):
    done = export(tmp_path / "out", shelf[0])
    pages = review(shelf[0], everything=True).pages
    rows = read(tmp_path / "out" / "samples.csv")
    assert len(rows) == len(pages.samples) == done.files[0].rows
    assert np.array_equal(column(rows, "t_ms"), pages.samples["t_ms"])
    lost = pages.samples["no_data"]
    assert lost.sum() == 6
    for name in ("bus_mv", "bus_ma", "pace_tpm", "bus_peak_mv", "bus_peak_ma", "cue",
                 "connected", "validity"):
        assert [r[name] == "" for r in rows] == lost.tolist()
    assert np.array_equal(column(rows, "bus_mv")[~lost], pages.samples["bus_mv"][~lost])
    events = read(tmp_path / "out" / "events.csv")
    assert [(e["event"], e["argument"], e["detail"]) for e in events[:3]] == [
        ("boot", "0", ""), ("released", str(layout.WHY_FADING), "fading"),
        ("fault", "1", "settings")]


def test_rfc_4180(shelf, tmp_path):
    export(tmp_path / "out", shelf[0])
    for table in columns.TABLES:
        text = (tmp_path / "out" / f"{table}.csv").read_bytes()
        lines = text.split(b"\r\n")
        assert lines.pop() == b""
        assert not any(b"\n" in line or b"\r" in line for line in lines)
        assert {line.count(b",") for line in lines} == {len(columns.TABLES[table]) - 1}


def test_a_board_with_a_hostile_name_cannot_break_a_row_or_leave_the_folder(tmp_path):
    name = '../../"x,\r\ny'
    shelve(tmp_path / "library", outing(Recorder(), 1), uid=name)
    export(tmp_path / "out", tmp_path / "library")
    assert {r["board"] for r in read(tmp_path / "out" / "samples.csv")} == {name}
    done = export(tmp_path / "raw", tmp_path / "library", raw=True)
    assert done.files[0].path.parent == tmp_path / "raw"
    assert done.files[0].path.is_file()


def test_times_only_where_a_host_dated_the_boot(shelf, tmp_path):
    export(tmp_path / "out", shelf[0])
    for row in read(tmp_path / "out" / "samples.csv"):
        assert (row["time_utc"] != "") == (row["boot"] == "3")
        if row["boot"] == "3" and row["t_ms"] == "0":
            assert row["time_utc"] == "2026-03-01T10:19:30.250"


def test_contacts_that_contradict_each_other_date_nothing(shelf, tmp_path):
    shelve(shelf[0], [], host_s=HOST_S + 10, t_ms=70_500)  # half a second off: a slow answer
    export(tmp_path / "out", shelf[0])
    assert any(r["time_utc"] for r in read(tmp_path / "out" / "samples.csv"))
    shelve(shelf[0], [], host_s=HOST_S + 3600 + 30, t_ms=90_000)
    export(tmp_path / "out", shelf[0], force=True)
    assert not any(r["time_utc"] for r in read(tmp_path / "out" / "samples.csv"))


def test_since(shelf, tmp_path):
    recorder = Recorder(seq=100, boot=4)
    shelve(shelf[0], outing(recorder, 2), host_s=HOST_S + 86_400, boot=5, t_ms=50_000)
    done = export(tmp_path / "a", shelf[0], since="2026-03-02T00:00Z")
    assert {r["boot"] for r in read(tmp_path / "a" / "samples.csv")} == {"4", "5"}
    assert (done.boards[0].pages, done.boards[0].dated_boots) == (18, 1)
    # boot 5 is dated: its pages from before this time are left out; nothing dates boot 4
    export(tmp_path / "b", shelf[0], since="2026-03-02T10:20:00+00:00")
    rows = [r for r in read(tmp_path / "b" / "pages.csv") if r["boot"] == "5"]
    assert [r["t0_ms"] for r in rows] == ["23000", "27600", "32200", "36800"]
    raw = export(tmp_path / "c", shelf[0], since="2026-03-02T10:20:00+00:00", raw=True)
    assert raw.files[0].rows == len(read(tmp_path / "b" / "pages.csv")) == 13
    with pytest.raises(Failed, match="no pages"):
        export(tmp_path / "d", shelf[0], since="2027-01-01")
    assert not (tmp_path / "d").exists()
    for wrong in ("yesterday", "", "2026-13-01", "0001-01-01T00:00"):
        with pytest.raises(WrongInput, match="--since"):
            export(tmp_path / "d", shelf[0], since=wrong)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="needs a zone that can be set")
def test_a_date_is_of_this_machines_zone(monkeypatch):
    for zone, hours in (("UTC", 0), ("XST-5", -5), ("CET-1CEST,M3.5.0,M10.5.0/3", -2)):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        assert job.since_at("2026-07-01") == 1_782_864_000 + 3600 * hours
    monkeypatch.undo()
    time.tzset()


def test_raw_is_verbatim_and_runs_do_not_show(shelf, tmp_path, monkeypatch):
    done = export(tmp_path / "all.pages", shelf[0])
    assert done.format == "raw"
    assert (tmp_path / "all.pages").read_bytes() == b"".join(shelf[1])
    export(tmp_path / "whole", shelf[0])
    real = Library.page_runs
    monkeypatch.setattr(Library, "page_runs",
                        lambda self, row, since_s: real(self, row, since_s=since_s, count=4))
    export(tmp_path / "runs", shelf[0])
    for table in columns.TABLES:
        name = f"{table}.csv"
        assert (tmp_path / "runs" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()


def test_boards_and_bursts(shelf, tmp_path):
    burst = make_page(1, t0_ms=500, samples=[STEADY] * 23, flags=layout.FLAG_BURST,
                      version=layout.VERSION_WIDER)
    shelve(shelf[0], [burst], uid="e6614c311b7affff")
    export(tmp_path / "out", shelf[0])
    assert len(read(tmp_path / "out" / "samples.csv")) == sum(p[layout.AT_N_SAMPLES]
                                                              for p in shelf[1])
    rows = read(tmp_path / "out" / "bursts.csv")
    assert [r["t_ms"] for r in rows] == [str(500 + 20 * i) for i in range(23)]
    done = export(tmp_path / "one.csv", shelf[0], board="5A2F")
    assert [b.board for b in done.boards] == [UID]
    assert {r["board"] for r in read(tmp_path / "one.csv")} == {UID}
    for wanted in ("e66", "0000"):
        with pytest.raises(WrongInput, match="--board"):
            export(tmp_path / "no", shelf[0], board=wanted)
    with pytest.raises(WrongInput, match="one journal"):
        export(tmp_path / "two.pages", shelf[0])


def test_files_that_are_there_stay_without_force(shelf, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "events.csv").write_text("mine")
    (out / "other.txt").write_text("mine too")
    with pytest.raises(WrongInput, match=r"events\.csv is there already"):
        export(out, shelf[0])
    assert {p.name: p.read_text() for p in out.iterdir()} == {
        "events.csv": "mine", "other.txt": "mine too"}
    export(out, shelf[0], force=True)
    assert (out / "other.txt").read_text() == "mine too"
    assert sorted(p.name for p in out.iterdir()) == [
        "bursts.csv", "events.csv", "export.json", "other.txt", "pages.csv", "samples.csv"]


@pytest.mark.parametrize("stop", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_stopped_halfway_leaves_what_was_there(shelf, tmp_path, monkeypatch, stop):
    export(tmp_path / "old", shelf[0])
    before = {p.name: p.read_bytes() for p in (tmp_path / "old").iterdir()}

    def fail(*_):
        raise stop

    monkeypatch.setattr(job, "_about", fail)
    for name in ("old", "new"):
        with pytest.raises(type(stop)):
            export(tmp_path / name, shelf[0], force=True)
    assert {p.name: p.read_bytes() for p in (tmp_path / "old").iterdir()} == before
    assert not (tmp_path / "new").exists()


def test_a_kind_of_file_that_is_not_written_makes_no_folder(shelf, tmp_path):
    where = tmp_path / "x.xlsx"
    with pytest.raises(WrongInput, match="xlsx is no kind of file"):
        export(where, shelf[0])
    assert not where.exists()
    assert export(tmp_path / "v1.2", shelf[0]).about.parent == tmp_path / "v1.2"
    shown = text(export(tmp_path / "again", shelf[0]))
    assert re.search(r"samples.csv +[\d,]+ rows +[\d,.]+ kB", shown)


def test_the_command(shelf, tmp_path, capsys):
    out = tmp_path / "out"
    asked = ["export", "--library", str(shelf[0]), "--out", str(out)]
    assert code(asked) == 0
    shown = capsys.readouterr().out
    assert "samples.csv" in shown
    assert max(map(len, shown.splitlines()[:-1])) <= 80
    assert code(asked) == 2
    assert "--force" in capsys.readouterr().err
    assert code([*asked, "--force", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    about = (out / "export.json").read_text(encoding="ascii")
    assert about.count("\n") == 1
    about = json.loads(about)
    assert about["schema"] == shown["schema"] == columns.VERSION
    assert about["boards"] == shown["boards"]
    for file in about["files"]:
        assert file["rows"] == len(read(out / file["path"]))
        assert file["bytes"] == (out / file["path"]).stat().st_size
    assert code(["export", "--library", str(tmp_path / "none"), "--out", str(out)]) == 1
    assert code(["export", "--library", str(shelf[0])]) == 2
    for wrong in (["--raw", "--parquet"], ["--raw", "--out", "x.csv"],
                  ["--out", str(tmp_path / "no" / "deep")]):
        assert code([*asked, "--force", *wrong]) == 2


def test_parquet_without_duckdb_says_what_to_install(shelf, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "duckdb", None)
    assert not tables.has_parquet()
    with pytest.raises(Failed) as caught:
        export(tmp_path / "out", shelf[0], parquet=True)
    assert "[parquet]'" in caught.value.how
    assert not (tmp_path / "out").exists()


def test_duckdb_reads_both_unchanged(shelf, tmp_path):
    export(tmp_path / "csv", shelf[0])
    export(tmp_path / "par[q]u'et", shelf[0], parquet=True)
    energy_j = ("SELECT sum(bus_mv * bus_ma * 0.2 / 1e6)::DOUBLE, count(*), count(time_utc), "
                "max(time_utc) FROM '{}'")
    by_csv = duckdb.sql(energy_j.format(tmp_path / "csv" / "samples.csv")).fetchall()[0]
    copy = tmp_path / "samples.parquet"
    copy.write_bytes((tmp_path / "par[q]u'et" / "samples.parquet").read_bytes())
    by_parquet = duckdb.sql(energy_j.format(copy)).fetchall()[0]
    assert by_csv[0] == pytest.approx(by_parquet[0], rel=1e-12)
    assert by_csv[1:] == by_parquet[1:]
    rows = read(tmp_path / "csv" / "samples.csv")
    by_numpy = np.nansum(column(rows, "bus_mv") * column(rows, "bus_ma")) * 0.2 / 1e6
    assert by_csv[0] == pytest.approx(by_numpy, rel=1e-9)
    assert by_csv[1] == len(rows)
    kinds = duckdb.sql(f"DESCRIBE SELECT * FROM '{copy}'").fetchall()
    assert [k[:2] for k in kinds] == [(c.name, c.kind) for c in columns.SAMPLES]
