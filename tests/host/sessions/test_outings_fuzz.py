"""Whole pages that say anything, as a hostile or broken board could send them: their outings
are read without an exception, twice the same, and each page is in one outing at most."""

from __future__ import annotations

import random
import warnings
from itertools import pairwise

import pytest
from shelves import BEGAN_S, UID, settings_text
from steadyturn.jobs.sessions import sessions
from steadyturn.report.sessions import text
from steadyturn.sessions import refresh
from steadyturn.sessions.decode import fault
from steadyturn.sessions.library import Library
from steadyturn_fw import pages as layout
from test_decode_fuzz import hostile
from test_decode_independent import random_page

ROUNDS = 2
SOAK = 400


def pages(drawn):
    """Some with neighbouring numbers, some from anywhere."""
    out = {}
    for _ in range(drawn.randrange(1, 40)):
        seq = drawn.choice((drawn.randrange(1, 60), drawn.randrange(1 << 32)))
        page = random_page(drawn, seq)
        if drawn.random() < 0.3:
            page = hostile(page, drawn)
        if not fault(page):
            out[int.from_bytes(page[layout.AT_SEQ : layout.AT_SEQ + 4], "little")] = page
    return list(out.values())


def contacts(drawn, library, board):
    return library.begin(
        board, kind=drawn.choice(("pull", "watch", "flash")),
        host_s=drawn.choice((0.0, BEGAN_S, BEGAN_S + drawn.randrange(10**8), 2.5e11)),
        boot=drawn.choice((0, 1, 2, drawn.randrange(1 << 24))), t_ms=drawn.randrange(1 << 32),
        firmware="?", seqs=drawn.choice((None, (1, drawn.randrange(1 << 32)))),
        settings=drawn.choice((b"", b"\n[1]\n", b"\n{\"rig\": 7, \"percent_mj\": true}\n",
                               settings_text(rig="\x1b[2J", label="<script>"), settings_text())))


def shelve(folder, drawn):
    every = set()
    with Library(folder) as library:
        board = library.board(UID, 7, now_s=1.0)
        for _ in range(drawn.randrange(1, 6)):
            contact = contacts(drawn, library, board)
            some = pages(drawn)
            library.add_pages(board, contact, some)
            every.update(int.from_bytes(p[layout.AT_SEQ : layout.AT_SEQ + 4], "little")
                         for p in some)
            if drawn.random() < 0.7:
                library.finish(contact)
            if drawn.random() < 0.3:
                library.outings()
    return every


def check(folder, seed):
    drawn = random.Random(seed)
    every = shelve(folder, drawn)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with Library(folder) as library:
            library.outings()
            library.rebuild()
            rows = library.outings()
            library.rebuild()
            again = library.outings()
            board = library.boards()[0]
            assert len(library.seqs(board)) == len(every)
        shown = text(sessions(folder, per=drawn.choice((None, "month", "rig"))))
    assert rows == again
    spans = sorted((row.first_seq, row.last_seq) for row in rows)
    assert all(a[1] < b[0] for a, b in pairwise(spans))
    assert sum(row.pages for row in rows) <= len(every)
    assert all(c.isprintable() or c == "\n" for c in shown)
    assert all(row.rig is None or row.rig.isprintable() for row in rows)


@pytest.mark.parametrize("seed", range(ROUNDS))
def test_pages_that_say_anything(tmp_path, seed, monkeypatch):
    monkeypatch.setattr(refresh, "RUN", 16)
    check(tmp_path, seed)


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_pages_that_say_anything_in_whole(tmp_path, monkeypatch):
    monkeypatch.setattr(refresh, "RUN", 16)
    first = random.SystemRandom().randrange(10**9)
    for seed in range(first, first + SOAK):
        print("seed", seed)  # shown when it fails
        check(tmp_path / str(seed), seed)
