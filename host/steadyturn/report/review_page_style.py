"""How the review's page looks: two palettes and one style, for screens of any width and paper.

Colours of the data are Okabe and Ito's (jfly.uni-koeln.de/color, "Color Universal Design"),
lighter on the dark ground. Nothing is said by colour alone. A test reckons every contrast by
WCAG 2.2 (1.4.3: text 4.5 to 1; 1.4.11: lines and bars 3 to 1).
"""

from __future__ import annotations

# names that letters are written in, on any of the grounds
LETTERS = ("ink", "faint", "link", "warn")
GROUNDS = ("paper", "panel", "range", "mind")
# names that lines and bars are drawn in, on the paper (pace and volts on the range too)
DRAWN = ("ink", "pace", "volts", "watts", "amps", "edge", "peak", "sign", "faster", "hold",
         "slower", "stop", "rest", "joined")

LIGHT = {
    "paper": "#ffffff", "panel": "#f5f6f4", "range": "#e3eef7", "mind": "#fbf3ec",
    "ink": "#1a1a1a", "faint": "#5a5a5a", "link": "#005a94", "warn": "#8a3b00",
    "rule": "#d5d5d5", "grid": "#dddddd", "pace": "#000000", "volts": "#0072b2",
    "watts": "#00734f", "amps": "#c25400", "edge": "#4a7fae", "peak": "#8c8c8c",
    "gap": "#b5b5b5", "sign": "#b32511", "faster": "#2f8fc7", "hold": "#008a62",
    "slower": "#b87a00", "stop": "#c24f00", "rest": "#808080", "joined": "#008a62",
}
DARK = {
    "paper": "#16181a", "panel": "#202326", "range": "#1d2f40", "mind": "#2e2419",
    "ink": "#ececea", "faint": "#b3b3b0", "link": "#86c5f2", "warn": "#f5b183",
    "rule": "#43474b", "grid": "#33373a", "pace": "#ffffff", "volts": "#6cb4ea",
    "watts": "#5ccba4", "amps": "#f5954c", "edge": "#6f9fc9", "peak": "#8f8f8f",
    "gap": "#5a5e62", "sign": "#ff8a75", "faster": "#6cb4ea", "hold": "#35b88c",
    "slower": "#e0a63a", "stop": "#f07f3c", "rest": "#9a9a9a", "joined": "#35b88c",
}

_TEXT = """
* { box-sizing: border-box; }
body { font: 16px/1.5 system-ui, 'DejaVu Sans', Arial, sans-serif; color: var(--ink);
  background: var(--paper); margin: 0 auto; max-width: 66rem; padding: .8rem 1rem 2rem;
  overflow-wrap: anywhere; }
a { color: var(--link); }
.skip { position: absolute; left: -99rem; background: var(--paper); padding: .5rem 1rem; }
.skip:focus { left: 1rem; top: .5rem; z-index: 1; }
:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
h1 { font-size: 1.7rem; line-height: 1.25; margin: .3rem 0 .4rem; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 .5rem; border-top: 1px solid var(--rule);
  padding-top: .8rem; }
h3 { font-size: 1.05rem; margin: 1.2rem 0 .2rem; }
p { margin: .4rem 0; max-width: 44rem; } li { max-width: 44rem; }
.who, .small, figcaption, caption { color: var(--faint); font-size: .875rem; }
nav ul { display: flex; flex-wrap: wrap; gap: .1rem 1.2rem; list-style: none; padding: 0;
  margin: .6rem 0; }
nav a { display: inline-block; padding: .2rem 0; }
.mind { border-left: .4rem solid var(--warn); background: var(--mind);
  padding: .5rem .9rem; margin: .8rem 0; }
.mind ul { margin: .2rem 0; padding-left: 1.1rem; }
.find { background: var(--panel); border-left: .4rem solid var(--edge);
  padding: .5rem .9rem; margin: .8rem 0; }
.find h3 { margin-top: 0; }
"""

_TABLES = """
table { border-collapse: collapse; width: 100%; max-width: 46rem; margin: .6rem 0; }
caption { text-align: left; padding: .2rem 0; }
th, td { text-align: left; vertical-align: top; padding: .3rem .8rem .3rem 0;
  border-bottom: 1px solid var(--rule); font-weight: normal; overflow-wrap: normal; }
bdi, .find, caption { overflow-wrap: anywhere; }
thead th { color: var(--faint); font-size: .875rem; vertical-align: bottom; }
th.n, td.n { text-align: right; }
td.n { font-variant-numeric: tabular-nums; }
td b, th b { font-weight: 600; } td.n b { white-space: nowrap; }
.sub { display: block; color: var(--faint); font-size: .8125rem; }
.dense { font-size: .8125rem; max-width: 58rem; }
.dense th, .dense td { padding: .15rem .6rem .15rem 0; }
.pair { display: flex; flex-wrap: wrap; gap: 0 3rem;
  align-items: flex-start; }
.short { width: auto; min-width: 16rem; }
.kind { display: inline-block; font-size: .8125rem; padding: 0 .4rem; border: 1px solid
  var(--faint); border-radius: .2rem; white-space: nowrap; }
.inferred { border-style: dashed; } .modelled { border-style: dotted; }
.partly { border-style: dashed solid; }
details { margin: .4rem 0; } summary { cursor: pointer; color: var(--link); }
figure { margin: 1rem 0; }
"""

_PLOTS = """
.plot { display: block; margin-left: 4.1rem; width: calc(100% - 4.1rem); overflow: visible; }
.plot text { fill: var(--ink); font: 12px system-ui, 'DejaVu Sans', Arial, sans-serif; }
.plot .tick, .plot .upright { fill: var(--faint); font-size: 11px; }
.plot .upright { paint-order: stroke; stroke: var(--paper); stroke-width: 4px; }
.grid { stroke: var(--grid); } .base { stroke: var(--faint); }
.range { fill: var(--range); } .edge { stroke: var(--edge); }
.target { stroke: var(--edge); stroke-dasharray: 6 3; }
.line { fill: none; stroke-width: 1.6px; vector-effect: non-scaling-stroke;
  stroke-linejoin: round; }
.line.pace { stroke: var(--pace); } .line.volts { stroke: var(--volts); }
.line.watts { stroke: var(--watts); } .line.amps { stroke: var(--amps); }
.line.peak { stroke: var(--peak); stroke-width: 1px; }
.line.bound { stroke: var(--faint); stroke-dasharray: 1.5 2.5; }
.bar { stroke: none; } .faster { fill: var(--faster); } .hold { fill: var(--hold); }
.slower { fill: var(--slower); } .stop { fill: var(--stop); } .rest { fill: var(--rest); }
.fault { fill: var(--ink); } .joined { fill: var(--joined); } .parted { fill: var(--rest); }
pattern path { stroke: var(--gap); fill: none; } pattern circle { fill: var(--gap); }
.lost { fill: var(--sign); }
.cloud { stroke: none; opacity: .35; } .cloud.bound { opacity: .2; }
.cloud.pace, .cloud.bound { fill: var(--faint); } .cloud.volts { fill: var(--volts); }
.cloud.watts { fill: var(--watts); } .cloud.amps { fill: var(--amps); }
.cloud.peak { fill: var(--peak); }
.sign { fill: var(--sign); }
.dot { fill: var(--volts); } .this { fill: var(--sign); }
.line.join { stroke: var(--peak); stroke-width: 1px; }
.stem { stroke-width: 5px; } .stem.dot { stroke: var(--volts); }
.stem.this { stroke: var(--sign); }
"""

_NARROW = """
@media (max-width: 44rem) {
  body { padding: .6rem .7rem 1.5rem; font-size: 15px; } h1 { font-size: 1.4rem; }
  .plot { margin-left: 4.3rem; width: calc(100% - 4.3rem); } .plot .wide { display: none; }
  table { font-size: .875rem; } th, td { padding-right: .4rem; } .sub { font-size: .75rem; }
  td.n b { white-space: normal; } .kind { font-size: .75rem; padding: 0 .25rem; }
  .dense { font-size: .75rem; } .dense th, .dense td { padding-right: .3rem; }
  .dense thead th { font-size: .6875rem; }
}
"""

_PRINT = """
@page { size: A4; margin: 15mm 14mm 18mm; @bottom-right { content: counter(page) " / "
  counter(pages); font: 9pt sans-serif; } }
@media print {
  body { font-size: 10.5pt; max-width: none; padding: 0; }
  nav, .skip, details:not([open]), summary { display: none; }
  h2, h3, caption { break-after: avoid; } figure, tr, .find, .mind { break-inside: avoid; }
  thead { display: table-header-group; } p, li { orphans: 3; widows: 3; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""


def _variables(palette: dict[str, str]) -> str:
    return " ".join(f"--{name}: {value};" for name, value in palette.items())


def style() -> str:
    """The style sheet. Paper is always light: ink is dear in the dark too."""
    return (f":root {{ color-scheme: light; {_variables(LIGHT)} }}\n"
            "@media screen and (prefers-color-scheme: dark) {\n"
            f":root {{ color-scheme: dark; {_variables(DARK)} }}\n}}\n"
            + _TEXT + _TABLES + _PLOTS + _NARROW + _PRINT)
