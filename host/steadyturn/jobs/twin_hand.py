"""A virtual machine that a person cranks by tapping a key, in real time."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import isnan
from pathlib import Path

from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.twin import board, plan_faults
from steadyturn.model.band import find_band
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM, Rig
from steadyturn.twin import interpreter
from steadyturn.twin.engine import OFF
from steadyturn.twin.listener import watcher
from steadyturn.twin.plain import NOT_EXERCISED
from steadyturn.twin.taps import TapHand, turns_on_the_beat
from steadyturn.twin.twin import Twin

TAPS = {"half": 0.5, "turn": 1.0, "two": 2.0}  # turns; besides "beat"
RUN_DOWN_S = 20.0  # virtual: by then a board on the crank has stored its last page and is off
RUN_DOWN_REAL_S = 3.0  # while a program has the port open, time stays real
TURNS_TPM = 5.0  # slower is standing still


@dataclass(frozen=True)
class Moment:
    """One moment of the machine. tapped_tpm: pace of the taps; pace_tpm: of the handle;
    effort_nm of most_nm: what the arm pulls of what it can; arm_w: its power; lit: the lamp now;
    lights: its changes since the last moment, (s, 0 to 1); rgb: a pixel's colour; says: what the
    lamp says, as an eye reads it, "dark" before it has been lit; board: off, booting, starting,
    running or prompt; percent: gained by the device so far, None without a capacity."""

    t_s: float
    tapped_tpm: float
    pace_tpm: float
    effort_nm: float
    most_nm: float
    arm_w: float
    lit: float
    lights: tuple[tuple[float, float], ...]
    rgb: tuple[int, int, int] | None
    says: str
    bus_v: float
    bus_a: float
    out_w: float
    connected: bool
    plugged: bool
    board: str
    percent: float | None


@dataclass(frozen=True)
class Cranked:
    """What came of it; true figures of the model, no board's. band_s: time with the handle's
    pace in the band, of turning_s. image: the flash's file, None when it is removed;
    not_exercised: what this system could not show."""

    rig: str
    rig_file: str
    image: str | None
    turns_a_tap: float
    taps: int
    time_s: float
    turning_s: float
    band_s: float
    turns: float
    arm_wh: float
    energy_in_wh: float
    energy_out_wh: float
    percent: float | None
    connected_s: float
    connections: int
    boots: int
    not_exercised: tuple[str, ...]


class Cranking:
    """The machine under the hand. rig, port ("" without one), low_tpm, target_tpm, high_tpm
    (None: no pace works), turns_a_tap, lamp_kind, ready (firmware and settings are on the
    board), not_exercised: for the screen."""

    def __init__(self, rig: Rig, rig_file: str, image: Path | None, twin: Twin, hand: TapHand,
                 edges: tuple[float | None, float | None, float | None], because: str,
                 not_exercised: tuple[str, ...]) -> None:
        self.rig = rig.name
        self.port = twin.port or ""
        self.low_tpm, self.target_tpm, self.high_tpm = edges
        self.turns_a_tap = hand.turns
        self.lamp_kind = rig.board.lamp
        self.because = because
        self.not_exercised = not_exercised
        self._rig_file, self._image = rig_file, image
        self._twin, self._hand = twin, hand
        self._reads = watcher(rig.board.lamp)
        self._last_s = 0.0
        self._turning_s = self._band_s = 0.0

    def tap(self, now_s: float | None = None) -> bool:
        """A tap of the key, now; False where it is a held key's repeat."""
        return self._hand.tap(time.monotonic() if now_s is None else now_s)

    def plug(self) -> None:
        """Pull the device's plug, or put it in again."""
        self._twin.plugged = not self._twin.plugged

    def moment(self) -> Moment:
        """What is now. Raises what has ended the board, if something has."""
        seen, hand, lamp = self._twin.glimpse(), self._hand, self._twin.lamp
        lights = []
        while hand.lights:
            lights.append(hand.lights.popleft())
            self._reads.see(*lights[-1])
        passed, self._last_s = seen.t_s - self._last_s, seen.t_s
        if seen.pace_tpm > TURNS_TPM:
            self._turning_s += passed
            if self.low_tpm is not None and self.high_tpm is not None:
                self._band_s += passed * (self.low_tpm <= seen.pace_tpm <= self.high_tpm)
        return Moment(
            t_s=seen.t_s, tapped_tpm=hand.tapped_tpm, pace_tpm=seen.pace_tpm,
            effort_nm=hand.effort_nm, most_nm=hand.most_nm,
            arm_w=hand.effort_nm * seen.pace_tpm * RPM, lit=seen.light, lights=tuple(lights),
            rgb=lamp.rgb if lamp.kind == "rgb" else None, says=self._reads.cue(seen.t_s),
            bus_v=seen.bus_v, bus_a=seen.bus_a, out_w=seen.out_w, connected=seen.connected,
            plugged=self._twin.plugged, board=seen.board,
            percent=None if isnan(seen.percent) else seen.percent,
        )

    def finish(self) -> Cranked:
        """Hands off, until the board has stored what it holds; what came of it."""
        twin = self._twin
        time_s = twin.t_s
        twin.person = None
        end_s, real_end = time_s + RUN_DOWN_S, time.monotonic() + RUN_DOWN_REAL_S
        while twin.t_s < end_s and time.monotonic() < real_end:
            twin.run(0.25)
            if twin.glimpse().board == OFF:
                break
        truth = twin.truth
        percent = twin.glimpse().percent
        return Cranked(
            rig=self.rig, rig_file=self._rig_file,
            image=None if self._image is None else str(self._image),
            turns_a_tap=self.turns_a_tap, taps=self._hand.taps, time_s=time_s,
            turning_s=self._turning_s, band_s=self._band_s, turns=truth.turns,
            arm_wh=truth.arm_j / 3600, energy_in_wh=truth.in_j / 3600,
            energy_out_wh=truth.out_j / 3600,
            percent=None if isnan(percent) else percent,
            connected_s=truth.connected_s,
            connections=sum(one.connected for one in truth.switchings),
            boots=len(truth.boots_s), not_exercised=self.not_exercised,
        )


@contextlib.contextmanager
def crank(
    rig_path: str | Path, *, image: Path | None = None, seed: int = 0, tap: str = "beat",
    faults: Sequence[str] = (), starting: Callable[[str], object] = lambda rig: None,
) -> Iterator[Cranking]:
    """A virtual machine to be cranked by taps, in real time, until the context ends.

    tap: what one does: "beat" (a turn, or half or two where that makes the lamp's beat the
    beat to tap), "half", "turn" or "two". starting: told the rig's name once the rest of what was
    asked makes sense and the board is made, which takes seconds. The rest as in jobs.twin.serve;
    also on CPython, then without a port. Raises WrongInput and Failed.
    """
    rig = read_rig(rig_path)
    if tap not in ("beat", *TAPS):
        raise WrongInput(Problem("--tap", "", tap, f"beat, {', '.join(TAPS)}."))
    plan_faults(rig, faults)
    starting(rig.name)
    band = find_band(rig, deep=False)
    turns = TAPS.get(tap) or (turns_on_the_beat(band.target_tpm) if band.target_tpm else 1.0)
    hand = TapHand(rig, turns)
    found = interpreter.find()
    with board(rig, hand, found, image=image, seed=seed, blank=False, faults=faults) as made:
        yield Cranking(
            rig, str(rig_path), image, made.twin, hand,
            (band.low_tpm, band.target_tpm, band.high_tpm), made.because if made.new else "",
            () if found.kind == "unix" else NOT_EXERCISED,
        )
