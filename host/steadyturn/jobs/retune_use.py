"""The band from what outings showed: which outings count, and [band] of the rig file."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.jobs import kept_file
from steadyturn.jobs.retune import Retuned, Way, carry_out, read_changed, swaps, today
from steadyturn.model.band import find_band
from steadyturn.rig.edit import Edit, text_with
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import Rig
from steadyturn.sessions.decode import decode
from steadyturn.sessions.library import Library
from steadyturn.sessions.rows import OutingRow
from steadyturn.sessions.use import OutingUse, of_outing
from steadyturn.sessions.use_band import UseFound, judge
from steadyturn.settings.build import build
from steadyturn.settings.file import Settings, read_any

MOST = 40  # outings, the newest: what a machine was a year ago is another one
SAME_DTPM = 3  # a band that was rounded elsewhere is the same
SAME_EMF = 0.02  # so much a better measured constant moves; more is another machine


def from_use(path: Path, way: Way) -> Retuned:
    """Read the library's outings of this rig as it is set now, and move [band] by what they
    show. Raises Failed where there is no library, or no pace works for the rig."""
    text = read_text(path)
    rig = read_rig_text(text, str(path))
    if not way.dry_run:
        kept_file.refuse_unwritable(path)
    band = find_band(rig, deep=False)
    if not band.feasible:
        raise Failed(f"No pace works for '{rig.name}', so there is no band to move.",
                     f"'steadyturn pace {path}' shows why.")
    board, uses, left_out = _uses(rig, build(rig, band), way.library)
    found = judge(uses, left_out, rig, band, board)
    plan = Retuned("from_use", str(path), rig.name, "too_little", (), None, use=found)
    if not found.steps:
        return plan
    new_text = banded(text, found, str(path))
    new = read_changed(new_text, path)
    plan = dataclasses.replace(plan, outcome="same", swaps=swaps(rig, new))
    return carry_out(plan, rig, new, text, new_text, way)


def banded(text: str, found: UseFound, name: str) -> str:
    """The rig file's text with the steps in [band]."""
    edits = [Edit(("band",), step.edge, step.after) for step in found.steps]
    return text_with(text, edits, today(), name)


def _uses(rig: Rig, settings: Settings,
          folder: Path | None) -> tuple[str, list[OutingUse], int]:
    """The board's id, what its outings show, and how many were of another machine or band."""
    with Library(folder, readonly=True) as shelf:
        rows = [row for row in shelf.outings() if row.rig == settings["rig"]]
        if not rows:
            return "", [], 0
        board = _newest(rows).board
        rows = [row for row in rows if row.board == board][-MOST:]
        uses, left_out = [], 0
        for row in rows:
            in_force = read_any(shelf.outing_settings(row))
            if not _same(in_force, settings):
                left_out += 1
                continue
            uses.append(of_outing(row.id, decode(shelf.outing_pages(row)), in_force))
        ids = {b.id: b.unique_id for b in shelf.boards()}
    return ids.get(board, ""), uses, left_out


def _newest(rows: list[OutingRow]) -> OutingRow:
    return max(rows, key=lambda row: row.id)


def _same(was: Settings, now: Settings) -> bool:
    """Whether an outing was cranked with this machine and this band."""
    if any(name not in was for name in ("low_dtpm", "target_dtpm", "high_dtpm",
                                        "emf_uv_per_tpm")):
        return False
    near = all(abs(int(was[name]) - int(now[name])) <= SAME_DTPM
               for name in ("low_dtpm", "target_dtpm", "high_dtpm"))
    k, other = int(now["emf_uv_per_tpm"]), int(was["emf_uv_per_tpm"])
    return near and abs(k - other) <= SAME_EMF * k
