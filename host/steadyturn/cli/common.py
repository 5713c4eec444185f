"""What the commands share: the RIG argument, --json, and handing results over."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from steadyturn.cli import complete
from steadyturn.errors import Problem, WrongInput


class Number(click.ParamType):
    """A number, in words of its own where it is none: which option, what is read there."""

    name = "number"

    def __init__(self, what: str, kind: type[float] | type[int] = float) -> None:
        self.what, self.kind = what, kind

    def convert(self, value: Any, param: click.Parameter | None,
                ctx: click.Context | None) -> float | int:
        if isinstance(value, float | int):
            return value
        try:
            return self.kind(value)
        except ValueError:
            option = param.opts[0] if param is not None else ""
            begins = re.match(r"\s*([-+]?\d+(?:[.,]\d+)?)", value)
            how = "" if begins is None else (
                f"Only the number: {option} {begins[1].replace(',', '.')}")
            if self.kind is int and begins is not None and not begins[1].lstrip("+-").isdigit():
                how = ""
            right = "a whole number" if self.kind is int else "a number"
            raise WrongInput(Problem(option, "", value, f"{right} ({self.what}).", how)) from None


json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
library_option = click.option(
    "--library", type=click.Path(path_type=Path, file_okay=False), default=None,
    envvar="STEADYTURN_LIBRARY", help="Folder of the journal library.",
)
plot_option = click.option(
    "--plot", type=click.Path(path_type=Path, dir_okay=False), default=None, metavar="FILE",
    help="Also draw a picture: a .png or .svg file.",
)
html_option = click.option(
    "--html", type=click.Path(path_type=Path, dir_okay=False), default=None, metavar="FILE",
    help="Also write a page for a browser: one .html file that loads nothing.",
)


def _named(_ctx: click.Context, _option: click.Parameter, value: str | None) -> str | None:
    if value is not None and not value.strip():
        raise WrongInput(Problem("--port", "", f"'{value}'", "the name of a serial port.",
                                 "'steadyturn ports' lists them; leave --port out to have the "
                                 "board found."))
    return value


port_option = click.option("--port", default=None, shell_complete=complete.ports, callback=_named,
                           help="Serial port of the board ('steadyturn ports' lists them).")


def rig_argument(function: Callable[..., Any]) -> Callable[..., Any]:
    return click.argument("rig", metavar="RIG", required=False, type=str, default=None,
                          shell_complete=complete.rigs)(function)


def _is_drawer(name: str) -> bool:
    from steadyturn.jobs.size import example_drawers

    return name in example_drawers()


def rig_path(given: str | None) -> Path:
    """The rig file: as given (a path, or the name of an example), or the only one here."""
    from steadyturn.rig.examples import example_path
    from steadyturn.rig.toml_text import is_parts_file

    if given is not None:
        path = Path(given)
        if os.path.exists(path):  # Path's own raises where a name is too long
            return path
        found = example_path(given)
        if found is None and _is_drawer(given):
            raise WrongInput(Problem(
                "RIG", "", given, "this is an example parts file, not a rig file.",
                f"'steadyturn size {given}' finds machines in it; its --write makes one a rig "
                "file."))
        return found or path
    here = sorted(Path.cwd().glob("*.toml"))
    here = [p for p in here
            if p.name != "pyproject.toml" and not (p.is_file() and is_parts_file(p))]
    if len(here) == 1 and sys.stdin.isatty():
        return here[0]
    names = ", ".join(p.name for p in here[:5]) or "none is here"
    raise WrongInput(
        Problem("RIG", "", "", f"name a rig file ({names}).",
                "'steadyturn new my.toml' writes one from eight questions.")
    )


def show(result: Any, as_json: bool, text: Callable[[Any], str]) -> None:
    """Print a job's result as JSON, or as `text` makes it for a person."""
    from steadyturn.report.objects import to_json

    plain = not (sys.stdout.encoding or "utf-8").lower().startswith("utf")
    click.echo(to_json(result, plain=plain) if as_json else text(result), nl=as_json)
