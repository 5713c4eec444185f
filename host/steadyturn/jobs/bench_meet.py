"""Meeting a board for a bench: does it run this rig's settings, and how well does it measure?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from steadyturn.bench import step
from steadyturn.bench.readings import Sensor
from steadyturn.board import bench as words
from steadyturn.board.connect import START_S, Board
from steadyturn.board.link import settings_line
from steadyturn.errors import Failed
from steadyturn.jobs.bench_evening import Evening
from steadyturn.jobs.bench_plan import orders
from steadyturn.model.band import Band
from steadyturn.report.style import shown_path
from steadyturn.rig.types import Rig
from steadyturn.sessions.accuracy import accuracy
from steadyturn.settings.build import build

# settings that no reading depends on: they may differ
OF_NO_MATTER = ("label", "lamp_percent", "more_rgb", "enough_rgb", "much_rgb", "danger_rgb",
                "wrong_rgb", "percent_mj", "watchdog")
CORRECTION = ("gain_ppm", "offset_mv", "offset_ma", "corrected", "within")  # the board's own
MOST_NAMED = 4


def meet(board: Board, rig: Rig, band: Band, path: Path) -> Evening:
    """An evening at this board, nothing read yet. Raises Failed."""
    shown = shown_path(path)
    if not band.feasible:
        raise Failed(f"No pace works for '{rig.name}', so the lamp has none to beat.",
                     f"'steadyturn pace {shown}' shows why.")
    who = board.link.wait(START_S)
    there = in_force(board)
    wanted = build(rig, band)
    other = different(there, wanted)
    if other:
        named = ", ".join(f"{key} {there.get(key, 'none')} (here {wanted.get(key, 'none')})"
                          for key in other[:MOST_NAMED])
        more = f" and {len(other) - MOST_NAMED} more" if len(other) > MOST_NAMED else ""
        name = there.get("rig")
        whose = f", those of '{name}'" if name and name != wanted["rig"] else ""
        raise Failed(f"The board runs other settings than this rig's{whose}: {named}{more}.",
                     f"Is it this machine's board? Then 'steadyturn flash {shown}' first.")
    state = board.link.state()
    if not state["settings_ok"]:
        raise Failed("The board has no settings in force.", f"'steadyturn flash {shown}'")
    known = accuracy(there, rig)
    sensor = Sensor() if not known.known else Sensor(
        volts=known.volts_percent / 100, volts_off_v=known.volts_mv / 1000,
        amps=known.amps_percent / 100, amps_off_a=known.amps_ma / 1000)
    plan = orders(rig, band, int(wanted["over_mv"]) / 1000)
    return Evening(rig, who.unique_id, board.name, 20.0, sensor, plan,
                   bool(rig.sensor.turn_pulses))


def in_force(board: Board) -> Mapping[str, Any]:
    """The settings in force, as the board has them; empty where they cannot be read."""
    try:
        found = json.loads(settings_line(board.link.settings()))
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def different(there: Mapping[str, Any], wanted: Mapping[str, Any]) -> list[str]:
    """Settings that differ and matter to a reading; what says most first."""
    keys = dict.fromkeys(["rig", *wanted, *there])
    return [key for key in keys
            if there.get(key) != wanted.get(key) and key not in OF_NO_MATTER
            and not any(word in key for word in CORRECTION)]


def burst(samples: words.Samples, pace_tpm: float) -> step.Burst:
    t = np.array(samples.t_us, dtype=float) / 1e6
    return step.Burst(
        t_s=t, on_s=samples.on_us / 1e6, off_s=samples.off_us / 1e6,
        long_s=max(samples.cycle_us, 1) / 1e6, volts=np.array(samples.volts),
        amps=np.array(samples.amps), unit_v=samples.unit_v, unit_a=samples.unit_a,
        pace_tpm=pace_tpm)
