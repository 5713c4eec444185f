"""What one outing tells of its machine's constants: resistance, EMF, the converter's losses.

Made of the outing's pages and the settings it had alone, so that it is kept with the outing's
row and never made twice; what a rig file knows (air, heat, inertia) comes in where the lessons
of many outings are put together (`learned.py`). The equations are on the page drift.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot, log
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.burst import bursts
from steadyturn.sessions.burst_pool import pooled
from steadyturn.sessions.decode import Pages
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.flow import SAMPLE_S, Flow, flow
from steadyturn.sessions.lesson import Lesson, good
from steadyturn.sessions.losses import parts_j

Floats = NDArray[np.float64]

NEEDED = ("emf_uv_per_tpm", "source_mohm", "drop_mv", "drop_knee_ma", "capacitor_uf", "supply_ma")
BLOCK = 10  # samples, 2 s: longer than a turn, so that an arm's two pulls a turn are in it
UNEVEN = 0.05  # within a block the pace may vary by that: pulses tell it late
LEAST_BLOCKS = 12
TOO_WIDE = 0.35  # deviation of a logarithm that teaches nothing
# of brushes' and diodes' drop, between hardly any current and the load's: one law with one knee
# stands for all of them; assumption
DROP_SHARE = 0.15
TOO_OFF, OFF_DIFFERS = 0.15, 0.15  # of the value; of that error, from outing to outing: assumption
LEAST_LOSS_J = 15.0
HUBER = 2.0  # deviations from which on a block counts by its distance alone; Huber 1964
LOSS_SD, GAIN_SD = 0.015, 0.007  # of a measured loss; of both channels' gains (accuracy.py)


def lessons(pages: Pages, settings: Mapping[str, Any], figures: Figures) -> tuple[Lesson, ...]:
    """Of one outing; none where nothing tells, as on a board without a second load, a turn
    sensor or a second channel. settings: those in force."""
    flags = pages.pages["flags"] if len(pages.pages) else np.zeros(0, int)
    turned = bool((flags & layout.FLAG_PACE_MEASURED).any())
    out = bool(figures.energy_out_kind == "measured")
    if any(name not in settings for name in NEEDED) or not (
            turned or out or len(pages.bursts)):
        return ()
    flows = flow(pages, settings)
    found = []
    if len(pages.bursts):
        found += _by_bursts(pages, settings, flows)
    if turned:
        found += _by_turns(pages, settings, flows)
    if out:
        found += _by_channels(settings, flows, figures)
    return tuple(one for one in found if good(one))


def _warmth(settings: Mapping[str, Any], flows: Flow, which: NDArray[np.bool_]) -> tuple[
        float | None, float, float]:
    """rise_k, amps2 and after_s of these samples."""
    turning = flows.turning
    if not which.any():
        which = turning
    if not which.any():
        return None, 0.0, 0.0
    after = float((np.cumsum(turning)[which]).mean()) * SAMPLE_S
    amps2 = float((flows.amps[turning] ** 2).mean()) if turning.any() else 0.0
    rise = float(flows.rise_k[which].mean()) if settings.get("warm_s") else None
    return (None if rise is None else round(rise, 2)), round(amps2, 5), round(after, 1)


def _by_bursts(pages: Pages, settings: Mapping[str, Any], flows: Flow) -> list[Lesson]:
    found = pooled(bursts(pages), capacitor_f=settings["capacitor_uf"] * 1e-6,
                   drop_v=settings["drop_mv"] / 1000,
                   knee_a=max(settings["drop_knee_ma"], 1) / 1000)
    if found is None:
        return []
    return [Lesson("source_ohm", "second_load", found.log_ohm, found.sd, found.evidence,
                   *_warmth(settings, flows, flows.settled), 0.0, found.count)]


def _by_turns(pages: Pages, settings: Mapping[str, Any], flows: Flow) -> list[Lesson]:
    """volts + drops = EMF of the pace - R amps, over stretches with and without a load."""
    table = pages.pages
    boots = np.unique(table["boot"][table["flags"] & layout.FLAG_PACE_MEASURED > 0])
    which = flows.known & flows.turning & flows.started & np.isin(flows.boot, boots)
    rows = _blocks(flows, which)
    if len(rows) < LEAST_BLOCKS:
        return []
    mean = {name: getattr(flows, name)[rows].mean(axis=1)
            for name in ("volts", "amps", "pace_tpm")}
    even = flows.pace_tpm[rows].std(axis=1) < UNEVEN * mean["pace_tpm"]
    if np.count_nonzero(even) < LEAST_BLOCKS:
        return []
    volts, amps, pace = (mean[name][even] for name in ("volts", "amps", "pace_tpm"))
    amps = amps + settings["supply_ma"] / 1000
    knee_a = max(settings["drop_knee_ma"], 1) / 1000
    y = volts + settings["drop_mv"] / 1000 * amps / (amps + knee_a)
    fit = _line(np.column_stack([pace, -amps]), y)
    if fit is None:
        return []
    (emf, ohm), (emf_sd, ohm_sd) = fit
    warm = _warmth(settings, flows, which)
    # the law of the drops is off by that in the same way each time
    drop_v = DROP_SHARE * settings["drop_mv"] / 1000
    off = {"emf_v_per_tpm": drop_v / float(pace.mean()),
           "source_ohm": drop_v / max(float(amps.max() - amps.min()), 1e-3)}
    out = []
    for name, value, sd in (("emf_v_per_tpm", float(emf), float(emf_sd)),
                            ("source_ohm", float(ohm), float(ohm_sd))):
        if value > 0 and sd < TOO_WIDE * value and off[name] < TOO_OFF * value:
            # an outing with other currents is off by a little more or less
            own = hypot(sd, OFF_DIFFERS * off[name]) / value
            out.append(Lesson(name, "turn_sensor", (round(log(value), 5),),
                              (max(round(own, 5), 1e-4),), (), *warm,
                              round(off[name] / value, 5), len(y)))
    return out


def _blocks(flows: Flow, which: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Rows of BLOCK samples that follow one another with nothing changed, the first stretch
    after a change left out."""
    at = np.flatnonzero(which)
    if not len(at):
        return np.zeros((0, BLOCK), np.int64)
    new = np.append(True, (np.diff(at) > 1) | (np.diff(flows.boot[at]) != 0)
                    | (flows.connected[at][1:] != flows.connected[at][:-1])
                    | (np.abs(np.diff(flows.t_s[at]) - SAMPLE_S) > SAMPLE_S / 2))
    count = np.arange(len(at))
    since = count - np.maximum.accumulate(np.where(new, count, 0))
    begins = count[(since % BLOCK == 0) & (since > 0)]
    begins = begins[begins + BLOCK <= len(at)]
    whole = since[begins + BLOCK - 1] == since[begins] + BLOCK - 1
    return np.asarray(at[begins[whole][:, None] + np.arange(BLOCK)])


def _line(x: Floats, y: Floats) -> tuple[Floats, Floats] | None:
    """Least squares, robust (Huber): the values and their deviations; errors in proportion to
    y, as of a pace. None where they cannot be told apart."""
    weight = 1 / np.maximum(y, 0.1)
    for _ in range(4):
        xw, yw = x * weight[:, None], y * weight
        square = xw.T @ xw
        if np.linalg.cond(square) > 1e10:
            return None
        found = np.linalg.solve(square, xw.T @ yw)
        left = (y - x @ found) / np.maximum(y, 0.1)
        usual = max(1.4826 * float(np.median(np.abs(left))), 1e-5)
        weight = np.sqrt(np.minimum(1.0, HUBER * usual / np.maximum(np.abs(left), 1e-12)))
        weight = weight / np.maximum(y, 0.1)
    # stretches that follow one another share an arm's mood: half of them count
    var = 2 * usual**2 * np.diag(np.linalg.inv((x * weight[:, None]).T @ (x * weight[:, None])))
    return np.asarray(found), np.asarray(np.sqrt(var))


def _by_channels(settings: Mapping[str, Any], flows: Flow, figures: Figures) -> list[Lesson]:
    """What went in while connected less what came out, over what the settings' law says."""
    parts = parts_j(settings, flows)
    if parts is None or figures.missing_pages or figures.no_data_s or figures.volts_only_s:
        return []
    in_j = float(flows.watts[flows.connected].sum()) * SAMPLE_S
    lost_j, law_j = in_j - figures.energy_out_j, sum(parts.values())
    if law_j < LEAST_LOSS_J or lost_j <= 0.2 * law_j:
        return []
    share = lost_j / in_j
    return [Lesson("losses", "two_channels", (round(log(lost_j / law_j), 5),),
                   (round(LOSS_SD + 0.002 / share, 5),), (),
                   *_warmth(settings, flows, flows.settled), round(GAIN_SD * 1.4 / share, 5), 1)]
