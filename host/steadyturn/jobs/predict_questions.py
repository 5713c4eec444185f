"""The engineer's questions about a machine in time, at one pace."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from steadyturn.model import questions, stability
from steadyturn.rig.types import Rig

SIZES_F = (1e-5, 1e-4, 1e-3, 1e-2, 1e-1)  # tried with `sizes`

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Questions:
    """start: whether start-up hunts and which threshold would stop it. hiccup: what hunting
    looks like, turned steadily. stability: against small disturbances, with the least and
    the greatest bus capacitor. bridging: bus capacitors tried one by one; None where that
    was not asked, or at no pace."""

    start: questions.StartUp
    hiccup: questions.Hiccup
    stability: stability.Stability
    bridging: questions.Bridging | None


def ask(rig: Rig, pace_tpm: float, *, sizes: bool, progress: Progress | None = None) -> Questions:
    """All of them for `rig` at pace_tpm [turns/min]. sizes: try bus capacitors too, which
    takes half a minute; progress: told the share done of that."""
    tried = sizes and pace_tpm > 0
    return Questions(
        start=questions.start_up(rig, pace_tpm), hiccup=questions.hiccup(rig, pace_tpm),
        stability=stability.stability(rig, pace_tpm),
        bridging=questions.bridging(rig, pace_tpm, sizes_f=SIZES_F, progress=progress)
        if tried else None)
