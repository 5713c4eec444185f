"""Example rigs, shipped with the package; their figures are invented."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parent


def example_path(name: str) -> Path | None:
    """The example called `name` (with or without .toml), or None."""
    stem = name.removesuffix(".toml")
    return FOLDER / f"{stem}.toml" if stem in example_names() else None


def example_names() -> list[str]:
    return sorted(p.stem for p in FOLDER.glob("*.toml"))
