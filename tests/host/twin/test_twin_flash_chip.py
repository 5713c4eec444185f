"""The flash: NOR rules, torn operations, replay, and files that are none."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from steadyturn.errors import Failed, WrongInput
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.twin import flash as f
from steadyturn.twin.copies import copy_flash
from steadyturn.twin.flash import BLOCK, ERASE_US, PAGE_US, SIZE, Flash, Operation
from steadyturn.twin.twin import Twin


@given(st.binary(max_size=64), st.randoms())
def test_programming_only_clears_bits(before: bytes, chance: random.Random) -> None:
    data = chance.randbytes(len(before))
    after = f.programmed(before, data)
    assert after == bytes(a & b for a, b in zip(before, data, strict=True))


@given(st.binary(min_size=1, max_size=64), st.integers(0, 2**32))
def test_a_torn_program_sets_no_bit_and_clears_no_other(before: bytes, seed: int) -> None:
    data = random.Random(seed).randbytes(len(before))
    after = f.torn(before, data, random.Random(seed))
    for old, new, wanted in zip(before, after, data, strict=True):
        assert new & ~old == 0
        assert (old & wanted) & ~new == 0


@given(st.integers(0, 2**32))
def test_a_torn_erase_clears_no_bit(seed: int) -> None:
    before = random.Random(seed).randbytes(BLOCK)
    after = f.torn(before, None, random.Random(seed))
    assert all(old & ~new == 0 for old, new in zip(before, after, strict=True))
    assert after != b"\xff" * BLOCK


def test_times_are_the_data_sheets(tmp_path: Path) -> None:
    """W25Q16JV, typical: 45 ms a sector, 0.7 ms a page of 256 bytes."""
    chip = Flash(tmp_path / "a.img")
    assert chip.start(0, 0, None) == ERASE_US == 45_000
    assert chip.start(0, 0, bytes(256)) == PAGE_US == 700
    assert chip.start(0, 0, bytes(1024)) == 4 * PAGE_US
    assert chip.start(0, 255, bytes(2)) == 2 * PAGE_US  # two pages are begun
    chip.close()


def test_log_and_file_agree(tmp_path: Path) -> None:
    chance = random.Random(5)
    chip = Flash(tmp_path / "a.img")
    chip.log = []
    for _ in range(60):
        block = chance.randrange(4) * BLOCK
        if chance.random() < 0.3:
            chip.start(0.0, block, None)
        else:
            chip.start(0.0, block + 256 * chance.randrange(16), chance.randbytes(256))
        chip.finish()
    images = list(f.prefixes(chip.log))
    assert [number for number, _, _ in images] == list(range(60))
    image = images[-1][1]
    assert bytes(image) == chip.read_all() == (tmp_path / "a.img").read_bytes()
    assert chip.erases + chip.pages == 60
    chip.close()


def test_a_cut_tears_what_is_under_way_by_the_seed(tmp_path: Path) -> None:
    left = []
    for name in "ab":
        chip = Flash(tmp_path / name, seed=3)
        chip.start(0.0, 512, bytes(256))
        assert chip.cut()
        assert not chip.cut()
        chip.finish()  # nothing is under way any more
        left.append(chip.read_all())
        chip.close()
    assert left[0] == left[1]
    assert left[0][:512] == b"\xff" * 512
    assert left[0][512:768] not in (b"\xff" * 256, bytes(256))


def test_tear_in_memory_stays_inside_the_operation() -> None:
    image = f.blank()
    f.tear(image, Operation(0.0, 4096, bytes(256)), 1)
    assert image[:4096] == b"\xff" * 4096
    assert image[4352:] == b"\xff" * (SIZE - 4352)
    assert image[4096:4352] != b"\xff" * 256


def test_files_that_are_no_image(tmp_path: Path) -> None:
    short = tmp_path / "short.img"
    short.write_bytes(b"x" * 100)
    with pytest.raises(WrongInput, match=r"100 bytes.*1441792 bytes"):
        Flash(short)
    with pytest.raises(WrongInput, match="not a file"):
        Flash(tmp_path)
    with pytest.raises(Failed, match=r"No such file|cannot find"):
        Flash(tmp_path / "no" / "such" / "folder.img")
    junk = tmp_path / "junk.img"
    junk.write_bytes(random.Random(1).randbytes(SIZE))
    with pytest.raises(WrongInput, match="no littlefs"):
        f.refuse_foreign(junk)
    blank = tmp_path / "blank.img"
    blank.write_bytes(f.blank())
    f.refuse_foreign(blank)


def test_two_boards_never_share_an_image(tmp_path: Path) -> None:
    pytest.importorskip("fcntl")
    first = Flash(tmp_path / "a.img")
    with pytest.raises(Failed, match="another virtual board"):
        Flash(tmp_path / "a.img")
    first.close()
    Flash(tmp_path / "a.img").close()


def test_an_image_keeps_its_boards_id(tmp_path: Path) -> None:
    ids = []
    for name in ("a.img", "b.img"):
        f.make(tmp_path / name)
        chips = [Flash(tmp_path / name)]
        assert chips[0].read_all() == f.blank()
        chips[0].close()
        copy_flash(tmp_path / name, tmp_path / "moved.img")
        chips.append(Flash(tmp_path / "moved.img"))
        chips[1].close()
        assert len(chips[0].unique or b"") == 8
        assert chips[0].unique == chips[1].unique
        f.refuse_foreign(tmp_path / name)
        ids.append(chips[0].unique)
    assert ids[0] != ids[1]
    plain = Flash(tmp_path / "plain.img")
    assert plain.unique is None
    plain.close()
    with pytest.raises(Failed, match=r"No such file|cannot find"):
        f.make(tmp_path / "no" / "folder.img")


def test_without_an_image_the_id_is_the_rigs_and_the_seeds(hut: Rig) -> None:
    tent = read_rig(FOLDER / "radio-tent.toml")
    ids = []
    for rig, seed in ((hut, 0), (hut, 0), (hut, 1), (tent, 0)):
        twin = Twin(rig, seed=seed)
        ids.append(twin._engine._unique)
        twin.stop()
    assert ids[0] == ids[1]
    assert len(set(ids)) == 3


def test_a_board_cannot_write_outside(tmp_path: Path) -> None:
    chip = Flash(tmp_path / "a.img")
    with pytest.raises(Failed, match="outside"):
        chip.start(0.0, SIZE - 1, b"ab")
    chip.close()
