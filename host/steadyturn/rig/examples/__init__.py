"""Example rigs, shipped with the package; their figures are invented."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parent


def example_path(name: str) -> Path | None:
    """The example called `name` (with or without .toml), or None."""
    path = FOLDER / (name if name.endswith(".toml") else name + ".toml")
    return path if path.parent == FOLDER and path.is_file() else None


def example_names() -> list[str]:
    return sorted(p.stem for p in FOLDER.glob("*.toml"))
