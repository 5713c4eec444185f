"""What differs, the order of writing, and a power cut before every single step."""

from __future__ import annotations

import re
import zlib
from pathlib import Path

import pytest
import steadyturn_fw
from memory_files import MemoryFiles
from steadyturn.board import update
from steadyturn.board.files import put, sha256
from steadyturn.errors import Failed

OLD = b'{"crc": "00000000", "settings":\n{"version": 1}\n}\n'
NEW = b'{"crc": "00000000", "settings":\n{"version": 1, "x": 2}\n}\n'
JOURNAL = {"/journal/id": b"1234", "/journal/000001.log": b"S" * 440}


def installed(settings: bytes = OLD, **more: bytes) -> dict[str, bytes]:
    return {**update.package_files(), update.MAIN: update.MAIN_PY, update.SETTINGS: settings,
            **JOURNAL, **more}


def test_the_firmware_is_this_programs_own_package():
    files = update.package_files()
    assert files["/lib/steadyturn_fw/frames.py"].startswith(b'"""The link')
    assert all(re.fullmatch(r"/lib/steadyturn_fw/\w+\.py", path) for path in files)
    assert update.firmware_version().startswith(steadyturn_fw.VERSION + "+")


def test_an_empty_board_gets_everything_and_a_second_time_nothing():
    board = MemoryFiles()
    first = update.compare(board, NEW)
    assert {c.kind for c in first.changes} == {"new"}
    assert first.firmware_before is None
    seen = []
    update.apply(board, NEW, first, lambda *step: seen.append(step))
    assert board.content | JOURNAL == installed(NEW)
    again = update.compare(board, NEW)
    assert again.none
    assert again.firmware_before == update.firmware_version()
    done = [step[0] for step in seen]
    assert done == sorted(done)
    assert seen[-1][0] == seen[-1][1]


def test_one_changed_file_and_one_stale_one():
    board = MemoryFiles(installed(**{"/lib/steadyturn_fw/pages.py": b"old",
                                     "/lib/steadyturn_fw/pages.mpy": b"stale"}))
    found = update.compare(board, OLD)
    assert [(c.path, c.kind) for c in found.changes] == [
        ("/lib/steadyturn_fw/pages.py", "changed"), ("/lib/steadyturn_fw/pages.mpy", "stale")]
    assert not found.settings_change
    assert found.firmware_before != update.firmware_version()
    update.apply(board, OLD, found)
    assert board.content == installed()


def test_what_a_cut_update_left_is_cleared_up():
    left = {update.SETTINGS + ".new": b"", "/lib/steadyturn_fw/old.py.new": b"half"}
    board = MemoryFiles(installed(**left))
    found = update.compare(board, OLD)
    assert {c.path: c.kind for c in found.changes} == dict.fromkeys(left, "stale")
    update.apply(board, OLD, found)
    assert board.content == installed()


def test_the_journal_is_never_touched():
    board = MemoryFiles({**JOURNAL, "/lib/other.py": b"theirs"})
    update.apply(board, NEW, update.compare(board, NEW))
    assert {k: board.content[k] for k in JOURNAL} == JOURNAL
    assert board.content["/lib/other.py"] == b"theirs"


def test_main_comes_last_of_the_renames_and_settings_just_before():
    order = []

    class Watched(MemoryFiles):
        def rename(self, old, new):
            order.append(new)
            super().rename(old, new)

    board = Watched()
    update.apply(board, NEW, update.compare(board, NEW))
    assert order[-2:] == [update.SETTINGS, update.MAIN]


def test_a_cut_before_any_step_leaves_old_or_new_settings_and_is_healed():
    before = installed(**{"/lib/steadyturn_fw/pages.py": b"old",
                          "/lib/steadyturn_fw/gone.py": b"stale", update.MAIN: b"old main"})
    whole = MemoryFiles(before)
    update.apply(whole, NEW, update.compare(whole, NEW))
    assert whole.steps >= 8
    outcomes = set()
    for cut in range(whole.steps):
        board = MemoryFiles(before, cut_at=cut)
        with pytest.raises(Failed):
            update.apply(board, NEW, update.compare(board, NEW))
        outcomes.add(board.content[update.SETTINGS])
        for path, data in board.content.items():
            if path in before and not path.endswith(".new"):
                assert data in (before[path], whole.content.get(path)), (cut, path)
        board.cut_at = -1
        update.apply(board, NEW, update.compare(board, NEW))
        assert board.content == whole.content, cut
        assert update.compare(board, NEW).none
    assert outcomes == {OLD, NEW}


@pytest.mark.parametrize("path", [update.SETTINGS, update.MAIN, "/lib/steadyturn_fw/pages.py"])
def test_bad_storage_is_seen_before_anything_is_in_force(path):
    class Bad(MemoryFiles):
        def write(self, at, data):
            super().write(at, b"\x00" + data[1:] if at == path + ".new" else data)

    before = installed(**{"/lib/steadyturn_fw/pages.py": b"old", update.MAIN: b"old main"})
    board = Bad(before)
    with pytest.raises(Failed, match="not what was sent"):
        update.apply(board, NEW, update.compare(board, NEW))
    assert board.content == before


def test_a_full_flash_leaves_the_board_as_it_was():
    class Full(MemoryFiles):
        def write(self, path, data):
            room = 20_000 - sum(map(len, self.content.values()))
            self.content[path] = data[:room]
            if len(data) > room:
                raise Failed(f"{path}: the board's flash is full.")

    board = Full({update.SETTINGS: OLD})
    with pytest.raises(Failed, match="full"):
        update.apply(board, NEW, update.compare(board, NEW))
    assert board.content == {update.SETTINGS: OLD}


def test_put_writes_whole_or_not_at_all():
    board = MemoryFiles({"/a": b"old"}, cut_at=1)
    with pytest.raises(Failed):
        put(board, "/a", b"new")
    assert board.content["/a"] == b"old"
    board.cut_at = -1
    put(board, "/a", b"new")
    assert board.content == {"/a": b"new"}


def test_main_is_the_one_in_the_firmware_folder():
    folder = Path(steadyturn_fw.__file__).parent.parent
    assert (folder / "main.py").read_bytes() == update.MAIN_PY


def test_the_crc_is_of_the_settings_line():
    assert update.settings_crc(NEW) == zlib.crc32(b'{"version": 1, "x": 2}')
    assert update.settings_crc(b"") == 0
    assert sha256(b"abc").startswith("ba7816bf")  # FIPS 180-2, appendix B.1
