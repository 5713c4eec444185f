"""What a shell is offered for an argument: examples, and files and folders from here."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # wanted only when a shell asks
    from click import Context, Parameter
    from click.shell_completion import CompletionItem

MOST = 200  # offers; a folder may hold anything


def rigs(ctx: Context, param: Parameter, incomplete: str) -> list[CompletionItem[str]]:
    """Rig files for an argument RIG."""
    from steadyturn.rig.examples import example_names

    return _offers(incomplete, example_names, "example rig")


def drawers(ctx: Context, param: Parameter, incomplete: str) -> list[CompletionItem[str]]:
    """Parts files for an argument PARTS."""
    from steadyturn.jobs.size import example_drawers

    return _offers(incomplete, example_drawers, "example parts file")


def ports(ctx: Context, param: Parameter, incomplete: str) -> list[CompletionItem[str]]:
    """Serial ports for --port, as the system lists them; none is opened."""
    from steadyturn.jobs.ports import names

    return [_offer(name, help=what or None) for name, what in names()
            if name.startswith(incomplete)]


def _offer(value: str, **more: Any) -> CompletionItem[str]:
    from click.shell_completion import CompletionItem

    return CompletionItem(value, **more)


def _offers(
    incomplete: str, examples: Callable[[], Iterable[str]], kind: str
) -> list[CompletionItem[str]]:
    files = [_offer(name) for name in _toml_files(incomplete)]
    shipped = [_offer(name, help=kind) for name in examples()
               if name.startswith(incomplete)]
    # first, because bash's script forgets what came before it: folders are offered by the
    # shell where nothing else fits
    return [_offer(incomplete, type="dir"), *files, *shipped]


def _toml_files(incomplete: str) -> list[str]:
    head, _ = os.path.split(incomplete)
    try:
        names = sorted(path.name for path in Path(head or ".").glob("*.toml"))
    except OSError:
        return []
    return [name for name in (os.path.join(head, n) for n in names if n != "pyproject.toml")
            if name.startswith(incomplete)][:MOST]
