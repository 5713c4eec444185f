"""An export as other programs read it: RFC 4180 by the letter, pandas, DuckDB."""

from __future__ import annotations

import csv
import io
import sys
from pathlib import Path

import duckdb
import numpy as np
import pandas
import pytest
from steadyturn.jobs.export import export
from steadyturn.jobs.review import review
from steadyturn.sessions import columns
from test_export import UID, outing, shelve

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import Recorder

WHOLE, REAL = "int64", "float64"
# what a column is where no cell of it is empty; with empty cells pandas has float64
PANDAS = {"BIGINT": WHOLE, "TINYINT": WHOLE, "DOUBLE": REAL, "VARCHAR": "str", "TIMESTAMP": "str"}
DUCKDB = {"BIGINT": "BIGINT", "TINYINT": "BIGINT", "DOUBLE": "DOUBLE", "VARCHAR": "VARCHAR",
          "TIMESTAMP": "TIMESTAMP"}


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    """Folder of the library, folder of its CSV."""
    folder = tmp_path_factory.mktemp("export")
    shelve(folder / "library", outing(Recorder(), 3))
    export(folder / "csv", folder / "library")
    return folder / "library", folder / "csv"


def rfc_4180(raw: bytes) -> list[list[str]]:
    """A file read by the RFC's grammar and nothing more lenient (its section 2, with UTF-8 for
    TEXTDATA): a field that is not quoted holds no quote, CR or LF; a quoted one doubles quotes;
    records end with CR LF and are of one length."""
    text, at, records = raw.decode("utf-8"), 0, []
    while at < len(text):
        record = []
        while True:
            if text[at : at + 1] == '"':
                end, field = at + 1, []
                while True:
                    to = text.index('"', end)
                    field.append(text[end:to])
                    if text[to + 1 : to + 2] != '"':
                        break
                    field.append('"')
                    end = to + 2
                record.append("".join(field))
                at = to + 1
            else:
                ends = [i for i in (text.find(",", at), text.find("\r\n", at)) if i >= 0]
                field = text[at : min(ends)]
                assert not set(field) & {'"', "\r", "\n"}, field
                record.append(field)
                at = min(ends)
            if text[at : at + 1] == ",":
                at += 1
                continue
            assert text[at : at + 2] == "\r\n", text[at : at + 9]
            at += 2
            break
        records.append(record)
    assert len({len(record) for record in records}) == 1
    return records


HOSTILE = ['a,b', '"', '""x"', "x\r\ny", "\n", "=1+1", " space ", "Zürich ☀", "a\rb", "'"]


@pytest.mark.parametrize("name", ["", *HOSTILE])
def test_the_rfcs_grammar(exported, tmp_path, name):
    folder = exported[1]
    if name:
        shelve(tmp_path / "library", outing(Recorder(), 1), uid=name)
        folder = tmp_path / "csv"
        export(folder, tmp_path / "library")
    for table in columns.TABLES:
        raw = (folder / f"{table}.csv").read_bytes()
        records = rfc_4180(raw)
        assert records[0] == columns.header(table)
        assert records == list(csv.reader(io.StringIO(raw.decode("utf-8"), newline="")))
        assert {record[0] for record in records[1:]} <= {name or UID}


def test_the_grammar_is_strict():
    assert rfc_4180(b'a,"b""\r\n,"\r\n,\r\n') == [["a", 'b"\r\n,'], ["", ""]]
    for wrong in (b"a\nb\r\n", b'a"b\r\n', b'"a"b\r\n', b"a,b\r\nc\r\n", b'"a\r\n', b"a"):
        with pytest.raises((AssertionError, ValueError)):
            rfc_4180(wrong)


@pytest.mark.parametrize("table", ["samples", "events", "pages"])
def test_pandas_opens_it_with_the_right_types(exported, table):
    frame = pandas.read_csv(exported[1] / f"{table}.csv")
    assert list(frame.columns) == columns.header(table)
    for column in columns.TABLES[table]:
        right = PANDAS[column.kind]
        if right == WHOLE and frame[column.name].isna().any():
            right = REAL
        found = str(frame[column.name].dtype)
        assert found in {right, "object"} if right == "str" else found == right, column.name
    dated = pandas.to_datetime(frame["time_utc"])
    assert dated.dtype.kind == "M"
    assert dated.notna().sum() == (frame["boot"] == 3).sum() > 0


@pytest.mark.parametrize("table", ["samples", "events", "pages"])
def test_duckdb_opens_it_with_the_right_types(exported, table):
    found = duckdb.sql(f"DESCRIBE SELECT * FROM '{exported[1] / table}.csv'").fetchall()
    assert [row[:2] for row in found] == [
        (column.name, DUCKDB[column.kind]) for column in columns.TABLES[table]]


def test_an_empty_table_opens_too(exported):
    """Of these pages none is a burst."""
    path = exported[1] / "bursts.csv"
    assert list(pandas.read_csv(path).columns) == columns.header("bursts")
    assert duckdb.sql(f"SELECT * FROM '{path}'").columns == columns.header("bursts")
    assert duckdb.sql(f"SELECT count(*) FROM '{path}'").fetchall() == [(0,)]


# what the pages added: each total's rise, within one journal, in the order of their numbers
RISE = """
    WITH rises AS (
        SELECT {name} - lag({name}, 1, 0) OVER (PARTITION BY board, format_id ORDER BY page) AS up
        FROM '{path}')
    SELECT sum(up) FROM rises
"""


def test_figures_of_the_review_by_numpy_and_by_duckdb(exported):
    """What the review says, from the CSV alone, to 1e-9."""
    library, folder = exported
    figures = review(library, everything=True).figures
    pages, samples = pandas.read_csv(folder / "pages.csv"), pandas.read_csv(folder / "samples.csv")
    totals = {"energy_in_uj": figures.energy_in_j * 1e6, "charge_uc": figures.charge_mah * 3.6e6,
              "energy_out_uj": figures.energy_out_j * 1e6, "milliturns": figures.turns * 1e3,
              "on_samples": figures.on_s * 5, "connected_samples": figures.connected_s * 5}
    for name, right in totals.items():
        by_numpy = np.diff(pages[name].to_numpy(), prepend=0).sum()
        (by_duckdb,), = duckdb.sql(RISE.format(name=name, path=folder / "pages.csv")).fetchall()
        assert by_numpy == pytest.approx(right, rel=1e-9), name
        assert by_duckdb == pytest.approx(right, rel=1e-9), name
    valid = samples[samples.validity == "valid"]
    assert valid.pace_tpm.mean() == pytest.approx(figures.mean_pace_tpm, rel=1e-9)
    assert (samples.bus_mv * samples.bus_ma).max() / 1e6 == pytest.approx(
        figures.peak_in_w, rel=1e-9)
    row, = duckdb.sql(
        "SELECT avg(pace_tpm) FILTER (validity = 'valid'), max(bus_mv * bus_ma) / 1e6, "
        "count(*) FILTER (cue = 'hold') * 0.2, sum(no_data) * 0.2 "
        f"FROM '{folder / 'samples.csv'}'").fetchall()
    right = (figures.mean_pace_tpm, figures.peak_in_w, figures.cue_s["hold"], figures.no_data_s)
    assert [float(cell) for cell in row] == pytest.approx(right, rel=1e-9)
