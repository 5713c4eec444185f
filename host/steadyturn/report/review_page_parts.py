"""Parts of the review's page in words and tables: what to change, the figures, how it was
measured. The words are those of the terminal's review."""

from __future__ import annotations

import math
from typing import Any

from steadyturn import cautions
from steadyturn.report import review_findings, words
from steadyturn.report import review_words as terms
from steadyturn.report.arm_words import CARE
from steadyturn.report.html_parts import esc, items, table
from steadyturn.report.review_more import PACES, gaps
from steadyturn.report.review_notes import bench, notes
from steadyturn.report.review_page_tables import shares
from steadyturn.report.review_tables import sensor
from steadyturn.report.style import duration, number

KINDS = {
    "measured": "read by the board's sensor, or counted",
    "inferred": "follows from what was measured, by the machine's constants in the settings",
    "modelled": "what the model of the rig file's parts says",
}
# findings beside which a caution of its own belongs
FITTING = {"too_many_volts": "5.5 V", "too_hot": "hot parts", "motor_warm": "hot parts",
           "gears_slip": "run down", "resistance_up": "capacitors"}


def change(review: Any) -> str:
    """What to change: each finding with its evidence, gain and remedy."""
    if not review.figures.turning_s:
        return ""
    if not review.findings:
        return "<p>Nothing that this outing shows.</p>"
    energy = terms.energy_unit(review)
    parts = []
    for n, finding in enumerate(review.findings, 1):
        said = review_findings.said(finding, energy)
        lines = [f"<p>{esc(text)}</p>" for text in (said.why, said.gain, said.do) if text]
        mind = _caution(finding.code)
        if mind:
            lines.append(f'<p class="mind">{caution(mind)}</p>')
        parts.append(f'<div class="find"><h3>{n}. {esc(_sentence(said.head))}</h3>'
                     f"{''.join(lines)}</div>")
    return "\n".join(parts)


def caution(text: str) -> str:
    """A caution, whose commands stand between backticks as in the documents."""
    return esc(text.replace("`", "'"), 1000)


def _caution(code: str) -> str:
    key = FITTING.get(code, "")
    return next((section[key] for section in cautions.CAUTIONS.values() if key in section), "")


def figures(review: Any) -> str:
    """All figures: value with its 95 % range, and how it is known."""
    energy = terms.energy_unit(review)
    rows = []
    used = set()
    for name, label in terms.ESTIMATE.items():
        found = review.estimate(name)
        if found is None or (name == "turns_unknown" and not found.high):
            continue
        value, reach = terms.shown(found, energy)
        note = terms.NOTE.get(found.note, "")
        used.add(found.kind)
        rows.append((esc(label) + _sub(note), f"<b>{esc(value)}</b>" + _sub(reach),
                     f'<span class="kind {esc(found.kind)}">{esc(found.kind)}</span>'))
    if not rows:
        return ""
    legend = "; ".join(f"{kind}: {KINDS[kind]}" for kind in KINDS if kind in used)
    told = "".join(f'<p class="small">{esc(line, 1000)}</p>' for line in bench(review.figures))
    drawn = table("Each with its 95 % range beneath it", ("figure", "value", "how it is known"),
                  rows, right=(1,))
    return (told + drawn + f'<p class="small">{esc(_sentence(legend))}.</p>'
            + _hand(review))


def _sub(text: str) -> str:
    return f'<span class="sub">{esc(text)}</span>' if text else ""


def _ranged(value: float, low: float, high: float) -> str:
    """A value above its range, with the digits of the terminal's."""
    text, _, reach = terms.ranged(value, low, high).partition(" (")
    return esc(text) + _sub(reach.rstrip(")"))


def _hand(review: Any) -> str:
    """The pace's spread, and what the arm gave, with the caution that belongs to it."""
    p, lines = review.pace, []
    if math.isfinite(p.p50_tpm):
        lines.append(f"Pace, once under way: half the time {number(p.p25_tpm)} to "
                     f"{number(p.p75_tpm)} turns/min, nine tenths of it {number(p.p5_tpm)} to "
                     f"{number(p.p95_tpm)}, in the middle {number(p.p50_tpm)}.")
    power = review.estimate("arm_power")
    if power is not None and review.arm_keeps_w is not None:
        low, middle, high = review.arm_keeps_w
        lines.append(f"The arm gave {number(power.value, 2)} W; the rig's arm would keep "
                     f"{number(middle, 2)} W ({number(low, 2)} to {number(high, 2)}) for "
                     f"{duration(review.figures.turning_s)}. {CARE}")
    return "".join(f"<p>{esc(line)}</p>" for line in lines)


def model(review: Any) -> str:
    """Measured against what the rig's model expects; "" without a rig."""
    if not review.expected:
        return ""
    rows = [(esc(terms.COMPARED.get(c.name, c.name)), esc(f"{number(c.measured)} {c.unit}"),
             _ranged(c.expected, c.low, c.high),
             esc(terms.VERDICT.get(c.verdict, c.verdict))) for c in review.expected]
    noted = sorted({c.note for c in review.expected if c.note})
    below = "".join(f'<p class="small">{esc(_sentence(terms.NOTE[n]))}.</p>' for n in noted)
    return table("At the paces that were held, by the rig file",
                 ("figure", "measured", "expected", "verdict"), rows, right=(1, 2)) + below


def times(review: Any) -> str:
    """How long the lamp showed what, and how long the pace was beside the band."""
    f = review.figures
    lamp = [(words.cue(name).lower(), seconds, f.cue_percent[name])
            for name, seconds in f.cue_s.items()
            if seconds or name in {"faster", "hold", "slower"}]
    paces = [(name, f.pace_s[key], f.pace_percent[key]) for key, name in PACES
             if f.pace_s and (f.pace_s[key] or key != "unknown")]
    found = (shares("By lamp", "lamp", lamp),
             shares("By pace, while turning", "pace", paces if review.band_tpm else []))
    return f'<div class="pair">{"".join(found)}</div>' if any(found) else ""


def phone(review: Any) -> str:
    """Connections, why they ended, faults."""
    f = review.figures
    lines = [terms.connected(f)]
    lines += [f"{count} x disconnected: {terms.LET_GO.get(kind, kind)}"
              for kind, count in f.releases.items()]
    if f.collapses:
        lines.append(f"{f.collapses} x too much load for the pace: the volts collapsed")
    if f.erases_connected:
        lines.append(f"Flash erased while connected: {f.erases_connected} x, at longest "
                     f"{f.erase_longest_ms} ms. Meanwhile hardware alone guards the phone.")
    lines += [f"{count} x fault: {words.fault(kind)}" for kind, count in f.faults_by_name.items()]
    more = f.faults - sum(f.faults_by_name.values())
    if more > 0:
        lines.append(f"{more} x a fault whose kind was not stored")
    if not f.faults and not f.faults_by_name:
        lines.append("No faults.")
    return items(map(esc, lines))


def measured(review: Any) -> str:
    """How it was measured: the sensor, what is missing, what a reader should know."""
    lines = [sensor(review), gaps(review.gaps, review.figures.events_lost)]
    return items(map(esc, [*(" ".join(line.split()) for line in lines), *notes(review)]))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
