"""hardware/protection/*.svg: bus, converter's output and socket in every mishap of a rig."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from textwrap import wrap

from steadyturn.circuit import verdicts
from steadyturn.circuit.verdicts import Run

# case of protection.json -> picture, seen from hardware/
DRAWN = {"lakeside-hut": "protection/lakeside-hut.svg",
         "radio-tent": "protection/radio-tent.svg",
         "radio-tent, enable": "protection/radio-tent-enable.svg"}
INK, PAPER, FAINT = "#202020", "#FFFFFF", "#B8B8B8"
# told apart without colour: dashes and width; colours of Okabe & Ito 2008
LINES = (("bus", "bus", "#56B4E9", "1.4", "7 3"), ("out", "converter's output", "#E69F00", "1.6",
                                                   "2 2"),
         ("socket", "socket: the phone's pins", "#000000", "2.4", ""))
WIDE, HIGH, ACROSS, LEFT, TOP = 300, 172, 3, 34, 92
TITLE = 44  # letters in a line
PLOT_W, PLOT_H = 250, 96
LIMIT_V = 5.5


def _panel(run: Run, x: float, y: float) -> list[str]:
    trace = run.trace
    assert trace is not None
    top = max(8.0, max(trace["bus"]) / 100 * 1.08, max(trace["out"]) / 100 * 1.08)
    low = min(0.0, min(trace["bus"]) / 100)
    begin, end = trace["at"][0], trace["at"][-1]

    def at(i: int, name: str) -> str:
        return (f"{x + PLOT_W * (trace['at'][i] - begin) / (end - begin):.1f},"
                f"{y + PLOT_H * (top - trace[name][i] / 100) / (top - low):.1f}")

    def level(volts: float) -> float:
        return y + PLOT_H * (top - volts) / (top - low)

    lines = wrap(run.mishap.title, TITLE)
    parts = [*(f'<text x="{x - 26}" y="{y - 8 - 13 * (len(lines) - 1 - i)}" '
               f'font-weight="bold">{_escaped(line)}</text>' for i, line in enumerate(lines)),
             f'<rect x="{x}" y="{y}" width="{PLOT_W}" height="{PLOT_H}" fill="none" '
             f'stroke="{FAINT}"/>',
             f'<line x1="{x}" y1="{level(LIMIT_V):.1f}" x2="{x + PLOT_W}" '
             f'y2="{level(LIMIT_V):.1f}" stroke="{INK}" stroke-dasharray="1 3"/>']
    step = 5 if top < 21 else 10
    for volts in range(0, int(top) + 1, step):
        parts.append(f'<text x="{x - 4}" y="{level(volts) + 4:.1f}" text-anchor="end">'
                     f'{volts}</text>')
    for name, _, color, width, dashes in LINES:
        dash = f' stroke-dasharray="{dashes}"' if dashes else ""
        same = trace[name]
        points = " ".join(at(i, name) for i in range(len(same))
                          if not 0 < i < len(same) - 1 or same[i - 1:i + 2] != [same[i]] * 3)
        parts.append(f'<polyline points="{points}" fill="none" stroke="{color}" '
                     f'stroke-width="{width}"{dash}/>')
    for tenth in range(4):
        across = x + PLOT_W * (1000 * tenth - begin) / (end - begin)
        parts.append(f'<text x="{across:.1f}" y="{y + PLOT_H + 12}" text-anchor="middle">'
                     f'{tenth / 10:g}</text>')
    parts.append(f'<text x="{x + PLOT_W}" y="{y + PLOT_H + 12}" text-anchor="end">s</text>')
    most_v = run.figures["phone_v"] or 0.0
    parts.append(f'<text x="{x + PLOT_W}" y="{y + PLOT_H + 27}" text-anchor="end">socket at '
                 f'most {most_v:.2f} V</text>')
    return parts


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")


def chart_text(rig: str) -> str:
    """All panels of a rig as SVG text."""
    shown = [run for run in verdicts.runs() if run.rig == rig and run.trace is not None]
    rows = -(-len(shown) // ACROSS)
    width, height = WIDE * ACROSS + 20, TOP + rows * HIGH + 4
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" font-family="sans-serif" font-size="11" '
        f'fill="{INK}">',
        f"<title>Every mishap of {_escaped(rig)}: volts over time</title>",
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        f'<text x="{LEFT - 26}" y="20" font-size="14" font-weight="bold">{_escaped(rig)}: '
        f'volts, the mishap at 0 s; dotted: {LIMIT_V:g} V</text>']
    x = LEFT - 26
    for _, words, color, stroke, dashes in LINES:
        dash = f' stroke-dasharray="{dashes}"' if dashes else ""
        parts += [f'<line x1="{x}" y1="38" x2="{x + 34}" y2="38" stroke="{color}" '
                  f'stroke-width="{stroke}"{dash}/>', f'<text x="{x + 40}" y="42">{words}</text>']
        x += 210
    for i, run in enumerate(shown):
        parts += _panel(run, LEFT + WIDE * (i % ACROSS), TOP + HIGH * (i // ACROSS))
    return "\n".join([*parts, "</svg>"]) + "\n"


def _made(rig: str) -> Callable[[], str]:
    return lambda: chart_text(rig)


FILES: Mapping[str, Callable[[], str]] = {f"hardware/{path}": _made(rig)
                                          for rig, path in DRAWN.items()}
