"""Journals of any length, decoded a part at a time: what is held does not grow with them.

Parts may be cut anywhere. Taken together they give what `decode` gives of the whole, but in the
order in which they come: numbers ascend within a run, and a number that an earlier run had is
left out and counted as a duplicate (whether it had other contents is known within a run only).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.decode import Pages, tables
from steadyturn.sessions.one_page import KEEP_PLACE, SIZE, Damage
from steadyturn.sessions.whole import find

RUN_BYTES = 2048 * SIZE  # decoded at a time: 2 MB as arrays


@dataclass(frozen=True, slots=True)
class Run:
    """Pages that came together. The positions in `pages` are in the whole; raw: all bytes that
    they stand in, of which the first `again` were in the run before; begin: where raw begins."""

    begin: int
    again: int
    raw: bytes
    pages: Pages

    @property
    def own(self) -> bytes:
        """Its bytes without those of the run before: each byte is in one run."""
        return self.raw[self.again :]

    def rows(self, which: NDArray[Any]) -> bytes:
        """The bytes of those rows of pages.pages, joined."""
        at = self.pages.pages["position"][which] - self.begin
        return b"".join(self.raw[i : i + SIZE] for i in at.tolist())


def decode_runs(parts: Iterable[bytes], run_bytes: int = RUN_BYTES) -> Iterator[Run]:
    """Decode bytes that come in parts of any length, about `run_bytes` at a time.

    The last run may be without a page. Never raises on what it is given.
    """
    stream = _Stream()
    enough = max(run_bytes, SIZE)
    for part in parts:
        for at in range(0, len(part), enough):
            stream.waiting += part[at : at + enough]
            if len(stream.waiting) - stream.again >= enough:
                yield stream.take()
    yield stream.take(last=True)


class _Stream:
    """What is carried from one run to the next."""

    def __init__(self) -> None:
        self.begin = 0
        self.waiting = bytearray()  # from there on
        self.again = 0  # so many of them are decided: the next page may share some
        self.known = _Numbers()
        self.lost: Damage | None = None  # reaches to the end of the last run, perhaps farther

    def take(self, *, last: bool = False) -> Run:
        """Decode what waits."""
        raw = bytes(self.waiting)
        position, damage = find(raw, self.again)
        decided = len(raw)
        if damage and not last:
            tail = damage[-1]
            if tail.position + tail.length == len(raw) and tail.reason not in KEEP_PLACE:
                # a page may begin in its last bytes
                decided = max(tail.position, len(raw) - SIZE + 1)
        found = self._place(damage, decided, last)
        pages = tables(raw, position, found, begin=self.begin, known=self.known.have)
        self.known.add(pages.pages["seq"])
        run = Run(self.begin, self.again, raw[:decided], pages)
        keep = min(decided, SIZE - 1)
        del self.waiting[: decided - keep]
        self.begin, self.again = self.begin + decided - keep, keep
        return run

    def _place(self, damage: list[Damage], decided: int, last: bool) -> list[Damage]:
        """The damage that ends in this run, as it lies in the whole."""
        out = []
        lost = self.lost
        for part in damage:
            length = min(part.length, decided - part.position)
            if length <= 0:
                continue
            at, loose = self.begin + part.position, part.reason not in KEEP_PLACE
            if lost is not None and loose and at == lost.position + lost.length:
                lost = Damage(lost.position, lost.length + length, lost.reason)
                continue
            if lost is not None:
                out.append(lost)
            lost = Damage(at, length, part.reason)
            if not loose:
                out.append(lost)
                lost = None
        if lost is not None and (last or lost.position + lost.length < self.begin + decided):
            out.append(lost)
            lost = None
        self.lost = lost
        return out


class _Numbers:
    """Which numbers there were, as intervals: one for a journal in its order."""

    def __init__(self) -> None:
        self.first = self.last = np.zeros(0, "i8")

    def have(self, seq: NDArray[Any]) -> NDArray[Any]:
        if not len(self.first):
            return np.zeros(len(seq), bool)
        at = np.searchsorted(self.first, seq, "right") - 1
        inside: NDArray[Any] = (at >= 0) & (seq <= self.last[at])
        return inside

    def add(self, seq: NDArray[Any]) -> None:
        """Numbers that ascend, none of them here yet."""
        if not len(seq):
            return
        first = np.concatenate([self.first, seq])
        order = np.argsort(first, kind="stable")
        first, last = first[order], np.concatenate([self.last, seq])[order]
        begins = np.flatnonzero(np.append(True, first[1:] > last[:-1] + 1))
        self.first, self.last = first[begins], last[np.append(begins[1:], len(last)) - 1]
