"""The band from what outings showed: which outings count, and [band] of the rig file."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.jobs import kept_file
from steadyturn.jobs.learned import of_board
from steadyturn.jobs.retune import (
    PRINTED,
    Retuned,
    Way,
    carry_out,
    read_changed,
    swaps,
    today,
)
from steadyturn.model.band import find_band
from steadyturn.model.motor import emf_constant
from steadyturn.rig.edit import Edit, text_with
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import Motor, Rig, specs
from steadyturn.sessions.decode import decode
from steadyturn.sessions.learned import Learned
from steadyturn.sessions.library import Library
from steadyturn.sessions.rows import OutingRow
from steadyturn.sessions.use import OutingUse, of_outing
from steadyturn.sessions.use_band import LEAST_OUTINGS, Constant, UseFound, judge
from steadyturn.settings.build import build
from steadyturn.settings.file import Settings, read_any

MOST = 40  # outings, the newest: what a machine was a year ago is another one
# by so much a constant of the motor has to differ: R moves the band's slow end by a turn/min from
# some 5 % on, k all paces by their share; less is not worth a flash, engineering judgement
LEAST_SHARE = {"terminal_ohm": 0.05, "emf_v_per_krpm": 0.015}
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
    board, uses, left_out, learned = _uses(rig, build(rig, band), way.library)
    found = judge(uses, left_out, rig, band, board)
    if moved := constants(rig, learned):
        found = dataclasses.replace(found, constants=moved, steps=(), remarks=())
    plan = Retuned("from_use", str(path), rig.name, "too_little", (), None, use=found)
    if not (found.steps or found.constants):
        return plan
    new_text = banded(text, found, str(path))
    new = read_changed(new_text, path)
    plan = dataclasses.replace(plan, outcome="same", swaps=swaps(rig, new),
                               notes=(PRINTED,))
    return carry_out(plan, rig, new, text, new_text, way)


def banded(text: str, found: UseFound, name: str) -> str:
    """The rig file's text with the steps in [band] and the constants in [motor]."""
    edits = [Edit(("band",), step.edge, step.after) for step in found.steps]
    edits += [Edit(("motor",), one.key, {
        "measured": one.after, "low": one.low, "high": one.high,
        "on": datetime.date.fromisoformat(today()), "note": f"by {one.outings} outings"})
        for one in found.constants]
    return text_with(text, edits, today(), name)


def constants(rig: Rig, learned: Iterable[Learned]) -> tuple[Constant, ...]:
    """What outings taught of the motor, where its 95 % range has not what the rig file says."""
    found = []
    for one in learned:
        key = one.rig_key.removeprefix("motor.")
        if key not in LEAST_SHARE or one.share is None or one.outings < LEAST_OUTINGS:
            continue
        low, high = one.share_low or 0.0, one.share_high or 0.0
        if low <= 1 <= high or abs(one.share - 1) < LEAST_SHARE[key]:
            continue
        spec = {s.key: s for s in specs(Motor).values()}[key]
        si = rig.motor.terminal_ohm if key == "terminal_ohm" else emf_constant(rig.motor)
        before = float(si) / spec.scale
        if not spec.low <= before * low < before * high <= spec.high:
            continue  # no motor has that
        after, least, most = (float(f"{before * share:.4g}") for share in (one.share, low, high))
        found.append(Constant(key, spec.unit, before, after, min(least, after), max(most, after),
                              one.share, one.outings))
    return tuple(found)


def _uses(rig: Rig, settings: Settings,
          folder: Path | None) -> tuple[str, list[OutingUse], int, tuple[Learned, ...]]:
    """The board's id, what its outings show, how many were of another machine or band, and what
    all of them taught of the machine's constants."""
    with Library(folder, readonly=True) as shelf:
        rows = [row for row in shelf.outings() if row.rig == settings["rig"]]
        if not rows:
            return "", [], 0, ()
        board = _newest(rows).board
        rows = [row for row in rows if row.board == board][-MOST:]
        uses, left_out = [], 0
        for row in rows:
            in_force = read_any(shelf.outing_settings(row))
            if not _same(in_force, settings):
                left_out += 1
                continue
            uses.append(of_outing(row.id, decode(shelf.outing_pages(row)), in_force))
        own = next(b for b in shelf.boards() if b.id == board)
        same = uses and rows[-1].id == uses[-1].outing  # else they taught of another one
        learned = of_board(shelf, own, rig).constants if same else ()
    return own.unique_id, uses, left_out, learned


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
