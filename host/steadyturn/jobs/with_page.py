"""What is made of a rig file and may be written as a page: sheet and card."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol, TypeVar

from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

Made = TypeVar("Made")


class PageOf(Protocol):
    """A module of `report`. check: WrongInput where no page can be written there."""

    def check(self, path: Path) -> None: ...

    def write(self, result: object, path: Path) -> None: ...


def made(path: str | Path, page: Path | None, page_of: PageOf,
         make: Callable[[Rig], Made]) -> Made:
    """What `make` makes of the rig, and its page; the page's place is looked at before."""
    if page is not None:
        page_of.check(page)
    result = make(read_rig(path))
    if page is not None:
        page_of.write(result, page)
    return result
