"""Power cuts: prefixes of one outing's recorded flash operations, whole and torn.

After each cut littlefs-python must mount the image and find every page that an earlier
moment had already shown; some of the images are booted, and the board must go on from
the newest page's totals.
"""

from __future__ import annotations

import dataclasses
import random
import zlib
from collections.abc import Iterator
from pathlib import Path

import littlefs
import pytest
from steadyturn.board.connect import connect
from steadyturn.rig.types import Rig
from steadyturn.twin.flash import BLOCK, BLOCKS, Operation, apply, tear
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages

BOOTED = 4
CRANK_S, AFTER_S = 110, 10
Log = tuple[bytes, list[Operation]]


@pytest.fixture(scope="module")
def outing(_hut_image: Path, hut: Rig, tmp_path_factory: pytest.TempPathFactory) -> Log:
    """The image before, and every flash operation of two minutes."""
    image = tmp_path_factory.mktemp("outing") / "board.img"
    image.write_bytes(_hut_image.read_bytes())
    person = Person(hut, 4, plan=((0.0, "follow"), (CRANK_S, "stop")))
    with Twin(hut, image=image, seed=4, person=person) as twin:
        twin.record_flash()
        twin.run(CRANK_S + AFTER_S)
        log = twin.flash_log
        assert twin.truth.deaths_s
    assert log is not None
    return _hut_image.read_bytes(), log


def mounted(image: bytes | bytearray) -> littlefs.LittleFS:
    system = littlefs.LittleFS(
        block_size=BLOCK, block_count=BLOCKS, read_size=32, prog_size=256, cache_size=1024,
        lookahead_size=32, mount=False,
    )
    system.context.buffer = bytearray(image)
    system.mount()
    return system


def stored(image: bytes | bytearray) -> dict[int, bytes]:
    """Sound pages on an image, by number."""
    system = mounted(image)
    found = {}
    if "journal" not in system.listdir("/"):
        return {}
    for folder, _, names in system.walk("/journal"):
        for name in names:
            if name == "id":
                continue
            with system.open(f"{folder}/{name}", "rb") as file:
                data = file.read()
            for at in range(0, len(data) - pages.PAGE_BYTES + 1, pages.PAGE_BYTES):
                page = data[at : at + pages.PAGE_BYTES]
                crc = int.from_bytes(page[pages.AT_CRC :], "little")
                if page[:2] == b"St" and zlib.crc32(page[: pages.AT_CRC]) == crc:
                    found[pages.get(page, pages.AT_SEQ, 4)] = page
    return found


def cuts(outing: Log, chosen: set[int]) -> Iterator[tuple[int, bytearray, bytearray]]:
    """Number of operations done, the image then, and that with the next one torn."""
    start, log = outing
    image = bytearray(start)
    for number, operation in enumerate(log):
        if number in chosen:
            half = bytearray(image)
            tear(half, operation, number)
            yield number, image, half
        apply(image, operation)


def check(outing: Log, chosen: set[int]) -> int:
    """Every chosen cut, whole and torn; how many pages the last one shows."""
    seen: dict[int, bytes] = {}
    for number, whole, torn in cuts(outing, chosen):
        for image, how in ((whole, "whole"), (torn, "torn")):
            found = stored(image)
            lost = [seq for seq, page in seen.items() if found.get(seq) != page]
            assert not lost, f"cut at operation {number}, {how}: pages {lost} are gone"
        seen = stored(whole)
    return len(seen)


def test_no_page_is_lost_at_any_operation(outing: Log) -> None:
    log = outing[1]
    assert len(log) > 60
    assert check(outing, set(range(len(log)))) > 15


def test_the_board_goes_on_from_the_newest_totals(
    outing: Log, hut: Rig, tmp_path: Path
) -> None:
    rig = dataclasses.replace(hut, supply=dataclasses.replace(hut.supply, feed="usb"))
    log = outing[1]
    chosen = set(random.Random(12).sample(range(len(log) // 2, len(log)), BOOTED))
    for number, _, torn in cuts(outing, chosen):
        newest = max(stored(torn).items())
        path = tmp_path / f"{number}.img"
        path.write_bytes(torn)
        with Twin(rig, image=path) as twin:
            twin.run(1.0)
            with connect(twin.port) as board:
                who = board.link.wait(10)
                state = board.link.state()
        seq, page = newest
        assert who.last_seq >= seq
        assert who.boot > pages.get(page, pages.AT_BOOT, 3)
        assert state["energy_in_uj"] >= pages.get(page, pages.AT_ENERGY_IN, 6)
        assert state["turns_m"] >= pages.get(page, pages.AT_TURNS, 5)
