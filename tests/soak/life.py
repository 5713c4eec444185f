"""A day of somebody who cranks, rests and tires; a phone, a loose wire, a burst of speed."""

from __future__ import annotations

import random
from dataclasses import dataclass

from steadyturn.rig.types import Rig
from steadyturn.twin.bus_faults import KINDS
from steadyturn.twin.person import Intention, Person

CRANK_S = (20.0, 130.0)  # one go; longer ones now and then
LONG_S = (300.0, 900.0)
LONG_SHARE = 0.02
REST_S = (30.0, 150.0)  # long enough for the board to lose its power
BURST_TPM = (120.0, 170.0)  # above what the rig's over-speed allows
FAULT_S = (0.1, 20.0)


@dataclass(frozen=True, slots=True)
class Day:
    """goes: (begin, end) of each time at the handle, s; plan: for `Person`; faults: (kind,
    from, to); plugs: (t_s, plugged)."""

    goes: list[tuple[float, float]]
    plan: list[tuple[float, Intention]]
    faults: list[tuple[str, float, float]]
    plugs: list[tuple[float, bool]]

    @property
    def cranking_s(self) -> float:
        return sum(end - begin for begin, end in self.goes)


def live(seed: int, length_s: float, faults: bool = True) -> Day:
    """length_s: of the day. In a fifth of the goes a sensor fault, in a tenth a burst of speed,
    in a tenth the plug is pulled for a while."""
    chance = random.Random(f"day {seed}")
    day = Day([], [], [], [])
    t = 5.0
    while t < length_s - REST_S[1]:
        long = chance.random() < LONG_SHARE
        go_s = chance.uniform(*(LONG_S if long else CRANK_S))
        end = min(t + go_s, length_s - REST_S[1])
        day.goes.append((t, end))
        day.plan.append((t, "follow"))
        if chance.random() < 0.1 and end - t > 30:
            at = chance.uniform(t + 12, end - 8)
            day.plan.extend([(at, chance.uniform(*BURST_TPM)), (at + 3, "follow")])
        day.plan.append((end, chance.choice(("rest", "rest", "stop", "brake"))))
        if faults and chance.random() < 0.2:
            at = chance.uniform(t, end)
            day.faults.append((chance.choice(KINDS), at, at + chance.uniform(*FAULT_S)))
        if chance.random() < 0.1:
            at = chance.uniform(t, end)
            day.plugs.extend([(at, False), (at + chance.uniform(1, 30), True)])
        t = end + chance.uniform(*REST_S)
    return day


def person(rig: Rig, seed: int, day: Day) -> Person:
    return Person(rig, seed, plan=day.plan)
