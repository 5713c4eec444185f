"""Copies of a virtual board's flash, to play the same board on in other ways."""

from __future__ import annotations

import shutil
from pathlib import Path

from steadyturn.twin.plain import folder_of


def copy_flash(image: Path, to: Path) -> None:
    """The flash of the board at `image`, image file or folder, again at `to`."""
    if image.exists():
        shutil.copy(image, to)
    if folder_of(image).is_dir():
        shutil.copytree(folder_of(image), folder_of(to), dirs_exist_ok=True)
