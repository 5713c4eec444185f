"""Every generated file of a checkout: hardware/'s, the lamp's, rig_file.md, the pictures.

`python -m steadyturn.jobs.drawings` in a checkout writes those that are out of date. A
picture is out of date when its numbers or words are others than today's, whatever version
of matplotlib drew it: it keeps them in its own description.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from steadyturn.drawings import files
from steadyturn.jobs.pace import pace
from steadyturn.jobs.pace_map import pace_map
from steadyturn.model.band import find_band
from steadyturn.report import plot_files, plots_map
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.reference import PAGE, reference_text

DPI, COLORS = 120, 240  # of a picture that stands in a page


def map_of(example: str) -> Any:
    """The map of an example rig, as a figure."""
    path = example_path(example)
    assert path is not None
    rig = read_rig(path)
    shown = replace(pace(path), map=pace_map(rig, find_band(rig, deep=False)))
    return plot_files.drawn(lambda: plots_map.draw(shown))


PICTURES: dict[str, Callable[[], Any]] = {
    "host/pictures/lakeside-hut-map.png": lambda: map_of("lakeside-hut"),
}


def out_of_date(path: Path, figure: Any) -> str:
    """Where the picture at `path` differs from `figure`; "" where it shows the same."""
    stored = plot_files.stored(path) if path.exists() else None
    if stored is None:
        return "there is no picture that says what it shows"
    return plot_files.differ(stored, plot_files.content(figure))


def _same(figure: Any) -> Any:
    return figure


def write(root: Path) -> list[Path]:
    """Write all generated files below `root`; returns those that changed."""
    changed = files.write(root)
    if PAGE.read_text(encoding="utf-8") != reference_text():
        PAGE.write_text(reference_text(), encoding="utf-8", newline="\n")
        changed.append(PAGE)
    for name, draw in PICTURES.items():
        path = root / name
        figure = draw()
        if out_of_date(path, figure):
            path.parent.mkdir(parents=True, exist_ok=True)
            plot_files.write(path, partial(_same, figure), dpi=DPI, colors=COLORS)
            changed.append(path)
    return changed


if __name__ == "__main__":
    here = Path.cwd()
    if not (here / "hardware").is_dir() or not (here / "host").is_dir():
        sys.exit("Run it in the checkout's top folder, where hardware/ and host/ are.")
    for path in write(here):
        print(path)
