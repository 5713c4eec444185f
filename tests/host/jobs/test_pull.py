"""Pulling over the link: resumable, idempotent, and nothing that was stored is lost."""

from __future__ import annotations

import json
import sys
import threading
from pathlib import Path

import pytest
from steadyturn.board.framing import frame
from steadyturn.board.link import Link
from steadyturn.cli.main import code
from steadyturn.errors import Failed
from steadyturn.jobs import pull as job
from steadyturn.jobs.review import review
from steadyturn.report.objects import to_object
from steadyturn.report.pull import text
from steadyturn.sessions import decode
from steadyturn.sessions.library import Library
from steadyturn_fw import frames
from steadyturn_fw import pages as layout
from steadyturn_fw.summary import Summary

for room in ("board", "sessions"):  # helpers that stand beside those rooms' tests
    sys.path.insert(0, str(Path(__file__).parents[1] / room))
from fake_board import FakeBoard, MemoryStream, PtyBoard  # noqa: E402
from page_maker import Recorder  # noqa: E402


class JournalBoard(FakeBoard):
    """A fake board whose journal was recorded; `flush` closes one more page."""

    def __init__(self, count=100, format_id=0xC0FFEE):
        super().__init__()
        self.format_id = format_id
        self.recorder = Recorder(seq=1, boot=1)
        self.pages = {}
        self.settings = b'{"a": "settings"}'
        for n in range(count):
            if n % 10 == 9:
                self.recorder.reboot()
            self.record()
        self.open_samples = 7  # in the page being filled

    def record(self, **more):
        page = self.recorder.page(**more)
        self.pages[self.recorder.seq - 1] = page
        return page

    def answer(self, line):
        if line == frames.ASK_FLUSH and self.open_samples:
            self.record(count=self.open_samples, flags=layout.FLAG_FLUSHED)
            self.open_samples = 0
        return super().answer(line)

    def who(self):
        raw = bytearray(super().who())
        raw[2:6] = self.format_id.to_bytes(4, "little")
        raw[6:9] = max(5, self.recorder.boot).to_bytes(3, "little")
        return bytes(raw)


def link_to(board, **more):
    return Link(MemoryStream(board, **more), answer_s=0.2, tries=2)


def test_everything_then_nothing_then_the_rest(tmp_path):
    board = JournalBoard()
    seen = []
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf, port="here",
                            progress=lambda *args: seen.append(args[:2]))
        assert (got.pages_new, got.pages_already, got.first_seq, got.last_seq) == (101, 0, 1, 101)
        assert got.boots == tuple(range(1, 12))
        assert got.bytes == 101 * layout.PAGE_BYTES
        assert not got.known
        assert seen[-1] == (101, 101)
        row = shelf.boards()[0]
        assert shelf.pages(row) == b"".join(board.pages.values())

        asked = len(board.asked)
        again = job.pull_from(link_to(board), shelf)
        assert (again.pages_new, again.pages_already, again.first_seq) == (0, 101, None)
        assert again.known
        pages = [q for q in board.asked[asked:] if q.startswith((frames.ASK_PAGE, b":+"))]
        assert pages == [b":page 101"]  # compared with the library's

        board.record()
        board.open_samples = 3
        more = job.pull_from(link_to(board), shelf)
        assert (more.pages_new, more.pages_already, more.first_seq) == (2, 101, 102)
        assert [c.pages for c in shelf.contacts(row)] == [101, 0, 2]
        assert all(c.finished for c in shelf.contacts(row))


def test_the_contact_is_a_time_anchor(tmp_path):
    board = JournalBoard(3)
    with Library(tmp_path) as shelf:
        job.pull_from(link_to(board), shelf)
        anchor = shelf.contacts(shelf.boards()[0])[0]
        assert (anchor.boot, anchor.t_ms) == (5, 1234)  # as the fake board says
        assert anchor.settings == board.settings
        assert (anchor.first_seq, anchor.last_seq) == (1, 4)


class Cable:
    """Stops working after so many page answers."""

    def __init__(self, stream, pages):
        self.stream, self.left = stream, pages

    def read(self, max_bytes, timeout_s):
        return self.stream.read(max_bytes, timeout_s)

    def write(self, data):
        if data.startswith((frames.ASK_PAGE, frames.ASK_NEXT)):
            if self.left == 0:
                self.stream.unplugged = True
            self.left -= 1
        self.stream.write(data)

    def close(self):
        pass


def test_unplugged_and_resumed(tmp_path):
    board = JournalBoard()
    with Library(tmp_path) as shelf:
        got = 0
        for pages, new in ((40, 40), (0, 0), (34, 33)):  # one is compared with the library's
            with pytest.raises(Failed):
                job.pull_from(Link(Cable(MemoryStream(board), pages), answer_s=0.2), shelf)
            got += new
            row = shelf.boards()[0]
            assert shelf.seqs(row) == list(range(1, got + 1))  # the unfinished batch as well
        rest = job.pull_from(link_to(board), shelf)
        assert (rest.pages_new, rest.pages_already) == (28, 73)
        assert shelf.pages(row) == b"".join(board.pages.values())
        assert [c.finished for c in shelf.contacts(row)] == [0, 0, 1]


def test_ctrl_c_keeps_what_came(tmp_path):
    board = JournalBoard()

    def stop(done, total, came):
        if done == 45:
            raise KeyboardInterrupt

    with Library(tmp_path) as shelf:
        with pytest.raises(KeyboardInterrupt):
            job.pull_from(link_to(board), shelf, progress=stop)
        assert len(shelf.seqs(shelf.boards()[0])) == 45


def test_a_damaged_page_costs_itself_only(tmp_path):
    board = JournalBoard(30)
    spoilt = bytearray(board.pages[12])
    spoilt[60] ^= 4
    board.pages[12] = bytes(spoilt)
    del board.pages[20], board.pages[21]
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
        assert (got.pages_new, got.damaged, got.missing) == (28, 1, 2)
        row = shelf.boards()[0]
        assert [d[1:] for d in shelf.damaged(row)] == [(12, "crc", bytes(spoilt))]
        again = job.pull_from(link_to(board), shelf)
        assert (again.pages_new, again.pages_already, again.damaged) == (0, 28, 1)
        assert len(shelf.damaged(row)) == 1


def test_a_gap_of_any_size_is_counted_at_once(tmp_path):
    board = JournalBoard(count=2)
    board.open_samples = 0
    board.recorder.seq = 2**32 - 2
    board.record()
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
    assert (got.pages_new, got.missing, got.last_seq) == (3, 2**32 - 5, 2**32 - 2)


def test_spoilt_once_on_the_way(tmp_path):
    """A page that is wrong on arrival is asked for again."""

    class Noisy(JournalBoard):
        spoil = 1

        def answer(self, line):
            out = super().answer(line)
            if line == b":page 5" and self.spoil:
                self.spoil -= 1
                bad = bytearray(self.pages[5])
                bad[50] ^= 1
                return frame(frames.PAGE, bytes(bad))
            return out

    board = Noisy(8)
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
        assert (got.pages_new, got.damaged) == (9, 0)


def test_a_newer_board_layout_is_kept_aside(tmp_path):
    from page_maker import seal

    board = JournalBoard(4)
    for seq, page in list(board.pages.items()):
        newer = bytearray(page)
        newer[layout.AT_VERSION] = max(layout.VERSIONS) + 1
        board.pages[seq] = seal(newer)
    board.open_samples = 0
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
        assert (got.pages_new, got.unread, got.damaged, got.missing) == (0, 4, 0, 0)
        row = shelf.boards()[0]
        assert [d[1:] for d in shelf.damaged(row)] == [
            (seq, "version", page) for seq, page in board.pages.items()]
        asked = len(board.asked)
        again = job.pull_from(link_to(board), shelf, free=True)
        assert (again.unread, again.forgotten, again.verified_to) == (4, 0, 0)
        assert not [q for q in board.asked[asked:] if q.startswith(b":page")]  # here, unread
    assert "newer steadyturn" in text(got)


def test_a_reformatted_board(tmp_path):
    with Library(tmp_path) as shelf:
        first = job.pull_from(link_to(JournalBoard(5)), shelf)
        second = job.pull_from(link_to(JournalBoard(3, format_id=2)), shelf)
        assert not first.reformatted
        assert second.reformatted
        assert second.pages_new == 4
        assert len(shelf.boards()) == 2
    assert "made anew" in text(second)


def test_an_empty_board(tmp_path):
    board = JournalBoard(0)
    board.open_samples = 0
    board.settings = b""
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
    assert (got.pages_new, got.pages_already, got.settings) == (0, 0, False)
    assert "flash RIG" in text(got)


def test_two_pulls_at_once(tmp_path):
    board = JournalBoard(60)
    board.open_samples = 0
    results = []

    def run():
        with Library(tmp_path) as shelf:
            results.append(job.pull_from(link_to(board), shelf))

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(results) == 2
    assert sum(r.pages_new for r in results) == 60
    with Library(tmp_path, readonly=True) as shelf:
        assert shelf.pages(shelf.boards()[0]) == b"".join(board.pages.values())


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_the_command_on_a_port(tmp_path, capsys):
    with PtyBoard(JournalBoard(20)) as board:
        assert code(["pull", "--port", board.port, "--library", str(tmp_path), "--json"]) == 0
        shown = json.loads(capsys.readouterr().out)
        assert shown["pages_new"] == 21
        assert shown["port"] == board.port
        assert set(shown) == set(job.Pulled.__dataclass_fields__)
        assert code(["pull", "--port", board.port, "--library", str(tmp_path)]) == 0
        said = capsys.readouterr().out
        assert "Nothing new: all 21 pages" in said
        (tmp_path / "file").write_text("")
        blocked = str(tmp_path / "file" / "deeper")
        assert code(["pull", "--port", board.port, "--library", blocked]) == 1
        assert "--library" in capsys.readouterr().err


def test_text_fits_the_screen(tmp_path):
    board = JournalBoard(25)
    del board.pages[7]
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf, port="/dev/ttyACM0")
    said = text(got)
    assert max(map(len, said.replace(str(tmp_path), "x").splitlines())) <= 80
    for number in (got.pages_new, got.first_seq, got.last_seq, got.missing):
        assert str(number) in said
    assert to_object(got)["pages_new"] == 25
    last = max(board.pages)
    board.pages = {last: board.pages[last]}
    with Library(tmp_path / "other") as shelf:
        said = text(job.pull_from(link_to(board), shelf, port="/dev/ttyACM0"))
    assert ", number " in " ".join(said.split())


class RoomyBoard(JournalBoard):
    """Keeps its pages in files of ten, forgets one a question, and never the newest."""

    def answer(self, line):
        word, _, number = line.partition(b" ")
        if word == frames.ASK_FORGET:
            self.asked.append(line)
            oldest = sorted(self.pages)[:10]
            if not self.state["connected"] and len(self.pages) > 10 and oldest[-1] <= int(number):
                for seq in oldest:
                    del self.pages[seq]
            return frame(frames.WHO, self.who())
        return super().answer(line)


def test_room_is_made_only_when_asked_and_after_all_is_here(tmp_path):
    board = RoomyBoard(44)
    with Library(tmp_path) as shelf:
        got = job.pull_from(link_to(board), shelf)
        assert got.forgotten is None
        assert not [q for q in board.asked if q.startswith(frames.ASK_FORGET)]
        row = shelf.boards()[0]
        whole = shelf.pages(row)
        board.state["connected"] = 1
        kept = job.pull_from(link_to(board), shelf, free=True)
        assert (kept.forgotten, kept.connected) == (0, True)
        assert "because the phone is connected" in text(kept)
        board.state["connected"] = 0
        got = job.pull_from(link_to(board), shelf, free=True)
        assert (got.forgotten, min(board.pages)) == (40, 41)
        assert shelf.pages(row) == whole
        again = job.pull_from(link_to(board), shelf)
        assert (again.missing, again.pages_new, again.pages_already) == (0, 0, 5)


def test_a_pull_that_breaks_off_makes_no_room(tmp_path):
    board = RoomyBoard(44)
    link = Link(Cable(MemoryStream(board), 20), answer_s=0.2)
    with Library(tmp_path) as shelf, pytest.raises(Failed):
        job.pull_from(link, shelf, free=True)
    assert not [q for q in board.asked if q.startswith(frames.ASK_FORGET)]


def test_thinned_pages_are_told_and_not_missing(tmp_path):
    board = JournalBoard(40)
    pulled = dict(list(board.pages.items())[:5])
    for boot in (1, 2, 3):  # pages 1-9, 10-19, 20-29
        own = [p for p in board.pages.values() if decode.boot_of(p) == boot]
        summary = Summary()
        for page in own:
            summary.add(page)
            del board.pages[decode.seq_of(page)]
        board.pages[decode.seq_of(own[-1])] = bytes(summary.seal())
    board.pages = dict(sorted(board.pages.items()))
    with Library(tmp_path) as shelf:
        row = shelf.board(bytes(range(8)).hex(), 0xC0FFEE, now_s=1.0)
        before = shelf.begin(row, kind="pull", host_s=1.0, boot=1, t_ms=1, firmware="0",
                             seqs=(1, 5), settings=b"")
        shelf.add_pages(row, before, pulled.values())
        shelf.finish(before)
        got = job.pull_from(link_to(board), shelf)
        assert (got.missing, got.thinned, got.damaged) == (0, 24, 0)
        assert got.pages_new == 3 + 12
    found = review(tmp_path)
    assert (found.figures.missing_pages, found.figures.thinned_pages) == (0, 24)
    assert found.figures.start_unknown is False
    assert found.figures.on_s == pytest.approx(((41 - 5) * 23 - 16) * 0.2)  # the last has 7
    assert found.figures.cue_s["hold"] == pytest.approx(found.figures.on_s)
    whole = review(tmp_path, everything=True).figures
    assert whole.cue_s["hold"] == pytest.approx(whole.on_s)
    assert (whole.missing_pages, whole.thinned_pages) == (0, 24)
