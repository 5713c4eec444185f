"""Outings in the library: what parts them, what they hold, and that they keep up with pages."""

from __future__ import annotations

import dataclasses
import json
import math
import random
import sqlite3

import pytest
from shelves import BEGAN_S, DAY_S, Shelf, settings_text
from steadyturn.errors import Failed
from steadyturn.sessions import schema
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn.sessions.library import Library
from steadyturn_fw import pages as layout


def season(folder, outings=4, **more):
    """A board that is pulled after each outing."""
    shelf = Shelf(folder, **more)
    for n in range(outings):
        shelf.crank(pages=3 + n, boots=1 + n % 3, pace_tpm=50 + n)
        shelf.later(DAY_S)
        shelf.rest()
        shelf.pull()
    return shelf


def plain(rows, *without):
    return [{k: v for k, v in dataclasses.asdict(row).items() if k not in without}
            for row in rows]


def test_boots_between_two_meetings_are_one_outing(tmp_path):
    season(tmp_path)
    rows = Shelf(tmp_path).outings()
    assert [row.id for row in rows] == [1, 2, 3, 4]
    assert [row.boots for row in rows] == [2, 3, 4, 2]  # the last lies at the laptop
    assert [(a.last_seq + 1, a.until_contact) for a in rows[:-1]] == \
        [(b.first_seq, b.after_contact) for b in rows[1:]]
    assert rows[0].after_s is None
    assert rows[0].first_seq == 1
    assert {(row.rig, row.label) for row in rows} == {("Hut", "blue")}


def test_a_row_says_what_a_review_of_its_pages_says(tmp_path):
    season(tmp_path)
    with Library(tmp_path, readonly=True) as library:
        for row in library.outings():
            raw = library.outing_pages(row)
            figures = review(decode(raw), {"percent_mj": 400_000},
                             before=library.outing_before(row))
            assert (row.pages, row.first_seq, row.last_seq) == (
                figures.pages, figures.first_seq, figures.last_seq)
            for name in ("energy_in_j", "energy_out_j", "energy_out_kind", "turns", "on_s",
                         "turning_s", "band_s", "connected_s", "connections", "faults",
                         "percent", "mean_pace_tpm"):
                assert getattr(row, name) == getattr(figures, name), name
            assert row.charge_c == pytest.approx(figures.charge_mah * 3.6, rel=1e-12)
            assert row.boots == len(figures.boots)
            assert row.turns > 0
            assert row.percent > 0


def test_a_meeting_with_nothing_turned_between_makes_none(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.rest(3)
    shelf.pull()
    assert shelf.outings() == []
    shelf.crank()
    shelf.meet()
    shelf.rest(2)
    shelf.pull()
    shelf.rest(2)
    shelf.pull()
    shelf.pull()
    shelf.crank(pages=2)
    shelf.pull()
    rows = shelf.outings()
    assert [(row.id, row.first_seq, row.last_seq) for row in rows] == [(1, 4, 8), (2, 13, 14)]


def test_cranking_at_a_laptop_begins_with_the_meeting(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.crank(pages=4)
    shelf.later(DAY_S)
    shelf.meet("watch")
    for _ in range(6):
        shelf.page()
    shelf.pull()
    first, second = shelf.outings()
    assert (first.first_seq, first.last_seq, second.first_seq) == (1, 4, 5)
    assert second.begin_s == pytest.approx(second.after_s)
    assert second.end_s == pytest.approx(second.until_s)
    assert (first.begin_s, first.end_s, first.after_s) == (None, None, None)
    assert first.until_s == second.after_s


def test_a_loose_cable_parts_nothing(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.later(DAY_S)
    shelf.meet("watch")
    for _ in range(3):
        for _ in range(3):
            shelf.page()
        shelf.meet("watch")
    shelf.crank()
    shelf.meet("watch")  # another boot
    shelf.page()
    shelf.pull()
    assert [row.pages for row in shelf.outings()] == [14, 1]


def test_totals_that_begin_anew_part_outings(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.crank(pages=4)
    old = shelf.recorder
    shelf.recorder = type(old)(seq=old.seq, boot=old.boot)
    shelf.crank(pages=3)
    shelf.pull()
    rows = shelf.outings()
    assert [(row.first_seq, row.last_seq) for row in rows] == [(1, 4), (5, 7)]
    assert rows[1].turns == pytest.approx(rows[0].turns * 3 / 4, rel=0.01)
    assert rows[0].until_contact == rows[1].until_contact == 1


@pytest.mark.parametrize("seed", range(2))
def test_a_pull_in_pieces_and_out_of_order_gives_the_same(tmp_path, seed):
    """Also when it is broken off, read in between and gone on with."""
    whole, pieces = Shelf(tmp_path / "whole"), Shelf(tmp_path / "pieces")
    drawn = random.Random(seed)
    for shelf in (whole, pieces):
        for _ in range(3):
            shelf.crank(pages=7, boots=2)
            shelf.later(DAY_S)
            if shelf is whole:
                shelf.pull()
                continue
            order = list(range(len(shelf.waiting)))
            drawn.shuffle(order)
            pages, cut = shelf.waiting, drawn.randrange(1, len(order))
            shelf.pull(order=order[:cut], batches=3, finish=False)
            assert sum(row.pages for row in shelf.outings()) >= cut
            shelf.waiting = [pages[i] for i in sorted(order[cut:])]
            shelf.pull(batches=4)
    contacts = ("after_contact", "until_contact", "after_s", "until_s", "id")
    assert plain(pieces.outings(), *contacts) == plain(whole.outings(), *contacts)
    assert [row.id for row in pieces.outings()] == [1, 2, 3]
    with Library(pieces.folder) as library:
        before = library.outings()
        library.rebuild()
        assert library.outings() == before


def test_settings_are_those_in_force_in_it(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.meet("flash", rig_text="name = 'one'")
    shelf.crank()
    shelf.settings = settings_text(rig="Other", percent_mj=200_000)
    shelf.meet("flash", rig_text="name = 'two'")  # it wrote new ones: not those before it
    shelf.crank()
    shelf.pull()
    shelf.settings = settings_text(rig="Third")  # written on another computer
    shelf.crank()
    shelf.pull()
    first, second, third = shelf.outings()
    assert [row.rig for row in (first, second, third)] == ["Hut", "Other", "Third"]
    assert second.percent == pytest.approx(2 * first.percent)
    with Library(tmp_path, readonly=True) as library:
        board = library.boards()[0]
        assert library.outing_settings(third) == shelf.settings
        assert [library.rig_text(board, row) for row in (first, second, third)] == [
            "name = 'one'", "name = 'two'", None]
        assert library.rig_text(board) is None


def test_settings_that_the_pages_name_count_before_all(tmp_path):
    """Written on another computer and back again, or those from before, as the board had them."""

    def told(text):
        crc = json.loads(text.split(b"\n")[0] + b"0}")["crc"]
        return [(layout.EV_SETTINGS, 0, int(crc, 16) & 0xFFFF)]

    shelf = Shelf(tmp_path)
    mine, other, unseen = shelf.settings, settings_text(rig="Other"), settings_text(rig="Third")
    shelf.meet()
    shelf.settings = other
    for text in (mine, other, unseen):
        shelf.recorder.reboot()
        shelf.page(events=told(text))
        shelf.page()
        shelf.pull()
    assert [row.rig for row in shelf.outings()] == ["Hut", "Other", None]


def test_what_is_not_known_is_none(tmp_path):
    shelf = Shelf(tmp_path, settings=b"")
    shelf.crank(valid=layout.BOUND, cue=layout.FASTER)
    shelf.pull()
    row, = shelf.outings()
    assert (row.rig, row.label, row.percent, row.mean_pace_tpm) == (None, None, None, None)
    assert math.isfinite(row.energy_in_j)


def test_no_such_outing(tmp_path):
    season(tmp_path, 1)
    with Library(tmp_path, readonly=True) as library:
        assert library.outing(1).id == 1
        with pytest.raises(Failed, match="no outing 2") as caught:
            library.outing(2)
        assert "steadyturn sessions" in caught.value.how


def test_pages_before_it_tell_where_the_totals_stood(tmp_path):
    shelf = season(tmp_path, 3)
    with Library(tmp_path, readonly=True) as library:
        rows = library.outings()
        assert library.outing_before(rows[0]) == b""
        assert library.outing_before(rows[1]) == shelf.every[rows[1].first_seq - 2]


def test_dates_of_a_boot_that_met_a_host(tmp_path):
    shelf = Shelf(tmp_path)
    shelf.crank(pages=10)  # and the laptop is plugged in while the handle turns
    shelf.pull()
    row, = shelf.outings()
    assert row.begin_s == pytest.approx(BEGAN_S, abs=1e-3)
    assert row.end_s == pytest.approx(shelf.now_s, abs=1e-3)


def test_where_it_may_not_be_changed_what_is_behind_is_decoded_in_memory(tmp_path, monkeypatch):
    shelf = season(tmp_path, 2)
    shelf.crank()
    shelf.pull(finish=False)
    path = tmp_path / schema.FILE
    real = schema._connect

    def connect(path, readonly, wait_s):
        if not readonly:
            raise sqlite3.OperationalError("attempt to write a readonly database")
        return real(path, readonly, wait_s)

    with monkeypatch.context() as patch:
        patch.setattr(schema, "_connect", connect)
        before = path.read_bytes()
        with Library(tmp_path, readonly=True) as library:
            rows = library.outings()
            assert library.outings() == rows
        assert path.read_bytes() == before
    assert len(rows) == 3
    assert shelf.outings() == rows


def test_a_reader_does_not_fail_while_another_program_writes_on_and_on(tmp_path):
    shelf = season(tmp_path, 1)
    shelf.crank()
    shelf.pull(finish=False)
    with (
        Library(tmp_path) as busy, schema.transaction(busy._db),
        Library(tmp_path, readonly=True, wait_s=0.05) as library,
    ):
        assert len(library.outings()) == 2
    assert len(shelf.outings()) == 2


def test_what_was_hardly_moved_goes_with_the_next_outing(tmp_path):
    """Pulls in a row while the handle is turned a little: no line for each, and no page lost."""
    shelf = Shelf(tmp_path)
    shelf.crank(pages=4)
    shelf.pull()
    first = shelf.outings()
    for _ in range(3):
        shelf.later(DAY_S)
        shelf.page(count=6, pace_tpm=40)
        shelf.rest()
        shelf.pull()
        assert shelf.outings() == first
    shelf.later(DAY_S)
    shelf.rest()
    shelf.pull()
    assert shelf.outings() == first
    shelf.crank(pages=3)
    last_pull = shelf.pull()
    rows = shelf.outings()
    assert [(r.id, r.first_seq, r.last_seq) for r in rows] == [(1, 1, 4), (2, 5, 14)]
    assert rows[1].until_contact == last_pull
    assert rows[1].after_contact == last_pull - 1
    assert rows[1].turns == pytest.approx((3 * 23 * 60 + 3 * 6 * 40) * 0.2 / 60, rel=0.02)
    with Library(tmp_path) as library:
        library.rebuild()
        assert library.outings() == rows
