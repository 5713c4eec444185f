"""The engineer's questions about a machine in time, at one pace."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from steadyturn.model import questions, questions_capacitor, stability
from steadyturn.model.traces import ordinary_step_s
from steadyturn.rig.types import Rig

SIZES_F = (1e-5, 1e-4, 1e-3, 1e-2, 1e-1)  # tried with `sizes`
FINE_S = 0.5e-3  # ten runs with a step below this take longer than one waits

LONG_S, SHORT_S = (8.0, 6.0), (4.0, 3.0)  # looked at for start and hiccup; with fine steps

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Questions:
    """start: whether start-up hunts and which threshold would stop it. hiccup: what hunting
    looks like, turned steadily. stability: against small disturbances, with the least and
    the greatest bus capacitor. bridging: bus capacitors tried one by one; None where that
    was not asked, or at no pace. sought: whether a threshold was sought at all; not where the
    inductance rings with a small bus capacitor, since there a run takes very fine steps."""

    sought: bool
    start: questions.StartUp
    hiccup: questions.Hiccup
    stability: stability.Stability
    bridging: questions_capacitor.Bridging | None


def ask(rig: Rig, pace_tpm: float, *, sizes: bool, progress: Progress | None = None) -> Questions:
    """All of them for `rig` at pace_tpm [turns/min]. sizes: try bus capacitors too, which
    takes half a minute; progress: told the share done and of what. Slower than the questions can
    be asked of, start-up and hunting are those of their slowest pace."""
    tried = sizes and pace_tpm >= questions.SLOWEST_TPM
    turned_tpm = max(pace_tpm, questions.SLOWEST_TPM)
    sought = ordinary_step_s(rig) >= FINE_S
    start_s, hiccup_s = LONG_S if sought else SHORT_S

    def tell(what: str) -> Callable[[float], None] | None:
        return None if progress is None else lambda share: progress(share, what)

    return Questions(
        sought=sought,
        start=questions.start_up(rig, turned_tpm, seconds=start_s, threshold=sought,
                                 progress=tell("starting")),
        hiccup=questions.hiccup(rig, turned_tpm, seconds=hiccup_s, progress=tell("hiccups")),
        stability=stability.stability(rig, pace_tpm),
        bridging=questions_capacitor.bridging(rig, pace_tpm, sizes_f=SIZES_F,
                                              progress=tell("capacitors")) if tried else None)
