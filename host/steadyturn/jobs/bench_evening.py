"""One bench at a board: what is taken so far, and what is now."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from steadyturn.bench import step
from steadyturn.bench.readings import Bench as About
from steadyturn.bench.readings import Plateau, Sensor
from steadyturn.jobs import bench_readings
from steadyturn.jobs.bench_plan import Order
from steadyturn.rig.types import Rig

UNSEEN_SWAY = 0.04  # of a hand that no load has shown


@dataclass(frozen=True)
class Moment:
    """What is now. number of count: which order; state: "turn" (no pace yet), "steady" (it is
    waited for), "connect" (the load is), "measure", "taken", "stepped", "jerked" (that burst
    tells nothing), "again", "skipped"; why: a reason of pages.REASONS while the load is not
    connected, of bench_frames.STEP_REASONS for a step that was not to be had. turns_a_flash: of
    the handle. pace_seen_tpm: by the rig's own constants; left_s: of this order, all_left_s: of
    all."""

    number: int
    count: int
    order: Order
    state: str
    volts: float
    amps: float
    pace_seen_tpm: float | None
    turns_a_flash: float
    left_s: float
    all_left_s: float
    why: str = ""


@dataclass
class Evening:
    """One bench at a board. taken: readings so far, as of a file of readings; bursts: of the
    steps; warm_k: of the windings above the room at each burst of either kind."""

    rig: Rig
    board: str
    port: str
    room_c: float
    sensor: Sensor
    plan: tuple[Order, ...]
    turn_sensor: bool
    slots: int = 0
    taken: list[Plateau] = field(default_factory=list)
    bursts: list[step.Burst] = field(default_factory=list)
    jerked: list[step.Burst] = field(default_factory=list)
    warm_k: list[float] = field(default_factory=list)
    seconds: float = 0.0
    skipped: int = 0
    _fitted: step.Step | None = None
    _fitted_of: int = 0

    @property
    def about(self) -> About:
        return About(room_c=self.room_c, slots=self.slots)

    def items(self) -> list[tuple[str, Any]]:
        found: list[tuple[str, Any]] = [("plateau", one) for one in self._plateaus()]
        fitted = self.fitted()
        if fitted is not None and not fitted.refused:
            bursts = self.bursts or self.jerked
            pace = sum(one.pace_tpm for one in bursts) / len(bursts)
            warm_k = sum(self.warm_k) / max(len(self.warm_k), 1)
            reading = bench_readings.step_reading(fitted, pace, warm_k)
            if reading is not None:
                found.append(("step", reading))
        return found

    def fitted(self) -> step.Step | None:
        """What the bursts say together; where each was jerked, what those say: at least why
        there is no more."""
        bursts = self.bursts or self.jerked
        if bursts and len(bursts) != self._fitted_of:
            self._fitted = step.fit(bursts, bench_readings.machine(self.rig))
            self._fitted_of = len(bursts)
        return self._fitted

    def _plateaus(self) -> list[Plateau]:
        """An open circuit does not show how the hand swayed: as under load."""
        least_a = bench_readings.EMF.least_a(self.rig)
        loaded = [one.sway for one in self.taken if one.amps > least_a]
        sway = sum(loaded) / len(loaded) if loaded else UNSEEN_SWAY
        return [one if one.amps > least_a else replace(one, sway=sway)
                for one in self.taken]
