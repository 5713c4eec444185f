"""The cautions stand where the risky act is: in the pages of hardware/ and in the commands."""

from __future__ import annotations

from pathlib import Path

import pytest
from steadyturn import cautions
from steadyturn.drawings import blocks
from steadyturn.report import flash, gears

ROOT = Path(__file__).parents[3]
PAGES = blocks.pages(ROOT)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_what_is_made_in_a_page_is_what_the_tables_say(page):
    # after a change of a table: python -m steadyturn.jobs.drawings
    text = page.read_text(encoding="utf-8")
    assert blocks.filled(text) == text
    assert text.count("<!-- made: ") == text.count("<!-- end -->") == len(
        blocks.BLOCK.findall(text))


def test_a_block_that_was_changed_by_hand_is_made_anew(tmp_path):
    (tmp_path / "hardware").mkdir()
    page = tmp_path / "hardware" / "a.md"
    page.write_text("# A\n<!-- made: cautions solder -->\nnone\n<!-- end -->\nrest\n")
    assert blocks.write(tmp_path) == [page]
    assert "soldering iron" in page.read_text()
    assert page.read_text().endswith("<!-- end -->\nrest\n")
    assert blocks.write(tmp_path) == []


def test_every_act_names_cautions_that_exist():
    known = [key for section in cautions.CAUTIONS.values() for key in section]
    assert len(known) == len(set(known))
    for act, keys in cautions.ACTS.items():
        assert set(keys) <= set(known), act
        assert len(cautions.short(act)) == len(keys)


def test_every_kind_of_harm_of_the_trade_is_named():
    words = " ".join(" ".join(rows.values()) for rows in cautions.CAUTIONS.values())
    for named in ("fingers, hair, cuffs", "eye protection", "hot enough to burn", "bare cell",
                  "5.5 V", "breathlessness", "holds energy", "Discharge", "swollen"):
        assert named in words


def test_the_board_is_written_and_then_the_cautions_come():
    class Done:
        outcome, port, seconds, rig, crc = "written", "P", 3.0, "Hut", "1"
        in_force, fault, dangerous, hazards = True, 0, False, ()
        library_remark, named, corrections = "", False, ()

    words = " ".join(flash.text(Done()).split())
    assert all(sentence in words for sentence in cautions.short("flash"))
    Done.in_force, Done.previous_in_force, Done.crc_in_force = False, False, ""
    assert "Before you turn it" not in flash.text(Done())


def test_gears_show_theirs():
    assert cautions.short("gears") == gears.CAUTIONS
