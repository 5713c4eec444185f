"""Pictures as files: what a name must end in, what is needed to draw, and what a picture
says of itself, so that a later run can tell whether it is out of date.

Every plot goes through `check` before any work and `write` after it. matplotlib is imported
only here and by what draws, and only when drawing.
"""

from __future__ import annotations

import atexit
import json
import math
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np

from steadyturn import extras
from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.report import plot_style as look

SUFFIXES = (".png", ".svg")
DPI = 150
KEPT = 12  # points kept of each line in a picture's own account
DIGITS = 4
_MATPLOTLIB = "MPLCONFIGDIR"
_KEY = "Description"  # a key that both file types know


def check(path: Path, option: str = "--plot") -> None:
    """Raise before any work if a picture cannot be drawn there: WrongInput for the name,
    Failed where matplotlib is missing."""
    place(path, option, SUFFIXES, "PNG is a picture for a screen, SVG for print.")
    try:
        _place_for_fonts()
        import matplotlib  # noqa: F401
    except ImportError:
        raise Failed("Drawing a plot needs matplotlib, which is not installed.",
                     f"Install it with: {extras.install('plots')}") from None
    except ValueError:  # before it is there, it reads MPLBACKEND
        raise Failed("Drawing a plot needs matplotlib, which does not start as it is set up.",
                     "Unset MPLBACKEND in the environment, or look at matplotlibrc.") from None


def _place_for_fonts() -> None:
    """matplotlib keeps its settings and a list of fonts in the user's folders; where these cannot
    be written it would say so, at length, and take a temporary one. One that we name it takes
    without a word."""
    if _MATPLOTLIB in os.environ or all(map(_writable, _matplotlibs_folders())):
        return
    folder = tempfile.mkdtemp(prefix="steadyturn-plots-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    os.environ[_MATPLOTLIB] = folder


def _matplotlibs_folders() -> tuple[Path, ...]:
    """By the documentation of MPLCONFIGDIR (matplotlib.org, "Environment variables")."""
    if not sys.platform.startswith(("linux", "freebsd")):
        return (Path("~/.matplotlib").expanduser(),)
    homes = (("XDG_CONFIG_HOME", "~/.config"), ("XDG_CACHE_HOME", "~/.cache"))
    return tuple(Path(os.environ.get(name) or home).expanduser() / "matplotlib"
                 for name, home in homes)


def _writable(folder: Path) -> bool:
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder.is_dir() and os.access(folder, os.W_OK | os.X_OK)


def place(path: Path, option: str, suffixes: tuple[str, ...], how: str) -> None:
    """Raise WrongInput if no file with one of these endings can be written there."""
    if path.suffix.lower() not in suffixes:
        raise WrongInput(Problem(option, "", str(path),
                                 f"the name must end in {' or '.join(suffixes)}.", how))
    if not path.absolute().parent.is_dir():
        raise WrongInput(Problem(option, "", str(path), "that folder does not exist.",
                                 f"Make it first: {path.absolute().parent}"))
    if os.path.exists(path) and not path.is_file():
        raise WrongInput(Problem(option, "", str(path), "this is a folder, a device or a pipe.",
                                 "Name a new file."))
    if not os.access(Path(os.path.realpath(path)).parent, os.W_OK | os.X_OK):
        raise WrongInput(Problem(option, "", str(path), "nothing may be written in that folder.",
                                 "Name a file in another folder."))


def write(path: Path, draw: Callable[[], Any], *, option: str = "--plot",
          dpi: int = DPI, colors: int = 0) -> None:
    """Draw into `path`, PNG or SVG by its ending; draw() makes the matplotlib Figure, in
    the one style. The same figure gives the same file. colors: bring a PNG down to so many,
    a third of the bytes; 0 leaves them."""
    check(path, option)
    from matplotlib import rc_context

    with rc_context(look.RC):
        figure = draw()
        said = {_KEY: json.dumps(content(figure), separators=(",", ":"))}
        if path.suffix.lower() == ".svg":
            said["Date"] = None  # type: ignore[assignment]  # matplotlib leaves it out
        with whole(path) as unseen:
            figure.savefig(unseen, dpi=dpi, metadata=said)
            if colors and path.suffix.lower() == ".png":
                _fewer_colors(unseen, colors)


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A name to write to; the file is at `path` once it is whole, and what was there before
    stays where it fails or is stopped halfway."""
    real = Path(os.path.realpath(path))  # a link stays a link
    unseen = None
    try:
        handle, name = tempfile.mkstemp(prefix=".", suffix=path.suffix, dir=real.parent)
        unseen = Path(name)
        os.close(handle)
        yield unseen
        unseen.chmod(0o644)
        unseen.replace(real)
    except BaseException as failed:
        if unseen is not None:
            unseen.unlink(missing_ok=True)
        if isinstance(failed, OSError):
            failed.filename, failed.filename2 = str(path), None  # the name that was asked for
        raise


def _fewer_colors(path: Path, colors: int) -> None:
    from PIL import Image, PngImagePlugin  # comes with matplotlib

    with Image.open(path) as picture:
        said = PngImagePlugin.PngInfo()
        said.add_text(_KEY, str(picture.info[_KEY]))
        small = picture.convert("RGB").quantize(colors)
        dpi = picture.info.get("dpi", (DPI, DPI))
    small.save(path, pnginfo=said, optimize=True, dpi=dpi)


def drawn(draw: Callable[[], Any]) -> Any:
    """The figure that draw() makes, in the one style."""
    from matplotlib import rc_context

    with rc_context(look.RC):
        return draw()


def content(figure: Any) -> dict[str, Any]:
    """What a figure shows, in short: each panel's ends, some points of each line and the
    words written by us; none of it depends on the version of matplotlib."""
    panels = []
    for axis in figure.axes:
        lines = [_some(line.get_xydata()) for line in axis.lines]
        words = [text.get_text() for text in axis.texts]
        words += [axis.get_xlabel(), axis.get_ylabel()]
        panels.append({"x": _round(axis.get_xlim()), "y": _round(axis.get_ylim()),
                       "lines": lines, "words": [word for word in words if word]})
    title = figure.get_suptitle()
    return {"title": title, "panels": panels}


def stored(path: Path) -> dict[str, Any] | None:
    """What a picture written by `write` says of itself; None where it says nothing."""
    if path.suffix.lower() == ".svg":
        text = path.read_text(encoding="utf-8")
        found = re.search(r"<dc:description>(.*?)</dc:description>", text, re.DOTALL)
        said = unescape(found.group(1)) if found else ""
    else:
        from PIL import Image  # comes with matplotlib

        with Image.open(path) as picture:
            said = str(picture.info.get(_KEY, ""))
    try:
        value = json.loads(said)
    except ValueError:
        return None
    return value if isinstance(value, dict) else None


def differ(one: Any, other: Any, *, within: float = 0.004) -> str:
    """Where two accounts (see `content`) differ, as a path into them; "" where they show
    the same. Numbers may be apart by `within` of the larger, or by as much of one."""
    return _differ(one, other, within, "picture")


def _differ(one: Any, other: Any, within: float, where: str) -> str:
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        pairs = [(f"{where}.{key}", one[key], other[key]) for key in one]
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = [(f"{where}[{i}]", a, b) for i, (a, b) in enumerate(zip(one, other, strict=True))]
    elif _is_number(one) and _is_number(other):
        far = abs(one - other) > within * max(1.0, abs(one), abs(other))
        return f"{where}: {one} and {other}" if far else ""
    else:
        return "" if one == other else f"{where}: {one!r} and {other!r}"
    return next(filter(None, (_differ(a, b, within, at) for at, a, b in pairs)), "")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _some(points: Any) -> list[list[float | None]]:
    """At most KEPT of the points of a line, its ends among them."""
    rows = np.asarray(points, dtype=float)
    if len(rows) > KEPT:
        rows = rows[np.linspace(0, len(rows) - 1, KEPT).round().astype(int)]
    return [_round(row) for row in rows.tolist()]


def _round(values: Any) -> list[float | None]:
    return [float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
            for value in map(float, values)]
