"""One page to print and tick off: schematic, places, wires and parts of a rig."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from steadyturn import cautions
from steadyturn.drawings import place_tables
from steadyturn.report.html_parts import document, esc, items, table

_STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.45 'DejaVu Sans', Arial, sans-serif; color: #1a1a1a; background: #fff;
  max-width: 74rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.5rem; margin: .2rem 0; } h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem; }
svg { max-width: 100%; height: auto; display: block; }
.wide a { display: block; } .more { font-size: .85em; margin: .1rem 0 1rem; }
table { border-collapse: collapse; width: 100%; font-size: .9em; } th, td { text-align: left;
  padding: .15rem .6rem .15rem 0; border-bottom: 1px solid #bbb; vertical-align: top;
  font-weight: normal; } thead th { font-weight: 600; } caption { text-align: left; }
th.n, td.n { text-align: right; white-space: nowrap; }
.places td:nth-child(2) { white-space: nowrap; }
.mind { border: 2px solid #1a1a1a; padding: .1rem .6rem; }
.mind ul { margin: .2rem 0; padding-left: 1.1em; } .mind p { margin: .2rem 0; }
.parts { overflow-x: auto; }
@media (max-width: 40rem) { body { padding: .6rem; overflow-wrap: break-word; }
  .mind { font-size: .85em; } .places td:nth-child(2) { white-space: normal; }
  th, td { padding-right: .35rem; } tbody th { white-space: nowrap; } }
@page { margin: 12mm 13mm 14mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 8pt sans-serif; } }
@media print { body { max-width: none; font-size: 11px; padding: 0; }
  h2, caption { break-after: avoid; } svg, tr { break-inside: avoid; }
  .more { display: none; } }
"""


def page(result: Any, sheets: Sequence[tuple[str, str]], board: str, holes: str) -> str:
    """sheets: file and SVG of each sheet of the schematic; board, holes: SVG."""
    made, parts = result.built, result.table
    body = [f"<h1>{esc(result.rig)}: wiring</h1>",
            f"<p>Load switch: {esc(result.place)}; socket: {esc(result.socket.upper())}; board: "
            f"{esc(result.board)}. Names in bold in the drawings are nets; ground signs are all "
            "joined. How to go about it: hardware/README.md and hardware/breadboard.md of the "
            "program.</p>",
            *(f"<p class='mind'><b>{esc(line, 1000)}</b></p>" for line in _no_pace(result)),
            f"<div class='mind'>{items(map(_caution, cautions.short('wire')))}"
            "<p><a href='#cautions'>In full below.</a></p></div>"]
    if sheets:
        body.append("<h2>Schematic</h2>")
        body += [_drawing(svg, f"sheet-{at}", file)
                 for at, (file, svg) in enumerate(sheets, 1)]
    body += ["<h2>Terminal strip</h2>", _table("Thick wires, screwed.",
                                               place_tables.terminals(made)),
             "<h2>Breadboard</h2>", _drawing(holes, "holes", "breadboard.svg"),
             "<div class='places'>",
             _table("Holes of every leg: column and row.", place_tables.places(made, parts)),
             "</div>",
             "<h2>At socket, sensor and board</h2>",
             _table("Soldered across their pins.", place_tables.soldered(made, parts)),
             "<h2>Wires</h2>", _table("Tick each one off.", place_tables.wires(made), tick=True),
             _drawing(board, "pins", "board.svg")]
    if result.unplaced:
        body.append(f"<p>By hand, on the free rows: {esc(', '.join(result.unplaced))}; see "
                    "hardware/turn_and_load.md.</p>")
    body += ["<h2>Parts</h2>", f"<div class='parts'>{_parts(result)}</div>",
             "<h2 id='cautions'>Cautions</h2>",
             f"<div class='mind'>{items(map(_caution, cautions.of('wire')))}"
             f"<p>{esc(cautions.DEFER)}</p></div>"]
    return document(f"{result.rig}: wiring", "\n".join(body), _STYLE,
                    about=f"Wiring of {result.rig}, made by steadyturn")


def _no_pace(result: Any) -> list[str]:
    if not result.no_pace:
        return []
    return [f"No pace works for this rig ({result.no_pace}): built so, it charges nothing. "
            "'steadyturn pace' says what parts them."]


def _caution(text: str) -> str:
    return esc(text.replace("`", ""), 1000)


def _drawing(svg: str, key: str, file: str) -> str:
    """An SVG whose title is its name, for those who hear the page. On a narrow screen the whole
    of it is seen, small; file: what lies beside the page and opens as large as one wants."""
    named = svg.replace("<svg ", f'<svg role="img" aria-labelledby="{key}" ', 1).replace(
        "<title>", f'<title id="{key}">', 1)
    return (f"<div class='wide'>{named}</div><p class='more'>Larger: {esc(file)}, beside "
            "this page.</p>")


def _table(caption: str, markdown: str, *, tick: bool = False) -> str:
    """A table of `place_tables`, which have no markup in their cells."""
    rows = [[cell.strip() for cell in line.strip("|").split("|")]
            for line in markdown.splitlines()]
    head, body = rows[0], rows[2:]
    if tick:
        head, body = ["", *head], [["&#9744;", *map(esc, row)] for row in body]
        return table(esc(caption), [esc(h) for h in head], body, row_heads=False)
    return table(esc(caption), [esc(h) for h in head], [[esc(c) for c in row] for row in body])


def _parts(result: Any) -> str:
    rows = [(esc(p.ref), str(p.quantity), esc(p.value), esc(p.rating), esc(p.role),
             esc(f"{p.substitute}: {p.changes}".replace("`", "'")), f"{p.price_eur:.2f}")
            for p in result.parts]
    return table("Prices: euro apiece, a rough guide without a source.",
                 ("part", "pieces", "value", "rating", "for", "instead: what it changes", "euro"),
                 rows, right=(1, 6))
