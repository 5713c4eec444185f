"""The card as one HTML file: one side of A4 or letter, large, black on white, no colour.

It loads nothing. Sizes are chosen so that the longest names and texts still fit one side; a
test prints it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from steadyturn import cautions
from steadyturn.report import plot_files
from steadyturn.report.html_parts import document, esc, items, name, table

SUFFIXES = (".html", ".htm")
LONG = 600  # letters of a sentence of ours
STRIP_S = 5.0
_WIDTH, _HEIGHT = 500, 26  # of a strip, in its own units: a hundredth of a second each
STYLE = """
:root { color-scheme: light dark; --ink: #000; --paper: #fff; }
@media screen and (prefers-color-scheme: dark) { :root { --ink: #fff; --paper: #000; } }
* { box-sizing: border-box; }
body { font: 17px/1.3 system-ui, 'DejaVu Sans', Arial, sans-serif; color: var(--ink);
  background: var(--paper); max-width: 56rem; margin: 0 auto; padding: .7rem;
  overflow-wrap: anywhere; }
h1 { font-size: 1.1em; margin: 0; font-weight: 600; } h2 { font-size: 1.05em; margin: .5em 0 .1em;
  border-top: 2px solid var(--ink); padding-top: .2em; }
p { margin: .15em 0; } ol, ul { margin: .1em 0; padding-left: 1.4em; } li { margin: .08em 0; }
.rule { font-size: 1.25em; font-weight: 700; margin: .15em 0; }
.pace { font-size: 1.5em; font-weight: 700; line-height: 1.15; margin: .15em 0; }
table { border-collapse: collapse; width: 100%; }
caption { text-align: left; font-weight: 700; font-size: 1.05em; padding: .2em 0 0; margin: .5em 0
  .1em; border-top: 2px solid var(--ink); }
thead { position: absolute; clip-path: inset(50%); width: 1px; height: 1px; overflow: hidden; }
th, td { text-align: left; font-weight: normal; padding: .1em .5em .1em 0; vertical-align: middle;
  border-bottom: 1px solid var(--ink); }
th { font-weight: 600; } .lamp td:last-child { width: 39%; padding-right: 0; }
.lamp th { width: 27%; }
.strip { display: block; width: 100%; height: 1.25em; shape-rendering: crispEdges;
  border: 1px solid var(--ink); }
.strip .ground { fill: #000; } .strip .lit { fill: #fff; }
.strip .still { fill: var(--paper); } .strip .on { fill: var(--ink); }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: 0 1.2em; }
.faults th:first-child { width: 1.3em; font-size: 1.2em; }
.first { border: 3px solid var(--ink); padding: .15em .5em; font-weight: 700; margin: .4em 0 0; }
.mind { font-size: .82em; }
@media (max-width: 40rem) { body { font-size: 16px; } .pair { display: block; }
  .lamp tr { display: block; border-bottom: 1px solid var(--ink); padding: .2em 0; }
  .lamp th, .lamp td, .lamp td:last-child { display: block; width: 100%; border: 0; padding: 0; } }
@page { margin: 9mm; }
@media print { body { font-size: 10.2pt; line-height: 1.22; max-width: none; padding: 0; }
  .pair { display: grid; } .mind { font-size: .8em; } .mind.roomy { font-size: .9em; }
  main { display: flex; flex-direction: column; justify-content: space-between; min-height: 96vh; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
"""


def check(path: Path) -> None:
    """Raise WrongInput before any work if the page cannot be written there."""
    plot_files.place(path, "--html", SUFFIXES, "It is a page for a browser or a printer.")


def write(c: Any, path: Path) -> None:
    """Write a `jobs.card.Card` into `path`; a file that was there is replaced whole."""
    check(path)
    made = page(c)
    with plot_files.whole(path) as unseen:
        unseen.write_text(made, encoding="utf-8", newline="\n")


def page(c: Any) -> str:
    """The whole card."""
    said = c.words
    shines = c.lamp in ("led", "two_led", "rgb")
    title = f"{name(c.rig)}: {name(c.label)}" if c.label else name(c.rig)
    body = [
        f"<main><h1>{title}</h1>", f'<p class="rule">{esc(said.rule)}</p>',
        f'<p class="pace">{esc(said.pace)}</p>',
        f"<p>{esc(f'{said.keep} {said.gains}', LONG)}</p>",
        _lamp(c, shines),
        '<div class="pair"><div>', _faults(c, shines), "<h2>Bypass</h2>", _numbered(said.bypass),
        "</div><div><h2>Connect</h2>", _numbered(said.connect),
        f"<h2>{'No light' if shines else 'No sign'}</h2>", _numbered(said.dark),
        f'<p class="first">{esc(said.trouble)}</p></div></div>',
        f'<div class="mind{"" if said.weak else " roomy"}"><h2>Mind</h2>{_mind(c)}</div></main>',
    ]
    return document(f"{c.rig}: card", "\n".join(body), STYLE,
                    about="How to use the machine in whose lid this lies", scheme="light dark")


def _numbered(steps: Iterable[str]) -> str:
    return "<ol>" + "".join(f"<li>{esc(step, LONG)}</li>" for step in steps) + "</ol>"


def _mind(c: Any) -> str:
    weak = [f"<b>{esc(c.words.weak, LONG)}</b>"] if c.words.weak else []
    return items([*weak, *(esc(one, LONG) for one in c.words.cautions),
                  esc(cautions.DEFER.split(":")[0] + ".")])


def _lamp(c: Any, shines: bool) -> str:
    rows = []
    for number, (signal, line) in enumerate(zip(c.signals, c.words.signals, strict=True)):
        drawn = strip(signal.steps, f"strip-{number}", line.what, shines=shines)
        rows.append((esc(line.what), esc(line.means), drawn))
    kind = "white is lit, black is dark" if shines else "black is on; half as high: the low tone" \
        if c.lamp == "piezo" else "black is on"
    return table(f"The lamp ({STRIP_S:.0f} s of it: {kind})" if shines else
                 f"The signals ({STRIP_S:.0f} s of them: {kind})",
                 ("looks like", "means", "in time"), rows, kind="lamp")


def strip(steps: Sequence[tuple[int, int]], key: str, said: str, *, shines: bool) -> str:
    """A signal over the first seconds, as a drawing; what shines is white on black."""
    parts, low = [], 2 if any(level == 2 for level, _ in steps) else 1
    for level, start, long in runs(steps, int(STRIP_S * 1000)):
        if level:
            tall = (_HEIGHT - 6) / (low if level == 1 else 1)
            parts.append(f'<rect class="{"lit" if shines else "on"}" x="{start / 10:g}" '
                         f'y="{_HEIGHT - 3 - tall:g}" width="{long / 10:g}" '
                         f'height="{tall:g}"/>')
    ground = "ground" if shines else "still"
    return (f'<svg class="strip" role="img" aria-labelledby="{key}" viewBox="0 0 {_WIDTH} '
            f'{_HEIGHT}" preserveAspectRatio="none"><title id="{key}">{esc(said)}, in time</title>'
            f'<rect class="{ground}" x="0" y="0" width="{_WIDTH}" height="{_HEIGHT}"/>'
            f"{''.join(parts)}</svg>")


def runs(steps: Sequence[tuple[int, int]], end_ms: int) -> list[tuple[int, int, int]]:
    """Level, start and length [ms] of what follows what, the round repeated until end_ms.

    >>> runs(((1, 200), (0, 300), (1, 100)), 900)
    [(1, 0, 200), (0, 200, 300), (1, 500, 300), (0, 800, 100)]
    """
    found: list[tuple[int, int, int]] = []
    at = 0
    while at < end_ms and any(ms > 0 for _, ms in steps):
        for level, ms in steps:
            long = min(ms, end_ms - at)
            if long > 0 and found and found[-1][0] == level:
                found[-1] = (level, found[-1][1], found[-1][2] + long)
            elif long > 0:
                found.append((level, at, long))
            at += ms
    return found


def _faults(c: Any, shines: bool) -> str:
    what = "flashes" if shines else "beeps" if c.lamp == "piezo" else "pulses"
    rows = [(str(code), f"<b>{esc(line.what)}.</b> {esc(line.means)}")
            for code, line in zip(c.faults, c.words.faults, strict=True)]
    return table(f"Faults: count the slow long {what}", ("count", "what it is, what to do"), rows,
                 kind="faults")
