"""A new rig file from at most eight answers, each of which may be "don't know"."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from steadyturn.errors import Problem, WrongInput
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.questions import QUESTIONS, Question, parse, read_back
from steadyturn.rig.remarks import gearbox
from steadyturn.rig.types import Rig

__all__ = ["QUESTIONS", "NewRig", "Question", "new_rig", "parse", "read_back",
           "refuse_existing"]

COMFORT_TPM = 90.0  # a hand's usual fast end, for hazards where there is no band


@dataclass(frozen=True)
class NewRig:
    """file: what was written; assumed: the questions left open; understood: how answers were
    read that were not plain, by question; notes: what to mind; low_tpm, high_tpm: of the band by
    these answers and guesses, None where no pace works; dangerous: `check` refuses it so; next:
    commands to run."""

    file: str
    rig: str
    answered: tuple[str, ...]
    assumed: tuple[str, ...]
    understood: dict[str, str]
    notes: tuple[str, ...]
    low_tpm: float | None
    high_tpm: float | None
    dangerous: bool
    next: tuple[str, ...]


def refuse_existing(path: Path, force: bool) -> None:
    """WrongInput where nothing may be written; to be asked before any question is."""
    if path.is_dir():
        raise WrongInput(Problem("FILE", "", str(path), "this is a folder.",
                                 f"Name a file in it: {path / 'my.toml'}"))
    if path.exists() and not path.is_file():  # --force would put a file in a device's place
        raise WrongInput(Problem("FILE", "", str(path), "this is a device or a pipe.",
                                 "Name a new file, for example my.toml"))
    if path.exists() and not force:
        raise WrongInput(Problem("FILE", "", str(path), f"{path} is already there.",
                                 "Choose another name, or --force to write over it."))
    if not path.parent.is_dir():
        raise WrongInput(Problem("FILE", "", str(path), f"there is no folder {path.parent}.",
                                 "Make it first."))


def new_rig(path: Path, given: Mapping[str, str], *, force: bool = False) -> NewRig:
    """Write a commented rig file to `path`.

    given: question's name -> answer as text; "" or "?" or left out: don't know.
    Raises WrongInput (all wrong answers at once, or a file already there); writes all or nothing.
    """
    refuse_existing(path, force)
    problems = []
    values: dict[str, float | int | str] = {}
    for question in QUESTIONS:
        try:
            value = parse(question, given.get(question.name, ""))
        except ValueError as wrong:
            problems.append(Problem(question.option, "", given[question.name], str(wrong),
                                    question.how))
            continue
        if value is not None:
            values[question.name] = value
    if problems:
        raise WrongInput(*problems)
    # what writes TOML and what computes are slow to load
    from steadyturn.jobs.hazards import hazards_at
    from steadyturn.jobs.new_guess import ends, supposed
    from steadyturn.rig.template import Answers, text_of

    text = text_of(Answers(path.stem, values))
    rig = _read(text, path)  # only what reads back is written
    if guess := supposed(values):
        text = text_of(Answers(path.stem, values, guess))
        rig = _read(text, path)
    write_whole(path, text, force=force)
    open_ones = tuple(q.name for q in QUESTIONS if q.name not in values)
    understood = {q.name: words for q in QUESTIONS
                  if (words := read_back(q, given.get(q.name, "")))}
    notes = tuple(f"{remark.text} {remark.how}" for remark in gearbox(rig))
    low, high = ends(rig)
    return NewRig(str(path), rig.name, tuple(values), open_ones, understood, notes, low, high,
                  any(h.refuses for h in hazards_at(rig, high or COMFORT_TPM)),
                  (f"steadyturn check {path}", f"steadyturn pace {path}"))


def _read(text: str, path: Path) -> Rig:
    try:
        return read_rig_text(text, str(path))
    except WrongInput as wrong:
        raise WrongInput(*(
            Problem("the answers", p.key, p.value, p.right, p.how) for p in wrong.problems
        )) from None


def write_whole(path: Path, text: str, *, force: bool) -> None:
    """All of the file or nothing, also when stopped halfway. WrongInput where another program
    has written it since `refuse_existing` looked, unless `force`."""
    name = ""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        Path(name).chmod(0o644)
        if not force and _linked(name, path):
            Path(name).unlink()
        else:
            Path(name).replace(path)
    except BaseException as failed:
        if name:
            Path(name).unlink(missing_ok=True)
        if isinstance(failed, OSError):
            failed.filename, failed.filename2 = str(path), None  # the name that was asked for
        raise


def _linked(name: str, path: Path) -> bool:
    """Whether the file is at `path` now; False where this file system has no links."""
    try:
        os.link(name, path)
    except FileExistsError:
        refuse_existing(path, force=False)
        raise
    except (OSError, NotImplementedError):
        return False
    return True
