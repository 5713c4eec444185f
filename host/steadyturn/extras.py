"""How to get what is missing. The program is on no package index: it is installed from the
folder of its sources, and so is what it can do with more libraries (pyproject.toml has which)."""

from __future__ import annotations

from pathlib import Path

import steadyturn


def install(extra: str, root: Path | None = None) -> str:
    """The command that installs what `extra` names. root: the sources' folder (None: found,
    where the program runs out of it)."""
    found = sources() if root is None else root
    if found is None:
        return f"pip install '.[{extra}]' in the folder of steadyturn's sources"
    return f"pip install -e '{'.' if found == Path.cwd() else found}[{extra}]'"


def update() -> str:
    """How a newer version comes here."""
    if sources() is None:
        return "fetch its newer sources, then pip install . in their folder"
    return "fetch its newer sources ('git pull' in their folder)"


def sources() -> Path | None:
    """The folder that the program runs out of, where that is its sources."""
    root = Path(steadyturn.__file__).resolve().parents[2]
    return root if (root / "pyproject.toml").is_file() else None
