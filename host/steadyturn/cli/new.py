"""`steadyturn new FILE`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from steadyturn.cli.common import json_option, show
from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.new import (
    QUESTIONS,
    Question,
    new_rig,
    parse,
    read_back,
    refuse_existing,
)
from steadyturn.report.new import question_text, text
from steadyturn.report.style import item


def _with_options(function: Callable[..., Any]) -> Callable[..., Any]:
    for question in reversed(QUESTIONS):
        function = click.option(question.option, question.name, default=None, metavar="ANSWER",
                                help=question_text(question) + ".")(function)
    return function


@click.command(short_help="Write a rig file from at most eight questions.")
@click.argument("file", type=click.Path(path_type=Path))
@_with_options
@click.option("--no-input", "--yes", is_flag=True,
              help="Ask nothing; what is not given is assumed.")
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
@json_option
def command(
    file: Path, no_input: bool, force: bool, as_json: bool, **given: str | None
) -> int:
    """Write a rig file: eight questions at most, and Enter always means "don't know"."""
    refuse_existing(file, force)
    answers = {name: answer for name, answer in given.items() if answer is not None}
    if not no_input:
        _ask(answers)
    result = new_rig(file, answers, force=force)
    show(result, as_json, text)
    return 0


def _ask(answers: dict[str, str]) -> None:
    """Put the questions that no option has answered, on stderr, until each is fit."""
    open_ones = [q for q in QUESTIONS if q.name not in answers]
    if open_ones:
        click.echo("Enter or ? means: I don't know. Ctrl-C writes nothing.\n", err=True)
    for number, question in enumerate(open_ones, 1):
        answers[question.name] = _answer(number, len(open_ones), question)


def _answer(number: int, of: int, question: Question) -> str:
    while True:
        asked = item(f"{question_text(question)}:", f"{number}/{of}  ", "")
        click.echo(f"{asked} ", nl=False, err=True)
        line = sys.stdin.readline()
        if not line:
            raise WrongInput(Problem("--no-input", "", "", "is needed here, where nobody answers.",
                                     "What is not given by an option is then assumed."))
        try:
            parse(question, line)
        except ValueError as wrong:
            click.echo(item(f"{wrong} {question.how}", "Not that: ", "     "), err=True)
            continue
        if words := read_back(question, line):
            click.echo(item(f"{words}.", "That is ", "     "), err=True)
        return line.strip()
