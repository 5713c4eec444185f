"""Asking for the readings of a bench at a terminal."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from steadyturn.errors import Failed, Problem, WrongInput


def ask(subject: str, rig: Path | None, wires: int | None) -> Path:
    """The file in which the answers are; questions on stderr, as those of `new`."""
    from steadyturn.jobs import bench as job
    from steadyturn.jobs import bench_guide as guiding
    from steadyturn.report import bench as report
    from steadyturn.report import bench_ask as words

    if rig is None and wires is None:
        found = job.wires(_count(_line("How many wires leave the motor? ")))
        if not found.brushed:
            raise Failed(*report.not_modelled(found))
    guide = guiding.Guide(rig)
    click.echo(words.opening(subject, guide.machine), err=True)
    saved: Path | None = None
    try:
        for asked in guide.questions():
            keys = guiding.keys_of(asked, guide.drill)
            guide.answer = _line(words.question(asked, keys))
    finally:
        if guide.blocks:
            saved = guiding.save(guide, subject)
            click.echo(f"\nThe readings are in {saved}.\n", err=True)
    if saved is None:
        raise WrongInput(Problem("the readings", "", "", "there are none.",
                                 "Enter numbers at least at one of the steps."))
    return saved


def _line(prompt: str) -> str:
    click.echo(prompt, nl=False, err=True)
    line = sys.stdin.readline()
    if not line:
        raise WrongInput(Problem("--readings", "", "", "is needed here, where nobody answers.",
                                 "'steadyturn bench --new readings.toml' writes a file for it."))
    return line


def _count(line: str) -> int:
    try:
        return int(line)
    except ValueError:
        raise WrongInput(Problem("--wires", "", line.strip(), "a whole number, for example 2."
                                 )) from None
