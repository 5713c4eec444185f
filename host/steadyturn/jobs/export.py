"""A library's contents as files for other programs: CSV, Parquet, or the pages themselves.

Files are written unseen beside their place and moved there when all of them are whole.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn import __version__, extras
from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.since import since_s as since_at
from steadyturn.sessions import columns
from steadyturn.sessions import export as tables
from steadyturn.sessions.anchors import Anchors
from steadyturn.sessions.decode import Pages, decode
from steadyturn.sessions.library import BoardRow, Library
from steadyturn.sessions.runs import decode_runs

FORMATS = {".csv": "csv", ".parquet": "parquet", ".pages": "raw"}
LIKE_A_FILE = re.compile(r"\.[A-Za-z][A-Za-z0-9]{0,7}")  # not ".2" of "outings-1.2"
ABOUT = "export.json"  # the line about a folder's files; of a single file: NAME.json


@dataclass(frozen=True, slots=True)
class File:
    """One file. table: of columns.TABLES, or "raw"; rows: of a raw file its pages."""

    path: Path
    table: str
    rows: int
    bytes: int


@dataclass(frozen=True, slots=True)
class Board:
    """One journal of a board. dated_boots: boots of it that a contact dates."""

    board: str
    format_id: int
    pages: int
    damaged: int
    dated_boots: int


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written. format: "csv", "parquet" or "raw"; since_s: seconds since 1970, None
    for everything; about: the file with one line of JSON that says all this to programs."""

    library: Path
    format: str
    schema: int
    since_s: float | None
    boards: tuple[Board, ...]
    files: tuple[File, ...]
    about: Path


def export(
    out: Path, library: Path | None = None, *, board: str | None = None,
    since: str | None = None, parquet: bool = False, raw: bool = False, force: bool = False,
) -> Exported:
    """Write the library in that folder (None: the user's) to `out`: a folder, or one file
    ending in .csv or .parquet (the samples) or .pages (raw, of one journal).

    board: a board's id or the end of it (None: all). since: a date or time, ISO 8601, of this
    machine's zone unless it names one. parquet, raw: instead of CSV. force: replace files.
    Raises WrongInput (out, since, board, what does not go together) and Failed.
    """
    kind = _format(out, parquet, raw)
    since_s = None if since is None else since_at(since)
    if kind == "parquet" and not tables.has_parquet():
        raise Failed("Writing Parquet needs duckdb, which is not installed.",
                     f"Install it with: {extras.install('parquet')}")
    single = out.suffix.lower() in FORMATS
    with Library(library, readonly=True) as shelf:
        rows = _boards(shelf.boards(), board, shelf.folder)
        if kind == "raw":
            names = _raw_names(rows, out, single)
        else:
            names = {t: f"{t}.{kind}" for t in columns.TABLES}
            if single:
                names = {"samples": out.name}
        folder = out.parent if single else out
        about = f"{out.name}.json" if single else ABOUT
        with _unseen(folder, [*names.values(), about], force, single) as scratch:
            if kind == "raw":
                boards, counts = _raw(shelf, rows, names, since_s, scratch)
            else:
                boards, counts = _tables(shelf, rows, names, since_s, scratch, kind)
            if not sum(b.pages for b in boards):
                raise Failed("The library has no pages to export" +
                             (f" since {since}." if since else "."),
                             "'steadyturn pull' brings what a board has.")
            result = Exported(
                library=shelf.folder, format=kind, schema=columns.VERSION, since_s=since_s,
                boards=boards, about=folder / about,
                files=tuple(File(folder / name, "raw" if kind == "raw" else key, counts[key],
                                 (scratch / name).stat().st_size)
                            for key, name in names.items()))
            (scratch / about).write_text(_about(result), encoding="utf-8")
    return result


# ---- what was asked


def _format(out: Path, parquet: bool, raw: bool) -> str:
    if parquet and raw:
        raise WrongInput(Problem("--raw", "", "", "does not go together with --parquet.",
                                 "Run it twice, into two folders."))
    kind = "parquet" if parquet else "raw" if raw else "csv"
    named = FORMATS.get(out.suffix.lower())
    if named is None and LIKE_A_FILE.fullmatch(out.suffix) and not out.is_dir():
        raise WrongInput(Problem("--out", "", str(out), f"{out.suffix} is no kind of file that "
                                 "is written here.",
                                 "Name a folder, or a file ending in .csv, .parquet or .pages."))
    if named is None:
        return kind
    if (parquet or raw) and kind != named:
        raise WrongInput(Problem("--out", "", str(out), f"the name of a {named} file.",
                                 f"Name a folder, or leave out --{kind}."))
    return named


def _boards(rows: Sequence[BoardRow], wanted: str | None, folder: Path) -> list[BoardRow]:
    """All journals of all boards, or of one."""
    if not rows:
        raise Failed(f"The library at {folder} has no boards yet.",
                     "Connect one and run 'steadyturn pull'.")
    rows = sorted(rows, key=lambda r: r.id)
    if wanted is None:
        return rows
    found = [r for r in rows if r.unique_id.endswith(wanted.strip().lower())]
    if len({r.unique_id for r in found}) != 1:
        fault = "fits several boards" if found else "is no board of this library"
        ids = ", ".join(sorted({r.unique_id for r in rows}))
        raise WrongInput(Problem("--board", "", wanted, f"{wanted!r} {fault}.",
                                 f"Its boards: {ids}; the last digits are enough."))
    return found


def _raw_names(rows: Sequence[BoardRow], out: Path, single: bool) -> dict[str, str]:
    """Numbers of pages count within one journal, so each has a file of its own."""
    if single:
        if len(rows) > 1:
            raise WrongInput(Problem("--out", "", str(out), "one file holds the pages of one "
                                     f"journal, and there are {len(rows)}.",
                                     "Name a folder, or one board with --board."))
        return {str(rows[0].id): out.name}
    # a board says its own id: only what cannot lead out of the folder goes into a name
    return {str(r.id): f"{r.id}-{re.sub('[^0-9A-Za-z]', '_', r.unique_id)[-32:]}.pages"
            for r in rows}


# ---- reading


def _runs(shelf: Library, row: BoardRow, anchors: Anchors,
          since_s: float | None) -> Iterator[tuple[bytes, Pages]]:
    """Some pages at a time. Since a time: those that were pulled after it and are not known to
    be older; where nothing dates a boot, being pulled later is all that is known."""
    for run in decode_runs(shelf.page_runs(row, since_s=since_s)):
        raw, pages = run.own, run.pages
        if since_s is not None and len(pages.pages):
            when = anchors.utc_ms(pages.pages["boot"], pages.pages["t0_ms"])
            older = when < since_s * 1000
            if older.any():
                raw = run.rows(~older)
                pages = decode(raw)
        yield raw, pages


def _tables(
    shelf: Library, rows: Sequence[BoardRow], names: dict[str, str], since_s: float | None,
    scratch: Path, kind: str,
) -> tuple[tuple[Board, ...], dict[str, int]]:
    suffix = "" if kind == "csv" else ".csv"
    files = {table: scratch / f"{name}{suffix}" for table, name in names.items()}
    boards = []
    with tables.CsvTables(files) as writer:
        for row in rows:
            anchors = Anchors(shelf.contacts(row))
            count = damaged = 0
            boots: set[int] = set()
            for _, pages in _runs(shelf, row, anchors, since_s):
                writer.add(pages, row, anchors)
                count += len(pages.pages)
                damaged += pages.damaged
                boots.update(np.unique(pages.pages["boot"]).tolist())
            boards.append(Board(row.unique_id, row.format_id, count, damaged,
                                len(boots & anchors.boots)))
    if kind == "parquet":
        for table, source in files.items():
            tables.parquet(table, source, scratch / names[table])
            source.unlink()
    return tuple(boards), writer.rows


def _raw(
    shelf: Library, rows: Sequence[BoardRow], names: dict[str, str], since_s: float | None,
    scratch: Path,
) -> tuple[tuple[Board, ...], dict[str, int]]:
    boards, counts = [], {}
    for row in rows:
        anchors = Anchors(shelf.contacts(row))
        boots: set[int] = set()
        damaged = 0

        def runs(row: BoardRow = row, anchors: Anchors = anchors,
                 boots: set[int] = boots) -> Iterator[bytes]:
            nonlocal damaged
            for run, pages in _runs(shelf, row, anchors, since_s):
                boots.update(np.unique(pages.pages["boot"]).tolist())
                damaged += pages.damaged
                yield run

        size = tables.raw(runs(), scratch / names[str(row.id)])
        counts[str(row.id)] = size // layout.PAGE_BYTES
        boards.append(Board(row.unique_id, row.format_id, counts[str(row.id)], damaged,
                            len(boots & anchors.boots)))
    return tuple(boards), counts


# ---- writing


@contextmanager
def _unseen(folder: Path, names: Sequence[str], force: bool, single: bool) -> Iterator[Path]:
    """A folder to write `names` in; they move to `folder` when all are whole."""
    _check(folder, names, force, single)
    made = not folder.exists()
    folder.mkdir(exist_ok=True)
    try:
        scratch = Path(tempfile.mkdtemp(prefix=".export-", dir=folder))
        try:
            yield scratch
            _check(folder, names, force, single)  # it may have taken a while
            for name in names:
                os.replace(scratch / name, folder / name)
        finally:
            shutil.rmtree(scratch, ignore_errors=True)
    except BaseException:
        if made:
            with suppress(OSError):  # where something is in it after all, it stays
                folder.rmdir()
        raise


def _check(folder: Path, names: Sequence[str], force: bool, single: bool) -> None:
    needed = folder if single else folder.absolute().parent
    if not needed.is_dir():
        raise WrongInput(Problem("--out", "", str(folder), "that folder does not exist.",
                                 f"Make it first: {needed}"))
    if folder.exists() and not folder.is_dir():
        raise WrongInput(Problem("--out", "", str(folder), "this is a file.",
                                 "Name a folder, or a file ending in .csv, .parquet or .pages."))
    here = [name for name in names if os.path.lexists(folder / name)]
    taken = [name for name in here if not (folder / name).is_file()]
    if taken:
        raise WrongInput(Problem("--out", "", str(folder / taken[0]), "this is no file.",
                                 "Name another."))
    if here and not force:
        raise WrongInput(Problem("--out", "", str(folder), f"{', '.join(here)} "
                                 f"{'is' if len(here) == 1 else 'are'} there already.",
                                 "--force replaces them."))


def _about(result: Exported) -> str:
    """One line: what another program, or the same person in ten years, needs to know."""
    from steadyturn.report.objects import to_object

    line = {
        "made_by": f"steadyturn {__version__}",
        "made_utc": time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime()),
        "columns": f"host/steadyturn/sessions/export.md, schema {columns.VERSION}",
        **to_object(result),
    }
    line["files"] = [{**f, "path": Path(f["path"]).name} for f in line["files"]]
    del line["library"], line["about"]  # of this machine, not of the data
    return json.dumps(line, ensure_ascii=True) + "\n"
