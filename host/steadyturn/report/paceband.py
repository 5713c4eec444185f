"""Pace against the band as a bar of three rows: where it is, the band, the numbers.

               v 52                     <---| at most 31
    ---------[====|====]-------    ---------[====|====]-------
    0        40   50   60    96    0        40   50   60    96

Position and shape say all; colour only repeats it.
"""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.report.terminal import Line

ROOM = 1.6  # the scale ends at this multiple of the band's high end
MOST_TPM = 9999.0  # what else a board says is no pace


@dataclass(frozen=True)
class Marks:
    """The characters a bar is made of."""

    here: str
    left: str
    until: str
    outside: str
    inside: str
    low: str
    target: str
    high: str


ASCII = Marks("v", "<", "|", "-", "=", "[", "|", "]")
BOX = Marks("\N{BLACK DOWN-POINTING TRIANGLE}", "\N{LEFTWARDS ARROW}",
            "\N{BOX DRAWINGS LIGHT VERTICAL AND LEFT}",
            "\N{BOX DRAWINGS LIGHT HORIZONTAL}", "\N{BOX DRAWINGS HEAVY HORIZONTAL}",
            "\N{BOX DRAWINGS HEAVY VERTICAL AND RIGHT}",
            "\N{BOX DRAWINGS HEAVY VERTICAL AND HORIZONTAL}",
            "\N{BOX DRAWINGS HEAVY VERTICAL AND LEFT}")


@dataclass(frozen=True)
class Band:
    """Paces in turns/min."""

    low: float
    target: float
    high: float


def band_of(low: float | None, target: float | None, high: float | None) -> Band | None:
    """The band, where these make one.

    >>> band_of(40.0, 50.0, 60.0)
    Band(low=40.0, target=50.0, high=60.0)
    >>> band_of(40.0, 50.0, 10.0), band_of(None, 50.0, 60.0), band_of(0.0, 0.0, 0.0)
    (None, None, None)
    """
    if low is None or target is None or high is None:
        return None
    if not 0.0 < low <= target <= high <= MOST_TPM:
        return None
    return Band(low, target, high)


def short(tpm: float) -> str:
    """A pace as a person wants it: whole turns, tenths of a very slow one.

    >>> short(69.3), short(4.25)
    ('69', '4.2')
    """
    return f"{tpm:.0f}" if tpm >= 10 else f"{tpm:.1f}"


def side(pace: float, band: Band) -> str:
    """A style by where the pace is: too slow, right, too fast."""
    return "yellow" if pace < band.low else "magenta" if pace > band.high else "green"


def rows(pace: float | None, bound: bool, band: Band, width: int, *, indent: str = "  ",
         unicode: bool = False) -> list[Line]:
    """Three rows. pace: None where it is not known; bound: it is at most this; width: of the
    bar itself."""
    marks = BOX if unicode else ASCII
    last = ROOM * band.high

    def cell(tpm: float) -> int:
        return min(width - 1, max(0, int(tpm / last * width)))

    bar = [marks.outside] * width
    low, target, high = cell(band.low), cell(band.target), cell(band.high)
    bar[low:high + 1] = marks.inside * (high + 1 - low)
    bar[target], bar[low], bar[high] = marks.target, marks.low, marks.high
    return [
        [(indent, ""), *_pointer(pace, bound, band, cell, width, marks)],
        [(indent + "".join(bar[:low]), ""), ("".join(bar[low:high + 1]), "bold green"),
         ("".join(bar[high + 1:]), "")],
        indent + _labels(band, last, (low, target, high), width),
    ]


def _pointer(pace: float | None, bound: bool, band: Band, cell: object, width: int,
             marks: Marks) -> Line:
    assert callable(cell)
    if pace is None:
        return [("? pace not known", "bold")]
    at = cell(pace)
    style = f"bold {side(pace, band)}"
    if bound:  # anywhere from here down to nothing
        text = f"at most {pace:.0f}"
        at = min(at, width - len(text) - 2)
        reach = marks.left + marks.outside * (at - 1) + marks.until if at > 0 else marks.until
        return _beside(reach, 0, text, width, style)
    beyond = " and beyond" if pace > ROOM * band.high else ""
    return _beside(marks.here, at, f"{pace:.0f}{beyond}", width, style)


def _beside(mark: str, at: int, text: str, width: int, style: str) -> Line:
    """The text behind the mark, or before it where it would leave the bar."""
    if at + len(mark) + 1 + len(text) <= width:
        return [(" " * at, ""), (f"{mark} {text}", style)]
    before = at - len(text) - 1
    if before >= 0:
        return [(" " * before, ""), (f"{text} {mark}", style)]
    return [(" " * at, ""), (mark[:width - at], style)]


def _labels(band: Band, last: float, at: tuple[int, int, int], width: int) -> str:
    """Numbers under the marks; one that finds no room is left out, the target first."""
    row = [" "] * width
    low, target, high = at
    for text, centre in ((short(band.low), low), (short(band.high), high), ("0", 0),
                         (short(last), width - 1), (short(band.target), target)):
        start = min(max(centre - len(text) // 2, 0), width - len(text))
        near = row[max(start - 1, 0):start + len(text) + 1]
        if all(c == " " for c in near):
            row[start:start + len(text)] = text
    return "".join(row).rstrip()
