"""Who turns the handle: what differs from one person to the next, and a population of them.

Sourced where a study of something near was found; everything else is an assumption and says
so. None of it has been measured on a hand-turned charger.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from steadyturn.rig.types import Arm

# Sources. Reaction to a flash: 0.23 s on average (Woods et al. 2015, 1469 people of 18-65
# years); of four choices about 0.6-0.7 s, rising through life (Der & Deary 2006; the figure is
# from memory). Between both lies who knows the lamp's five signals.
REACTION_S = (0.2, 0.7)
# The pull within a turn repeats itself within 2.7-3.9 % (Verellen et al. 2008, hand cycling);
# timing of repeated movements scatters by 3-6 % (common figure for tapping, from memory).
SCATTER = (0.03, 0.06)
SCATTER_S = (1.5, 4.0)  # how long one deviation lasts: assumption
# Arms choose near 80 turns/min of their own (pmid 17454538, an ergometer, "considerable"
# differences); people at pedals differ by 7-9 turns/min (Hansen et al. 2006, Marsh & Martin
# 1993). With one hand at a small handle less: assumption.
OWN_TPM, OWN_SD_TPM, OWN_ENDS_TPM = 70.0, 10.0, (45.0, 95.0)
# Left alone the pace goes back to one's own and wanders about it. That a pace imposed before
# still shows minutes later, by 5 % (Hansen et al. 2021), says it is no faster: assumption.
DRIFT, DRIFT_S = (0.05, 0.12), 40.0
FORCE_N = (22.0, 45.0)  # on a crank of 12.5-20 cm; Ivergard & Hunt 5.3.4
DROOP_NM_S = (0.3, 2.0)  # the rig file's range of this assumption
RIPPLE = (0.10, 0.50)  # likewise
SPEED_UP = (5.0, 12.0)  # turns/min a second, when told to: assumption
SLOW_DOWN = (3.0, 9.0)  # likewise; an arm slows down more gently than it speeds up
# Hands fall in with flashes 0.4-1.8 s apart (Repp 2003, 2006), but weakly (Iversen et al. 2015),
# so that half of the people take the beat for mere flashes: assumption.
KEEPS_BEAT = 0.5
BEAT_ERROR = 0.03  # standard deviation of a pace kept to flashes: assumption
TIREDNESS = (0.0, 0.8)  # at the start: 1 is as tired as a day of it makes
GLANCE_S = (3.0, 6.0)  # between two looks at a multimeter


@dataclass(frozen=True, slots=True)
class Traits:
    """One person. reaction_s [s]; droop_nm_s [N m s], ripple (share), force_n [N]: of the arm,
    as in a rig file. own_tpm [turns/min]: the pace that one comes back to; scatter (share, a
    standard deviation) and scatter_s [s]: how regular; drift (share): how far it wanders.
    speed_up, slow_down [turns/min a second]: how fast one does what the lamp says. keeps_beat:
    falls in with the flashes of `faster`, beat_error (share) off. tiredness: at the start, 0
    to 1. glance_s [s]: between two looks at a meter."""

    reaction_s: float
    droop_nm_s: float
    ripple: float
    force_n: float
    own_tpm: float
    scatter: float = 0.04
    scatter_s: float = 2.5
    drift: float = 0.10
    speed_up: float = 9.0
    slow_down: float = 6.0
    keeps_beat: bool = True
    beat_error: float = 0.0
    tiredness: float = 0.0
    glance_s: float = 4.0


def typical(arm: Arm) -> Traits:
    """The person of a rig file: its arm, and for the rest the middle of the ranges above."""
    return Traits(reaction_s=arm.reaction_s, droop_nm_s=arm.droop_nm_s, ripple=arm.ripple,
                  force_n=arm.force_n, own_tpm=(arm.comfort_low_tpm + arm.comfort_high_tpm) / 2)


def population(seed: int, count: int) -> list[Traits]:
    """People who differ; the same seed gives the same ones, and the first of them stay the
    same when there are more.

    >>> population(1, 3) == population(1, 5)[:3]
    True
    >>> all(0.2 <= one.reaction_s <= 0.7 and 0.03 <= one.scatter <= 0.06
    ...     for one in population(1, 100))
    True
    """
    chance = random.Random(f"people {seed}")
    return [_somebody(chance) for _ in range(count)]


def _somebody(chance: random.Random) -> Traits:
    between, low_tpm, high_tpm = chance.uniform, *OWN_ENDS_TPM
    return Traits(
        reaction_s=between(*REACTION_S),
        droop_nm_s=DROOP_NM_S[0] * (DROOP_NM_S[1] / DROOP_NM_S[0]) ** chance.random(),
        ripple=between(*RIPPLE),
        force_n=between(*FORCE_N),
        own_tpm=min(max(chance.gauss(OWN_TPM, OWN_SD_TPM), low_tpm), high_tpm),
        scatter=between(*SCATTER),
        scatter_s=between(*SCATTER_S),
        drift=between(*DRIFT),
        speed_up=between(*SPEED_UP),
        slow_down=between(*SLOW_DOWN),
        keeps_beat=chance.random() < KEEPS_BEAT,
        beat_error=chance.gauss(0.0, BEAT_ERROR),
        tiredness=between(*TIREDNESS),
        glance_s=between(*GLANCE_S),
    )
