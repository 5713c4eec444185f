"""A board whose journal is not what it was: nothing that was pulled is touched, nothing new is
taken for something old, and it is said."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from steadyturn.errors import Failed
from steadyturn.jobs import pull as job
from steadyturn.jobs.pull_place import FORMATS, newest_row
from steadyturn.report.pull import text
from steadyturn.sessions.library import Library
from steadyturn_fw import pages as layout
from test_pull import JournalBoard, RoomyBoard, link_to

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import seal


def kept(shelf):
    """Pages of each row, the journal's own row first."""
    rows = sorted(shelf.boards(), key=lambda row: row.format_id)
    return [shelf.pages(row) for row in rows]


def joined(board, first=0, last=1 << 40):
    return b"".join(page for seq, page in board.pages.items() if first <= seq <= last)


def gone_back(board, to):
    """The same board with an older copy of its flash."""
    for seq in [n for n in board.pages if n > to]:
        del board.pages[seq]
    board.recorder.seq = to + 1
    board.recorder.boot = layout.get(board.pages[to], layout.AT_BOOT, 3)
    board.recorder.reboot()


def test_other_pages_under_numbers_that_are_here(tmp_path):
    board = JournalBoard(60)
    with Library(tmp_path) as shelf:
        job.pull_from(link_to(board), shelf)
        before = joined(board)
        gone_back(board, 25)
        for _ in range(50):
            board.record()  # 26 to 75 anew
        got = job.pull_from(link_to(board), shelf)
        assert (got.went_back, got.known, got.reformatted) == ("pages", True, False)
        assert (got.pages_new, got.first_seq, got.last_seq, got.missing) == (50, 26, 75, 0)
        assert kept(shelf) == [before, joined(board, 26)]
        assert "gone back" in text(got)

        again = job.pull_from(link_to(board), shelf)
        assert (again.went_back, again.pages_new, again.pages_already) == ("", 0, 50)
        board.record()
        more = job.pull_from(link_to(board), shelf)
        assert (more.went_back, more.pages_new) == ("", 1)
        assert len(shelf.boards()) == 2

        gone_back(board, 50)  # once more, within what came after the first time
        for _ in range(40):
            board.record()
        third = job.pull_from(link_to(board), shelf)
        assert (third.went_back, third.pages_new, third.first_seq) == ("pages", 40, 51)
        assert [len(pages) // layout.PAGE_BYTES for pages in kept(shelf)] == [61, 51, 40]
        assert newest_row(shelf, link_to(board).who(), 0.0).format_id == 0xC0FFEE + 2 * FORMATS


def test_fewer_pages_than_were_pulled(tmp_path):
    board = JournalBoard(60)
    with Library(tmp_path) as shelf:
        job.pull_from(link_to(board), shelf)
        before = joined(board)
        gone_back(board, 40)
        got = job.pull_from(link_to(board), shelf)
        assert (got.went_back, got.pages_new, got.missing) == ("pages", 0, 0)
        assert "no page yet" in text(got)
        same = job.pull_from(link_to(board), shelf)
        assert len(shelf.boards()) == 2, "the empty row is used again"
        assert (same.pages_new, same.went_back) == (0, "")
        for _ in range(3):
            board.record()
        got = job.pull_from(link_to(board), shelf)
        assert (got.pages_new, got.first_seq) == (3, 41)
        assert kept(shelf) == [before, joined(board, 41)]
        assert len(shelf.boards()) == 2


@pytest.mark.parametrize(("boot", "t_ms", "said"), [
    (6, 1234, "boot"), (12, 10, "clock"), (12, 99_999, ""), (13, 1, "")])
def test_boots_and_clock(tmp_path, boot, t_ms, said):
    board = JournalBoard(20)
    board.open_samples = 0
    now = {"boot": 12, "t_ms": 50_000}
    who = board.who

    def answer():
        raw = bytearray(who())
        raw[6:9] = now["boot"].to_bytes(3, "little")
        raw[9:13] = now["t_ms"].to_bytes(4, "little")
        return bytes(raw)

    board.who = answer
    with Library(tmp_path) as shelf:
        job.pull_from(link_to(board), shelf)
        now.update(boot=boot, t_ms=t_ms)
        got = job.pull_from(link_to(board), shelf)
        assert got.went_back == said
        assert len(shelf.boards()) == (2 if said == "boot" else 1)
        assert ("gone back" in text(got)) == bool(said)


def test_what_was_kept_aside_is_stored_once_it_can_be_read(tmp_path, monkeypatch):
    board = JournalBoard(12)
    known = layout.VERSIONS
    for seq in (4, 5, 9):
        newer = bytearray(board.pages[seq])
        newer[layout.AT_VERSION] = 7
        board.pages[seq] = seal(newer)
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
        assert (got.pages_new, got.unread, got.missing) == (10, 3, 0)
        monkeypatch.setattr(layout, "VERSIONS", (*known, 7))
        got = job.pull_from(link_to(board), shelf)
        assert (got.pages_new, got.unread, got.pages_already) == (0, 0, 13)
        assert kept(shelf) == [joined(board)]


def test_a_newer_firmware_is_told(tmp_path):
    board = JournalBoard(2)
    who = board.who
    board.who = lambda: who()[:1] + b"\x09" + who()[2:]
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
        assert got.page_version == 9
        assert "layout 9" in text(got)
        board.protocol = 1
        board.who = who
        old = job.pull_from(link_to(board), shelf)
        assert (old.protocol, old.pages_already) == (1, 3)
        assert "version 1 of the link" in text(old)


def test_only_what_was_verified_is_freed(tmp_path):
    board = RoomyBoard(44)
    with Library(tmp_path) as shelf:
        job.pull_from(link_to(board), shelf)
        row = shelf.boards()[0]
        whole = dict(board.pages)
        # the file changes behind the library's back: one page lost, one changed
        shelf._db.execute("DELETE FROM page WHERE seq = 23")
        spoilt = bytearray(board.pages[31])
        spoilt[70] ^= 1
        shelf._db.execute("UPDATE page SET raw = ? WHERE seq = 31", (bytes(spoilt),))
        shelf._db.commit()
        got = job.pull_from(link_to(board), shelf, free=True)
        assert (got.pages_new, got.verified_to, got.forgotten) == (1, 30, 30)
        assert min(board.pages) == 31
        assert shelf.pages(row)[: 30 * layout.PAGE_BYTES] == joined_of(whole, 30)


def joined_of(pages, last):
    return b"".join(page for seq, page in pages.items() if seq <= last)


def test_a_page_that_came_damaged_is_not_freed(tmp_path):
    board = RoomyBoard(44)
    spoilt = bytearray(board.pages[15])
    spoilt[60] ^= 4
    board.pages[15] = bytes(spoilt)
    del board.pages[3], board.pages[4]  # missing ones do not matter
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf, free=True)
        assert (got.damaged, got.missing, got.verified_to, got.forgotten) == (1, 2, 14, 12)
        assert 15 in board.pages


def test_a_library_that_stores_something_else_is_noticed(tmp_path, monkeypatch):
    board = RoomyBoard(44)
    with Library(tmp_path) as shelf:
        add = shelf.add_pages

        def wrong(row, contact, pages):
            pages = list(pages)
            new = add(row, contact, pages)
            if pages:
                shelf._db.execute("UPDATE page SET raw = ? WHERE seq = 20", (pages[0],))
            return new

        monkeypatch.setattr(shelf, "add_pages", wrong)
        with pytest.raises(Failed, match="Page 20 does not stand"):
            job.pull_from(link_to(board), shelf, free=True)
    assert len(board.pages) == 45


def test_slow_and_late_are_told(tmp_path, monkeypatch):
    board = JournalBoard(30)
    now = [0.0]
    monkeypatch.setattr(job.time, "monotonic", lambda: now[0])
    good = board.answer

    def slow(line):
        now[0] += 0.2
        board.state["late_ticks"] = 7 if line.startswith(b":+") else board.state["late_ticks"]
        return good(line)

    board.answer = slow
    board.state["late_ticks"] = 5
    with Library(tmp_path) as shelf:
        link = link_to(board)
        link.answer_s = 100.0
        got = job.pull_from(link, shelf)
    assert got.late_ticks == 2
    assert got.copying_s == pytest.approx(31 * 0.2)
    said = " ".join(text(got).split())
    assert "That was slow, 1.1 kB/s" in said
    assert "2 ticks of the board's loop came late" in said
