"""A virtual board on a port of this machine, cranked by a virtual person in real time."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator, Sequence
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
from steadyturn.twin.person import Person, Steady
from steadyturn.twin.twin import Twin

PACES_TPM = (1.0, 300.0)
FAULT_S = (0.0, 86_400.0)
WAIT_S = 0.2


@dataclass(frozen=True)
class PlannedFault:
    """kind: see twin.md; from_s: after the start; for_s: how long, None: it stays."""

    kind: str
    says: str
    from_s: float
    for_s: float | None


@dataclass(frozen=True)
class Served:
    """rig: its name; feed: how the board gets its power; port: what a client opens;
    image: the flash's file, None when it is removed in the end; person: who cranks;
    faults: what goes wrong on the sensor's bus, and when; interpreter, found: what runs the
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


@contextlib.contextmanager
def serve(
    rig_path: str | Path, *, image: Path | None = None, seed: int = 0, person: str = "lamp",
    blank: bool = False, faults: Sequence[str] = (),
) -> Iterator[tuple[Served, Twin]]:
    """Serve a virtual board until the context ends; time is real meanwhile.

    image: file that keeps its flash (None: a new one, removed in the end). A new board
    comes with firmware and the rig's settings, unless `blank`, and an image keeps its board's
    unique id; without one that comes from the rig's name and the seed. person: "lamp" (does what
    the lamp says), "steady:TPM" or "none". faults: "KIND:FROM" or "KIND:FROM:FOR", in
    seconds, of `bus_faults.KINDS`. Raises WrongInput and Failed.
    """
    rig = read_rig(rig_path)
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
        yield Served(
            rig=rig.name, rig_file=str(rig_path), feed=rig.supply.feed,
            port=twin.port or "", image=None if image is None else str(image),
            seed=seed, person=person, faults=made.faults, interpreter=found.kind,
            found=found.origin, ready=made.new and not made.because,
            not_ready_because=made.because,
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


def wait(twin: Twin) -> None:
    """Until Ctrl-C; raises what ended the board, if something did."""
    while True:
        twin.check()
        time.sleep(WAIT_S)


def _hand(rig: Rig, person: str, seed: int) -> Any:
    kind, _, pace = person.partition(":")
    if person == "none":
        return None
    if person == "lamp":
        return Person(rig, seed)
    with contextlib.suppress(ValueError):
        if kind == "steady" and PACES_TPM[0] <= float(pace) <= PACES_TPM[1]:
            return Steady(float(pace))
    raise WrongInput(Problem(
        "--person", "", person,
        f"lamp, steady:TPM with {PACES_TPM[0]:g} to {PACES_TPM[1]:g} turns/min, or none.",
        "For example --person steady:60",
    ))


def plan_faults(rig: Rig, faults: Sequence[str]) -> tuple[PlannedFault, ...]:
    """What --fault asks for. Raises WrongInput."""
    planned = tuple(_fault(text) for text in faults)
    if planned and rig.sensor.chip == "adc":
        raise WrongInput(Problem(
            "--fault", "", faults[0], "this rig's sensor is the board's own ADC: it has no bus.",
            "Leave --fault out, or take a rig with an INA chip."))
    return planned


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
