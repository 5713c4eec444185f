"""What the library gives: its boards, its contacts, its outings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from steadyturn.sessions.lesson import Lesson


@dataclass(frozen=True, slots=True)
class BoardRow:
    """A board as the library knows it. unique_id: the chip's, in hex; format_id: made once
    when its journal was, so that a reformatted board is another row; first_seen_s: host
    time, seconds since 1970."""

    id: int
    unique_id: str
    format_id: int
    first_seen_s: float


@dataclass(frozen=True, slots=True)
class Contact:
    """One meeting of board and host: at host_s (seconds since 1970) the board was t_ms into
    boot number `boot`. kind: "pull", "flash" or "watch". first_seq, last_seq:
    pages it had (None: none). settings: the text in force. finished: 1 if the pull ran to its
    end. pages: how many it brought."""

    id: int
    board: int
    kind: str
    host_s: float
    boot: int
    t_ms: int
    firmware: str
    first_seq: int | None
    last_seq: int | None
    settings: bytes
    finished: int
    pages: int


@dataclass(frozen=True, slots=True)
class OutingRow:
    """Boots between two meetings with a laptop, or until the board's totals began anew; before
    them, if there are such, those between earlier meetings in which the handle was hardly moved.

    id: the number shown to people; it stays with its pages when they are decoded again.
    board: BoardRow.id. Times are host seconds since 1970. begin_s, end_s: of the first and last
    page in which the handle turned, None where no meeting dates that boot. after_s: of the
    meeting before it, until_s: of the one that ended it; None where there was none or its clock
    is not believed. after_contact, until_contact: the numbers of these meetings. settings_id:
    of the settings in force, rig and label: the names in them; None where they are not known.
    on_s: the board was on; turning_s: on and not at rest; band_s: with the pace in the band;
    connected_s: with the phone connected. energy_out_kind: as in `figures.Figures`.
    pages: stored ones; missing_pages: absent within it or just before it, their totals are in.
    percent: of the phone's battery, None without its capacity in the settings; mean_pace_tpm:
    while the pace was valid, None if it never was. lessons: what it tells of the machine's
    constants, not in --json. note: a person's own words, "" for none.
    """

    id: int
    board: int
    first_seq: int
    last_seq: int
    first_boot: int
    last_boot: int
    begin_s: float | None
    end_s: float | None
    after_s: float | None
    until_s: float | None
    after_contact: int | None
    until_contact: int | None
    settings_id: int | None
    rig: str | None
    label: str | None
    energy_in_j: float
    energy_out_j: float
    energy_out_kind: str
    charge_c: float
    turns: float
    on_s: float
    turning_s: float
    band_s: float
    connected_s: float
    connections: int
    faults: int
    faults_by_name: Mapping[str, int]
    boots: int
    pages: int
    missing_pages: int
    percent: float | None
    mean_pace_tpm: float | None
    lessons: tuple[Lesson, ...] = field(metadata={"json": False})
    note: str
