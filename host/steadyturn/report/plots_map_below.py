"""The lower panels of the map, over the same pace, and its words."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from steadyturn.report import plot_style as look
from steadyturn.report.limit_names import NAME
from steadyturn.report.pace_empty import clash_words
from steadyturn.report.pace_headline import headline
from steadyturn.report.plot_labels import SIZE, Names, size_in
from steadyturn.report.style import number, quantity

MOST_ROWS = 5  # of one reason


def arm(axis: Any, result: Any) -> None:
    shown = result.map
    axis.set_ylabel("arm, W")
    limit = np.asarray(shown.arm_limit_w)
    given = np.asarray(shown.arm_w, dtype=float)
    seen = given[np.isfinite(given)]
    top = 1.35 * max(float(limit.max()), float(seen.max(initial=0.0)) if len(seen) else 0.0)
    top = min(top, 2.2 * float(limit.max()))
    axis.set_ylim(0, top)
    names = Names(axis, size_in(axis))
    names.avoid(shown.pace_tpm, limit)
    names.avoid(shown.pace_tpm, given)
    axis.fill_between(shown.pace_tpm, limit, top, color=look.NO_GO, linewidth=0, zorder=0.2)
    axis.plot(shown.pace_tpm, limit, color=look.AMPS, linewidth=1.1, linestyle=look.DASH_DOT)
    axis.plot(shown.pace_tpm, given, color=look.INK, linewidth=1.8)
    names.along(shown.pace_tpm, limit, "the arm's limit", color=look.AMPS_INK, near=0.35)
    if not names.along(shown.pace_tpm, given, "gives", near=0.6):
        _nothing(axis, "the converter does not run at any of these paces")
    elif np.nanmin(given) > top:
        _nothing(axis, f"at least {number(float(np.nanmin(given)))} W: far above the limit")


def effort(axis: Any, result: Any) -> None:
    shown = result.map
    axis.set_ylabel("arm, J for 1 J")
    effort = np.asarray(shown.effort, dtype=float)
    if not np.isfinite(effort).any():
        axis.set_ylim(0, 1)
        axis.set_yticks([])
        _nothing(axis, "nothing is delivered at any of these paces")
        return
    pace = np.asarray(shown.pace_tpm)
    within = np.where((pace >= result.low_tpm) & (pace <= result.high_tpm), effort, np.nan) \
        if result.feasible else effort
    best = int(np.nanargmin(within if np.isfinite(within).any() else effort))
    least = float(effort[best])
    axis.set_ylim(1, max(2.5 * least, 1.5) if np.nanmax(effort) > 2.5 * least
                  else max(1.2 * float(np.nanmax(effort)), 1.5))
    names = Names(axis, size_in(axis))
    names.avoid(shown.pace_tpm, effort)
    axis.plot(shown.pace_tpm, effort, color=look.INK, linewidth=1.8)
    axis.plot([shown.pace_tpm[best]], [least], marker="v", markersize=6, color=look.AMPS,
              markeredgecolor=look.INK, markeredgewidth=0.5, zorder=4, clip_on=False)
    near = slice(max(0, best - 40), best + 41)
    where = " in the band" if result.feasible else ""
    names.along(pace[near], np.full(pace[near].shape, least),
                f"least{where}: {number(least)} J of the arm for 1 J at the device")


def builds(axis: Any, sure: Any) -> None:
    """Share of builds that work at each pace, and the paces that work for enough of them."""
    fan = sure.fan
    asked = 100 * sure.share
    axis.set_ylabel("builds, %")
    axis.set_ylim(0, 108)
    axis.set_yticks([0, 50, 100])
    works = 100 * np.asarray(fan.works_share, dtype=float)
    axis.axhline(asked, color=look.FAINT, linewidth=0.8, linestyle=look.DASH, zorder=0.6)
    axis.plot(fan.pace_tpm, works, color=look.INK, linewidth=1.8)
    if sure.low_tpm is not None:
        axis.plot([sure.low_tpm, sure.high_tpm], [asked, asked], color=look.BAND_INK,
                  linewidth=3.4, solid_capstyle="butt")


def _of_builds(sure: Any) -> tuple[str, str]:
    head = f"{number(100 * sure.share)} % of the builds"
    if sure.low_tpm is not None:
        return head, f"work at {sure.low_tpm:.0f}-{sure.high_tpm:.0f} turns/min"
    if sure.best_tpm is None:
        return head, "work at no pace, and neither does any other"
    return head, (f"work at no pace; most at {sure.best_tpm:.0f} turns/min, "
                  f"{100 * sure.best_share:.0f} %")


def _nothing(axis: Any, text: str) -> None:
    axis.annotate(text, (0.985, 0.25), xycoords="axes fraction", ha="right", va="center",
                  fontsize=SIZE, color=look.FAINT)


def title(figure: Any, result: Any, height: float) -> None:
    color = look.INK
    if any(hazard.refuses for hazard in result.hazards):
        text, color = f"{result.rig}: DANGEROUS AS BUILT - do not connect a phone", look.FAULT
    else:
        text = headline(result)
    figure.suptitle(text, x=0.012, y=1 - 0.1 / height, ha="left", va="top", fontsize=11.5,
                    color=color)


def why(figure: Any, result: Any, left: float, right: float, top: float) -> None:
    """The figures at the target and the limits at both ends in words, beside the lower
    panels."""
    step = SIZE * 1.3 / 72 / figure.get_figheight()
    room = int((right - left) * figure.get_figwidth() * 72 / (SIZE * 0.54))
    y = top
    for head, body in _words(result):
        rows = textwrap.wrap(body, room)
        rows = rows if len(rows) <= MOST_ROWS else [*rows[: MOST_ROWS - 1], "..."]
        if y < step * (len(rows) + 1):
            return  # --json and the text have it
        figure.text(left, y, head, fontsize=SIZE, va="top", fontweight="bold")
        y -= step
        figure.text(left, y, "\n".join(rows), fontsize=SIZE, va="top", linespacing=1.3)
        y -= step * (len(rows) + 0.6)


def _words(result: Any) -> list[tuple[str, str]]:
    parts: list[tuple[str, str]] = []
    danger = [h for h in result.hazards if h.refuses]
    if danger:
        parts.append((f"{number(danger[0].volts)} V where {number(danger[0].rating_v)} V is "
                      "borne", danger[0].reason))
    if result.feasible:
        at = result.at_target
        parts.append((f"At {result.target_tpm:.0f} turns/min",
                      f"the device gets {quantity(float(at.out_w), 'W')}, the arm gives "
                      f"{quantity(float(at.arm_w), 'W')}"))
        for side, edge in (("low", result.low_tpm), ("high", result.high_tpm)):
            found = [x for x in result.limits if x.side == side and abs(x.pace_tpm - edge) < 1e-3]
            if found:
                word = "Not slower" if side == "low" else "Not faster"
                parts.append((f"{word} than {edge:.0f}", found[0].reason))
    elif result.clash:
        parts += [(_first_upper(NAME.get(name, name)), words)
                  for name, words in clash_words(result)]
    sure = getattr(result, "sure", None)
    if sure is not None and sure.fan is not None:
        parts.append(_of_builds(sure))
    return parts


def _first_upper(words: str) -> str:
    return words[:1].upper() + words[1:]
