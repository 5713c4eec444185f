"""A virtual board on a port of this machine, cranked by a virtual person in real time."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import Any

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.model.band import find_band
from steadyturn.report.twin import NO_PACE
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin import flash, interpreter
from steadyturn.twin.bus_faults import WORDS
from steadyturn.twin.person import Paces, Person, Steady
from steadyturn.twin.twin import Twin

PACES_TPM = (1.0, 300.0)
FAULT_S = (0.0, 86_400.0)
WAIT_S = 0.2
SLOW = 0.5  # of the band's low edge: far below the target, and nothing is connected there
METER_HZ = 2.5  # a multimeter's own pace, common practice
WRONG_PERCENT, WRONG_OFFSET = 300.0, 5.0  # most that a sensor may be told to misread


@dataclass(frozen=True)
class PlannedFault:
    """kind: see twin.md; from_s: after the start; for_s: how long, None: it stays."""

    kind: str
    says: str
    from_s: float
    for_s: float | None


@dataclass(frozen=True)
class Misread:
    """quantity: "volts" or "amps"; share, offset: so much too high does the sensor read it, a
    share and V or A besides."""

    quantity: str
    share: float
    offset: float


@dataclass(frozen=True)
class Served:
    """rig: its name; feed: how the board gets its power; port: what a client opens;
    image: the flash's file, None when it is removed in the end; person: who cranks;
    faults: what goes wrong on the sensor's bus, and when; misread: what the sensor reads wrongly;
    interpreter, found: what runs the
    firmware and how it was found; ready: firmware and settings are on the board;
    not_ready_because: "" or why they are not."""

    rig: str
    rig_file: str
    feed: str
    port: str
    image: str | None
    seed: int
    person: str
    faults: tuple[PlannedFault, ...]
    interpreter: str
    found: str
    ready: bool
    not_ready_because: str
    misread: tuple[Misread, ...] = ()


@contextlib.contextmanager
def serve(
    rig_path: str | Path, *, image: Path | None = None, seed: int = 0, person: str = "lamp",
    blank: bool = False, faults: Sequence[str] = (), misread: Sequence[str] = (),
) -> Iterator[tuple[Served, Twin]]:
    """Serve a virtual board until the context ends; time is real meanwhile.

    image: file that keeps its flash (None: a new one, removed in the end). A new board
    comes with firmware and the rig's settings, unless `blank`, and an image keeps its board's
    unique id; without one that comes from the rig's name and the seed. person: "lamp" (does what
    the lamp says), "beat", "points" (the target and a slow pace in turn), "steady:TPM" or "none".
    faults: "KIND:FROM" or "KIND:FROM:FOR", in
    seconds, of `bus_faults.KINDS`. misread: "QUANTITY:PERCENT" or "QUANTITY:PERCENT:OFFSET", how
    much too high the sensor reads. Raises WrongInput and Failed.
    """
    rig = read_rig(rig_path)
    wrongly = plan_misreads(rig, misread)
    hand = _hand(rig, person, seed)
    found = interpreter.find()
    if not found.serves_port:
        raise Failed(
            f"A virtual board on a port needs MicroPython's Unix port: {found.why}.",
            f"Where there is no wheel of it, build it and name it in {interpreter.VARIABLE}; "
            "'steadyturn demo' and 'steadyturn twin RIG --hand' run without.",
        )
    with board(rig, hand, found, image=image, seed=seed, blank=blank, faults=faults) as made:
        twin = made.twin
        for one in wrongly:
            twin.misread(**{one.quantity: (one.share, one.offset)})
        yield Served(
            rig=rig.name, rig_file=str(rig_path), feed=rig.supply.feed,
            port=twin.port or "", image=None if image is None else str(image),
            seed=seed, person=person, faults=made.faults, interpreter=found.kind,
            found=found.origin, ready=made.new and not made.because,
            not_ready_because=made.because, misread=wrongly,
        ), twin


@dataclass(frozen=True)
class Made:
    """A virtual board that runs. new: it was made now; because: why nothing was put on it, ""
    when firmware and settings were."""

    twin: Twin
    new: bool
    because: str
    faults: tuple[PlannedFault, ...]


@contextlib.contextmanager
def board(
    rig: Rig, hand: Any, found: interpreter.Interpreter, *, image: Path | None, seed: int,
    blank: bool, faults: Sequence[str],
) -> Iterator[Made]:
    """A virtual board of `rig` in real time, until the context ends. As `serve`, but with any
    hand, and without a port where there is none."""
    planned = plan_faults(rig, faults)
    new = image is None or not image.exists()
    if image is not None and not new:
        flash.refuse_foreign(image)
    elif image is not None and found.kind == "unix":
        flash.make(image)
    twin = Twin(rig, image=image, seed=seed, person=hand, interpreter=found, real_time=True)
    with contextlib.ExitStack() as stack:
        stack.callback(twin.stop)
        because = _prepare(twin, rig, new, blank)
        for fault in planned:
            end = inf if fault.for_s is None else fault.from_s + fault.for_s
            twin.bus.fault(fault.kind, fault.from_s, end)
        twin.start()
        yield Made(twin, new, because, planned)


def wait(twin: Twin, meter: Callable[[float, float], None] | None = None) -> None:
    """Until Ctrl-C; raises what ended the board, if something did. meter: called METER_HZ times a
    second with the true volts and amperes into the converter, at that moment."""
    due = time.monotonic()
    while True:
        twin.check()
        if meter is not None and time.monotonic() >= due:
            due = max(due + 1 / METER_HZ, time.monotonic())
            seen = twin.glimpse()
            meter(seen.bus_v, seen.bus_a)
        time.sleep(WAIT_S)


def _hand(rig: Rig, person: str, seed: int) -> Any:
    kind, _, pace = person.partition(":")
    if person == "none":
        return None
    if person == "lamp":
        return Person(rig, seed)
    if person == "beat":
        return Person(rig, seed, plan=[(0.0, "beat")])
    if person == "points":
        return Paces(_points(rig))
    with contextlib.suppress(ValueError):
        if kind == "steady" and PACES_TPM[0] <= float(pace) <= PACES_TPM[1]:
            return Steady(float(pace))
    raise WrongInput(Problem(
        "--person", "", person,
        f"lamp, beat, points, steady:TPM with {PACES_TPM[0]:g} to {PACES_TPM[1]:g} turns/min, or "
        "none.",
        "For example --person steady:60",
    ))


def _points(rig: Rig) -> tuple[float, float]:
    """The target and a slow pace of "points", turns/min. Raises WrongInput."""
    band = find_band(rig, deep=False)
    if band.target_tpm is None or band.low_tpm is None:
        raise WrongInput(Problem("--person", "", "points", f"{NO_PACE}.",
                                 "For example --person steady:60"))
    return band.target_tpm, SLOW * band.low_tpm


def plan_faults(rig: Rig, faults: Sequence[str]) -> tuple[PlannedFault, ...]:
    """What --fault asks for. Raises WrongInput."""
    planned = tuple(_fault(text) for text in faults)
    if planned and rig.sensor.chip == "adc":
        raise WrongInput(Problem(
            "--fault", "", faults[0], "this rig's sensor is the board's own ADC: it has no bus.",
            "Leave --fault out, or take a rig with an INA chip."))
    return planned


def plan_misreads(rig: Rig, misread: Sequence[str]) -> tuple[Misread, ...]:
    """What --misread asks for. Raises WrongInput."""
    planned = tuple(_misread(text) for text in misread)
    if planned and rig.sensor.chip == "adc":
        raise WrongInput(Problem(
            "--misread", "", misread[0], "this rig's sensor is the board's own ADC.",
            "Leave --misread out, or take a rig with an INA chip."))
    return planned


def _misread(text: str) -> Misread:
    """One --misread."""
    quantity, _, rest = text.partition(":")
    percent, _, offset = rest.partition(":")
    with contextlib.suppress(ValueError):
        share, besides = float(percent), float(offset or 0.0)
        if (quantity in ("volts", "amps") and abs(share) <= WRONG_PERCENT
                and abs(besides) <= WRONG_OFFSET):
            return Misread(quantity, share / 100, besides)
    raise WrongInput(Problem(
        "--misread", "", text, "volts or amps, percent too high, and V or A besides.",
        "For example --misread volts:2:0.03, or --misread amps:-3"))


def _fault(text: str) -> PlannedFault:
    """One --fault."""
    kind, _, times = text.partition(":")
    begin, _, length = times.partition(":")
    with contextlib.suppress(ValueError):
        from_s, for_s = float(begin), float(length) if length else None
        if (kind in WORDS and FAULT_S[0] <= from_s <= FAULT_S[1]
                and (for_s is None or 0.0 < for_s <= FAULT_S[1])):
            return PlannedFault(kind, WORDS[kind], from_s, for_s)
    raise WrongInput(Problem(
        "--fault", "", text,
        f"KIND:FROM or KIND:FROM:FOR, FROM and FOR in seconds; kinds are {', '.join(WORDS)}.",
        "For example --fault nack:30:10, where nobody answers from 30 s on for 10 s",
    ))


def _prepare(twin: Twin, rig: Rig, new: bool, blank: bool) -> str:
    """Put firmware and settings on a new board; why not, if not."""
    if not new:
        return "this board was there before and keeps what it has"
    if blank:
        return "a blank board was asked for"
    band = find_band(rig, deep=False)
    if not band.feasible:
        return NO_PACE
    twin.prepare(encode(build(rig, band)))
    return ""
