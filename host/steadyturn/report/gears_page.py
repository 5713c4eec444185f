"""A page that shows the train turning: one file, nothing loaded from elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from steadyturn.report import gears_drawing
from steadyturn.report.gears import CAUTIONS
from steadyturn.report.html_parts import document, esc, table
from steadyturn.report.style import number

_STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.5 'DejaVu Sans', Arial, sans-serif; color: #1a1a1a; background: #fff;
  max-width: 62rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.5rem; margin: .2rem 0; } h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem; }
svg { width: 100%; height: auto; max-height: 75vh; display: block; }
table { border-collapse: collapse; width: 100%; } th, td { text-align: left; padding: .25rem .6rem
  .25rem 0; border-bottom: 1px solid #ddd; vertical-align: top; font-weight: normal; }
caption { text-align: left; color: #5a5a5a; } thead th { font-weight: 600; }
th.n, td.n { text-align: right; white-space: nowrap; }
.mind { border-left: .4rem solid #a34700; padding: .3rem .8rem; background: #fbf3ec; }
.turn { display: flex; gap: 1rem; align-items: center; flex-wrap: wrap; margin: .5rem 0; }
button { font: inherit; padding: .35rem 1rem; } input[type=range] { width: 14rem; }
.wide { overflow-x: auto; }
@media (max-width: 34rem) { svg text { font-size: 8px; }
  .stacked thead { display: none; } .stacked tr { display: block; padding: .3rem 0;
  border-bottom: 1px solid #ddd; } .stacked th, .stacked td { display: inline; border: 0; }
  .stacked tr > :first-child { font-weight: 600; }
  .stacked tr > :last-child { display: block; padding: 0; } }
@media print { .turn { display: none; } svg { max-height: 12cm; } }
"""

_SCRIPT = """
(function () {
  var wheels = [].slice.call(document.querySelectorAll('g.turns'));
  var pace = document.getElementById('pace'), said = document.getElementById('said');
  var button = document.getElementById('go'), calm =
    window.matchMedia && matchMedia('(prefers-reduced-motion: reduce)').matches;
  var running = !calm, angle = 0, before = null;
  function place() {
    wheels.forEach(function (g) {
      var d = g.dataset, turn = (+d.start + angle * d.ratio) % 360;
      g.setAttribute('transform', 'translate(' + d.x + ' ' + d.y + ') rotate(' + turn + ')');
    });
  }
  function words() {
    said.textContent = (+pace.value).toFixed(1) + ' turns/min of the handle';
    button.textContent = running ? 'Hold' : 'Turn';
  }
  function step(now) {
    if (before !== null && running) {
      angle -= (now - before) / 1000 * pace.value * 6; place();
    }
    before = now; requestAnimationFrame(step);
  }
  button.onclick = function () { running = !running; words(); };
  pace.oninput = words; words(); place(); requestAnimationFrame(step);
})();
"""


def page(result: Any, drawing: Any, parts: Any) -> str:
    """The whole page."""
    left, low, right, high = gears_drawing.bounds(drawing)
    view = gears_drawing.head(right - left, high - low, drawing.title, drawing.text, sized=False,
                              key="train")
    words = "".join(
        f"<text x='{x - left:.2f}' y='{high - y:.2f}' text-anchor='middle' font-size='4' "
        f"stroke='#fff' stroke-width='.8' paint-order='stroke'>{esc(word)}</text>"
        for x, y, word in gears_drawing.labels(drawing) if word == "motor")
    moved = f"<g transform='translate({-left:.2f} {high:.2f}) scale(1 -1)'>"
    train = result.chosen
    body = [
        f"<main><h1>{esc(drawing.title)}</h1>", f"<p>{esc(drawing.subtitle)}</p>",
        f"<div class='mind'>{'<br>'.join(esc(c) for c in CAUTIONS)}</div>",
        "<div class='turn'><button id='go' type='button'>Hold</button><label>"
        "<input id='pace' type='range' min='0.2' max='10' step='0.2' value='2'> "
        "<span id='said'></span></label><span>(slowly, so that the eye can follow)</span></div>",
        view + moved + gears_drawing.assembly_group(drawing) + "</g>" + words + "</svg>",
        "<p>Seen from the handle, cover off; motors behind the plate.</p>",
        "<h2>Meshes</h2>", _meshes(train), "<h2>Parts to print</h2>", _parts(parts),
        "<h2>To buy or find</h2>", _bought(result), "<h2>Putting it together</h2>",
        f"<ol>{''.join(f'<li>{esc(s, 1000)}</li>' for s in steps(result))}</ol></main>",
    ]
    return document(drawing.title, "\n".join(body), _STYLE, about=drawing.text, script=_SCRIPT)


def _table(caption: str, head: tuple[str, ...], rows: Sequence[tuple[str, ...]],
           right: tuple[int, ...] = (), kind: str = "wide stacked") -> str:
    """stacked: on a narrow screen each row stands as a paragraph, its last cell below."""
    body = [[esc(cell) for cell in row] for row in rows]
    return f"<div class='{kind}'>{table(esc(caption), head, body, right=right)}</div>"


def _meshes(train: Any) -> str:
    columns = [(f"{s.driver_teeth}/{s.driven_teeth}", number(s.module_mm), number(s.width_mm),
                f"{s.driver_shift:+.2f}, {s.driven_shift:+.2f}", f"{s.centre_mm:.2f}",
                f"{s.backlash_mm:.2f}", f"{s.contact_ratio:.2f}", f"{s.least:.1f} x")
               for s in train.stages]
    names = ("teeth", "module, mm", "width, mm", "shifts", "centre distance, mm", "backlash, mm",
             "teeth in contact", "bears what is asked")
    head = ("", *(f"mesh {n}" for n in range(1, len(columns) + 1)))
    return _table("From the handle to the motors", head,
                  [(name, *cells) for name, *cells in zip(names, *columns, strict=True)],
                  kind="wide")


def _parts(parts: Any) -> str:
    rows = [(p.name, f"{p.count} x", _size(p.size_mm),
             "-" if p.plastic_cm3 is None else f"{p.plastic_cm3:.0f} cm3",
             p.what + ("" if p.fits else "; LARGER THAN THE BED")) for p in parts]
    return _table("Each part as it lies on the printer",
                  ("part", "count", "size", "plastic", "for"), rows, right=(1, 3))


def _size(size_mm: Any) -> str:
    return "-" if size_mm is None else " x ".join(f"{x:.0f}" for x in size_mm) + " mm"


def _bought(result: Any) -> str:
    return _table("For one machine", ("what", "count", "for"),
                  [(b.name, f"{b.count} x", b.what) for b in result.bought], right=(1,))


def steps(result: Any) -> list[str]:
    """How the parts go together, in order."""
    train = result.chosen
    last = train.stages[-1]
    spans = "; ".join(f"{s.teeth} teeth of module {s.module_mm:g}: {s.span_mm:.2f} mm over "
                      f"{s.over}" for s in result.spans)
    if result.given.reverted:
        handle = ("The handle's wheel comes last: its bolt into its back, its collar into the "
                  "cover's bearing.")
    else:
        handle = "On the handle's axle the longest ring, then the wheel with the hexagon."
    return [
        "Print the coupon. Its outside should be 30.00 mm, its window 15.00 mm: write half of "
        "what the outside is larger as grows_mm into [gears] of the rig file, run this command "
        "again, and try the motor's shaft in the row of bores (tightest at the notch, 0.05 mm "
        "apart). What its lowest edge measures more than the wall above it, halved, is foot_mm.",
        f"Print the wheels and measure them with calipers ({spans}).",
        "Drill or file the bores until the wheels turn freely on their bolts, and the first "
        "wheel's collar in the cover; grease teeth and collar.",
        "Screw the motors loosely behind the plate, then push the pinions onto their shafts, the "
        "far end of the shaft resting on something hard.",
        "Put the bolts through the plate from behind; on each a ring, the wheel, and the ring "
        f"above it. {handle}",
        f"Push each motor into mesh until a strip of paper ({number(last.backlash_mm, 2)} mm, two "
        "sheets) goes through the teeth with a slight drag, turn the last wheel once round, and "
        "tighten its screws.",
        "Put on the cover. Only now the arm: over the hexagon, washer, locknut - tight, then back "
        "until it turns freely.",
        "Screw the holder onto its two columns and clamp or strap it down. Turn slowly, then "
        "briskly, before anything electrical is connected.",
    ]
