"""Bring a board's firmware and settings up to date with a rig file.

One difference, one question, one writing, one reading back; and at the end the
board itself says, over the link, which settings are in force.
"""

from __future__ import annotations

import contextlib
import dataclasses
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from steadyturn_fw import fields

from steadyturn.board import update
from steadyturn.board.connect import START_S, Board, Direct, connect
from steadyturn.board.files import put, read_or_none
from steadyturn.board.link import NoAnswer
from steadyturn.board.stream import Gone
from steadyturn.board.update import FileChange, Progress
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.jobs.meeting import note
from steadyturn.model.band import Band, find_band
from steadyturn.model.remedies import remedies
from steadyturn.report.pace_empty import brief_remedies, clash_line
from steadyturn.report.style import shown_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.settings import corrections_before
from steadyturn.settings.build import build
from steadyturn.settings.corrections import Taken, carry
from steadyturn.settings.file import Settings, decode, encode, read_any

MOST_REMEDIES = 2
IN_FORCE_S = 5.0  # after it answers, until it has read its settings and made a first tick


@dataclass(frozen=True)
class SettingChange:
    """One setting: its value on the board (None: none, or the board's settings are not
    valid) and its new one."""

    name: str
    before: int | str | None
    after: int | str | None


@dataclass(frozen=True)
class Flashed:
    """outcome: same, written, declined or dry_run. firmware_*: version and a hash of
    what is in it, None for none. hazards: what the machine could do to its parts;
    dangerous: one of them makes `check` refuse the rig. settings_problem: why the
    settings on the board before were not valid. in_force: the board says that it runs
    these settings; None when it was not asked. previous_in_force: it refused them and
    runs those that it had before. compiled: the firmware's files are .mpy. write_bytes: in all,
    where something is written: the firmware as a whole, and the settings. named: the port was
    given. crc: of the rig's settings, in hex.
    corrections: of its readings that the board had, and whether they stay.
    fault: what the board reports after its start. library_remark: why this meeting with the
    board could not be noted in the library, "" where it was or was not to be."""

    rig: str
    port: str
    outcome: str
    firmware_before: str | None
    firmware_after: str
    files_changed: tuple[FileChange, ...]
    settings_changed: tuple[SettingChange, ...]
    settings_problem: str
    hazards: tuple[Hazard, ...]
    dangerous: bool
    band_tpm: tuple[float, float, float]
    crc: str
    compiled: bool = False
    write_bytes: int = 0
    named: bool = False
    in_force: bool | None = None
    crc_in_force: str | None = None
    previous_in_force: bool = False
    fault: int | None = None
    boot: int | None = None
    library_remark: str = ""
    seconds: float = 0.0
    corrections: tuple[Taken, ...] = ()

    @property
    def different(self) -> bool:
        return bool(self.files_changed or self.settings_changed or self.settings_problem)


Confirm = Callable[[Flashed], bool]


def flash(
    rig_path: str | Path, *, port: str | Direct | None = None, confirm: Confirm,
    progress: Progress | None = None, dry_run: bool = False, library: Path | None = None,
    anchor: bool = True, looks: Callable[[str], None] | None = None,
) -> Flashed:
    """Make the board run this program's firmware with the rig's settings.

    confirm is called once, with what would change, only if something would; progress
    with bytes done, bytes in all and what is being done. anchor: note the meeting, with the
    rig file, in the library folder (None: the user's). looks: called with the port before the
    board is looked at, which takes a while where it is silent. Raises WrongInput (rig file)
    and Failed (no pace works for the rig, the board failed). The board is left running
    in every case in which it can be reached.
    """
    start = time.monotonic()
    rig = read_rig(rig_path)
    band = _band(rig, str(rig_path))
    settings = build(rig, band)
    with connect(port) as board:
        if looks is not None:
            looks(board.name)
        done = bring_up(board, rig, band, settings, confirm=confirm, progress=progress,
                        dry_run=dry_run, named=isinstance(port, str), library=library,
                        anchor=anchor, text=lambda: _text(rig_path))
    return dataclasses.replace(done, seconds=time.monotonic() - start)


def bring_up(
    board: Board, rig: Rig, band: Band, settings: Settings, *, confirm: Confirm,
    progress: Progress | None = None, dry_run: bool = False, always_ask: bool = False,
    named: bool = False, library: Path | None = None, anchor: bool = True,
    text: Callable[[], str | None] = lambda: None,
) -> Flashed:
    """The same on a board that is reached already. settings: built of rig and band; always_ask:
    also where nothing on it would change; named: the port was given; text: the rig file, for
    the library. The board's own corrections of its readings are added to settings."""
    settings, taken = carry(settings, _had(board))
    data = encode(settings)
    difference = update.compare(board.files, data)
    before, problem = _before(difference.settings_before)
    plan = _plan(rig, band, board.name, difference, settings, before, problem, data)
    plan = dataclasses.replace(plan, corrections=taken)
    if difference.none and not always_ask:
        outcome = "same"
    elif dry_run:
        outcome = "dry_run"
    elif not confirm(plan):
        outcome = "declined"
    elif difference.none:
        outcome = "same"
    else:
        with _said(board, before if plan.firmware_before else None):
            _remember(board, taken)
            update.apply(board.files, data, difference, progress)
            _read_back(board, data)
        outcome = "written"
    board.restart()
    done = dataclasses.replace(plan, outcome=outcome, named=named)
    if outcome in ("same", "written"):
        said = ask_board(board, data, written=outcome == "written")
        done = dataclasses.replace(
            done, in_force=said.in_force, crc_in_force=said.crc_in_force, boot=said.boot,
            previous_in_force=said.previous_in_force, fault=said.fault)
        if anchor:
            done = dataclasses.replace(done, library_remark=note(
                board.link, kind="flash", library=library,
                rig_text=text() if done.in_force else None))
    return done


def _text(rig_path: str | Path) -> str | None:
    """The rig file, word for word."""
    try:
        return Path(rig_path).read_text("utf-8")
    except (OSError, ValueError):  # it was there a moment ago
        return None


def _band(rig: Rig, path: str) -> Band:
    """The rig's band; Failed when there is none, with what clashes and what would help."""
    band = find_band(rig, deep=False)
    if band.feasible:
        return band
    clash = clash_line(band)
    helps = brief_remedies(remedies(rig), MOST_REMEDIES)
    raise Failed(
        f"No pace works for '{rig.name}', so there is nothing to set on a board."
        + (f" {clash}." if clash else ""),
        (f"This would help: {helps}. " if helps else "")
        + f"'steadyturn pace {shown_path(path)}' shows why.",
    )


def _had(board: Board) -> Settings:
    """The settings that the board has, whatever their version, for what belongs to the board;
    where they are broken those that it had before."""
    for path in (update.SETTINGS, update.KEPT):
        found = read_any(read_or_none(board.files, path) or b"")
        if found:
            return found
    return {}


def _remember(board: Board, taken: tuple[Taken, ...]) -> None:
    """What does not stay is kept on the board: with the old sensor back, an undo finds it."""
    if any(one.why for one in taken):
        known = corrections_before.decode(read_or_none(board.files, corrections_before.FILE))
        put(board.files, corrections_before.FILE, corrections_before.encode(
            [*known, corrections_before.snapshot(_had(board))]))


def _before(data: bytes | None) -> tuple[Mapping[str, int | str], str]:
    """The settings on the board, and what is wrong with them ("" when nothing is)."""
    if data is None:
        return {}, "none on the board"
    try:
        return decode(data), ""
    except WrongInput as wrong:
        count = len(wrong.problems)
        old = read_any(data)
        version = old.get("version", fields.VERSION)
        if version != fields.VERSION:
            return old, f"of version {version} on the board, {fields.VERSION} is needed"
        return {}, f"not valid on the board ({count} problem{'s' if count > 1 else ''})"


def _plan(
    rig: Rig, band: Band, name: str, difference: update.Difference,
    settings: Mapping[str, int | str], before: Mapping[str, int | str], problem: str, data: bytes,
) -> Flashed:
    changed = [
        SettingChange(key, before.get(key), settings.get(key))
        for key in dict.fromkeys([*settings, *before])
        if before.get(key) != settings.get(key)
    ]
    if not (changed or problem) and difference.settings_change:
        problem = "the same values in another spelling on the board"
    hazards = hazards_of(rig, band)
    assert band.low_tpm is not None
    assert band.target_tpm is not None
    assert band.high_tpm is not None
    return Flashed(
        rig=rig.name, port=name, outcome="",
        firmware_before=difference.firmware_before, firmware_after=difference.firmware_after,
        compiled=difference.compiled,
        write_bytes=sum(map(len, update.to_write(data, difference).values())),
        files_changed=difference.changes, settings_changed=tuple(changed),
        settings_problem=problem if difference.settings_change else "",
        hazards=hazards, dangerous=any(h.refuses for h in hazards),
        band_tpm=(band.low_tpm, band.target_tpm, band.high_tpm),
        crc=f"{update.settings_crc(data):08x}",
    )


@contextlib.contextmanager
def _said(board: Board, before: Mapping[str, int | str] | None) -> Iterator[None]:
    """A failure while writing also says how the board is left. before: the settings on it; None
    where there was no firmware."""
    try:
        yield
    except Failed as failed:
        until = ("until then no program of ours runs on the board" if before is None else
                 "until then the board runs what it had before" if before else
                 "until then the board keeps the phone disconnected")
        how = f"{failed.how} Then flash again; {until}."
        try:
            board.restart()
        except Gone:
            pass
        except Failed:  # it may stand at its prompt
            how = f"{failed.how} Unplug the board, plug it in, then flash again; {until}."
        raise Failed(failed.what, how.strip()) from failed


def _read_back(board: Board, data: bytes) -> None:
    left = update.compare(board.files, data)
    if not left.none:
        names = ", ".join(c.path for c in left.changes) or update.SETTINGS
        raise Failed(
            f"Read back after writing, the board still differs: {names}.",
            "Run the same command again. If it stays, the board's flash is worn out.",
        )


@dataclass(frozen=True)
class InForce:
    """What a board says once it has started. in_force: it runs these settings; fault: what it
    reports; the rest as in Flashed."""

    in_force: bool
    crc_in_force: str | None
    previous_in_force: bool
    fault: int
    boot: int


def ask_board(board: Board, data: bytes, *, written: bool) -> InForce:
    """Which settings are in force on the board, once it has started: these (the file's bytes)?"""
    try:
        who = board.link.wait(START_S)
    except NoAnswer as silent:
        if not written:
            raise
        raise Failed(f"All is written and read back, but since its start: {silent.what}",
                     "Unplug the board and plug it in; 'steadyturn watch' shows whether it runs. "
                     "If not, flash again.") from silent
    end = time.monotonic() + IN_FORCE_S
    crc = update.settings_crc(data)
    while True:
        state = board.link.state()
        in_force = state["settings_ok"] == 1 and state["settings_crc"] == crc
        if in_force or time.monotonic() > end:
            break
        time.sleep(0.1)
    if in_force:  # the CRC is the board's word; the bytes are the proof
        in_force = board.link.settings() == data
    return InForce(
        in_force, f"{state['settings_crc']:08x}" if state["settings_ok"] else None,
        state["settings_ok"] == 2, state["fault"], who.boot)
