"""Asking for the readings of a bench at a terminal."""

from __future__ import annotations

import contextlib
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import click

from steadyturn.errors import Failed, Problem, WrongInput

MOST_WIRES = 99  # that an answer may say
TURNED = ("open", "open_rpm", "loaded", "loaded_rpm")


def ask(subject: str, rig: Path | None, wires: int | None, beat_tpm: float | None = None) -> Path:
    """The file in which the answers are; questions on stderr, as those of `new`. beat_tpm: the
    terminal's bell beats so fast while something is to be turned."""
    from steadyturn.jobs import bench as job
    from steadyturn.jobs import bench_guide as guiding
    from steadyturn.report import bench as report
    from steadyturn.report import bench_ask as words

    if rig is None and wires is None:
        number = _wires(words.WIRES)
        if number is not None and not (found := job.wires(number)).brushed:
            raise Failed(*report.not_modelled(found))
    guide = guiding.Guide(rig)
    path = guiding.path_of(subject)
    click.echo(words.opening(subject, guide.machine, path), err=True)
    saved: Path | None = None
    try:
        for asked in guide.questions():
            keys = guiding.keys_of(asked, guide.drill)
            turned = asked.code in TURNED or (
                asked.proposal is not None and asked.proposal.kind in TURNED)
            with _beating(beat_tpm if turned else None):
                guide.answer = _line(words.question(asked, keys))
    finally:
        if guide.blocks:
            saved = guiding.save(guide, path)
            click.echo(words.kept(saved, subject, rig), err=True)
        else:
            click.echo("\nNo file was written: no reading was typed.", err=True)
    if saved is None:
        raise WrongInput(Problem("the readings", "", "", "there are none.",
                                 "Enter numbers at least at one of the steps."))
    return saved


@contextlib.contextmanager
def _beating(beat_tpm: float | None) -> Iterator[None]:
    """The bell on every turn of the counted shaft; each beat from the first, so that none
    adds up to a drift."""
    if beat_tpm is None:
        yield
        return
    over = threading.Event()

    def beats() -> None:
        begin, count = time.monotonic(), 0
        while not over.wait(max(begin + count * 60 / beat_tpm - time.monotonic(), 0.0)):
            sys.stderr.write("\a")
            sys.stderr.flush()
            count += 1

    bell = threading.Thread(target=beats, daemon=True)
    bell.start()
    try:
        yield
    finally:
        over.set()
        bell.join()


def _line(prompt: str) -> str:
    """The answer to a question; where nobody sits at a terminal, it is asked only of what is
    there to be read."""
    there = sys.stdin.isatty()
    line = "" if there else sys.stdin.readline()
    if there or line:
        click.echo(prompt, nl=False, err=True)
    line = sys.stdin.readline() if there else line
    if not line:
        raise WrongInput(Problem("--readings", "", "", "is needed here, where nobody answers.",
                                 "'steadyturn bench --new readings.toml' writes a file for it."))
    return line


def _wires(explained: str) -> int | None:
    """How many wires leave the motor; None: not known, so it is taken for one with two."""
    while True:
        said = _line("How many wires leave the motor? (Enter: not known) ").strip()
        if not said:
            return None
        if said.isdecimal() and 2 <= int(said) <= MOST_WIRES:
            return int(said)
        click.echo(explained, err=True)
