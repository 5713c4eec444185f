"""The sheet of `bringup` as one HTML file, for a screen and, above all, for paper."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import steadyturn
from steadyturn import cautions
from steadyturn.report import bringup_words as words
from steadyturn.report import plot_files
from steadyturn.report.bringup import hours
from steadyturn.report.bringup_rows import Row, Said
from steadyturn.report.html_parts import document, esc, items, name, table

SUFFIXES = (".html", ".htm")
LONG = 1000  # letters of a sentence of ours
STYLE = """
:root { color-scheme: light dark; --ink: #1a1a1a; --paper: #fff; --soft: #595959;
  --line: #8a8a8a; --mind: #f4f4f0; }
@media screen and (prefers-color-scheme: dark) { :root { --ink: #ececea; --paper: #16181a;
  --soft: #b8b8b5; --line: #77797b; --mind: #24272a; } }
* { box-sizing: border-box; }
body { font: 16px/1.45 system-ui, 'DejaVu Sans', Arial, sans-serif; color: var(--ink);
  background: var(--paper); max-width: 52rem; margin: 0 auto; padding: .8rem 1rem 2rem;
  overflow-wrap: anywhere; }
h1 { font-size: 1.6rem; line-height: 1.25; margin: .3rem 0; }
h2 { font-size: 1.2rem; margin: 1.8rem 0 .4rem; border-top: 3px solid var(--ink);
  padding-top: .4rem; }
h3 { font-size: 1rem; margin: 0; }
p { margin: .25rem 0; } ul, ol { margin: .3rem 0; padding-left: 1.3rem; }
.step caption { position: absolute; width: 1px; height: 1px; overflow: hidden;
  clip-path: inset(50%); }
.soft, caption { color: var(--soft); font-size: .875rem; }
.mind { border: 2px solid var(--ink); background: var(--mind); padding: .3rem .8rem;
  margin: .6rem 0; font-size: .9375rem; }
.step { border-top: 1px solid var(--line); padding: .5rem 0 .6rem 2.2rem; position: relative; }
.box { position: absolute; left: .1rem; top: .55rem; width: 1.35rem; height: 1.35rem;
  border: 2px solid var(--ink); border-radius: .15rem; }
table { border-collapse: collapse; width: 100%; margin: .3rem 0; }
caption { text-align: left; }
th, td { text-align: left; vertical-align: top; font-weight: normal;
  padding: .25rem .7rem .25rem 0;
  border-bottom: 1px solid var(--line); }
thead th { color: var(--soft); font-size: .8125rem; padding: 0 .7rem 0 0; }
.step th { width: 38%; }
.write { width: 8.5rem; padding-right: 0; }
.write span { display: block; border: 1px solid var(--line); border-radius: .15rem;
  min-height: 1.6rem; text-align: right; padding: .1rem .3rem; color: var(--soft); }
.stop { font-weight: 600; } .else { color: var(--soft); }
.symptom { margin: .7rem 0; } .symptom caption { color: var(--ink); font-size: 1rem; }
.symptom td { font-size: .9375rem; } .symptom th { width: 36%; }
@media (max-width: 34rem) { body { font-size: 15px; padding: .5rem .6rem 1.5rem; }
  .step { padding-left: 1.9rem; } .write { width: 5.6rem; } th, td { padding-right: .4rem; } }
@page { margin: 12mm 13mm 14mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 8pt sans-serif; } }
@media print { html { font-size: 9.5pt; } body { font-size: 9.5pt; line-height: 1.3;
  max-width: none; padding: 0; }
  h2, h2 + p { break-after: avoid; } h2 { margin: 4mm 0 1mm; }
  .step, tr, .mind, .symptom { break-inside: avoid; }
  .mind { margin: 1mm 0 2mm; padding: .5mm 3mm; } .mind ul { margin: .5mm 0; }
  .box { width: 4.5mm; height: 4.5mm; top: 1.6mm; } .write span { min-height: 6mm; }
  .step { padding: 1.2mm 0 1.6mm 8mm; } .step p { margin: .3mm 0; } table { margin: .5mm 0; }
  th, td { padding-top: .5mm; padding-bottom: .5mm; } caption { break-after: avoid; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
"""


def check(path: Path) -> None:
    """Raise WrongInput before any work if the page cannot be written there."""
    plot_files.place(path, "--html", SUFFIXES, "It is a page for a browser or a printer.")


def write(b: Any, path: Path) -> None:
    """Write a `jobs.bringup.Bringup` into `path`; a file that was there is replaced whole."""
    check(path)
    made = page(b)
    with plot_files.whole(path) as unseen:
        unseen.write_text(made, encoding="utf-8", newline="\n")


def page(b: Any) -> str:
    """The whole page."""
    body = [f"<main><h1>{name(b.rig)}: bringing it up</h1>",
            f"<p>{esc(hours(b.minutes))} for a first time. Tick each box; write each reading "
            "down; stop where it says so.</p>",
            '<p class="soft">Expected readings are this rig\'s, by the model; in brackets their '
            "range where all is well: parts, windings of 10 to 45 degC, counting, meter. Where "
            "parts stand: <b>steadyturn wiring</b>, hardware/breadboard.md.</p>"]
    if found := b.sheet.warnings:
        body.append(f'<div class="mind">{items(f"<b>{esc(w, LONG)}</b>" for w in found)}</div>')
    body += ["<h2>Have ready</h2>", items(esc(one) for one in b.sheet.needed)]
    for at, stage in enumerate(b.stages, 1):
        body += _stage(b, at, stage)
    body += ["<h2>What is wrong?</h2>", "<p>By what you see; the likeliest cause first.</p>",
             *_symptoms(b), "<h2>Long flashes of the lamp</h2>", _flashes(b),
             f"<p>{esc(cautions.DEFER)}</p></main>",
             f'<footer><p class="soft">Made by steadyturn {esc(steadyturn.__version__)}. This '
             "file loads nothing and sends nothing.</p></footer>"]
    return document(f"{b.rig}: bringing it up", "\n".join(body), STYLE,
                    about="A sheet for bringing up a machine, made by steadyturn",
                    scheme="light dark")


def _stage(b: Any, at: int, stage: Any) -> Iterator[str]:
    title = f"{at} {words.title(b, stage.key)}"
    yield f'<h2>{esc(title)} <span class="soft">{stage.minutes} min</span></h2>'
    if why := b.sheet.barred.get(stage.key):
        yield f'<p class="stop">{esc(why, LONG)}</p>'
    if stage.barred == "before":
        return
    yield f'<div class="mind">{items(esc(c, LONG) for c in words.cautions_of(b, stage.key))}</div>'
    if not stage.barred:
        for count, key in enumerate(stage.steps, 1):
            yield _step(f"{at}.{count}", b.sheet.steps[key])


def _step(count: str, said: Said) -> str:
    parts = [f'<div class="step"><span class="box"></span><h3>{count} {esc(said.title)}</h3>',
             *(f"<p>{esc(do, LONG)}</p>" for do in said.do)]
    if said.rows:
        parts.append(_readings(said))
    if said.stop:
        parts.append(f'<p class="stop">Do not go on if {esc(said.stop, LONG)}</p>')
    if said.wrong:
        parts.append(f'<p class="else">Otherwise: {esc(said.wrong, LONG)}</p>')
    return "\n".join([*parts, "</div>"])


def _readings(said: Said) -> str:
    def space(row: Row) -> str:
        return f"<span>{esc(row.unit)}</span>"

    rows = [(esc(r.what), esc("" if r.expected == "-" else r.expected), space(r))
            for r in said.rows]
    made = table(f"Readings: {esc(said.title[:1].lower() + said.title[1:])}",
                 ("what", "should be", "is"), rows)
    return made.replace("<td><span>", '<td class="write"><span>')


def _symptoms(b: Any) -> Iterator[str]:
    for symptom in b.sheet.symptoms:
        rows = [(esc(c.cause), esc(c.test), esc(c.remedy)) for c in symptom.causes]
        yield table(f"<b>{esc(symptom.what)}</b>", ("cause", "what decides", "what mends it"),
                    rows, kind="symptom")


def _flashes(b: Any) -> str:
    rows = [(str(count), esc(what)) for count, what in b.sheet.flashes.items()]
    return table("Counted, then a pause", ("flashes", "what it is"), rows)
