"""From a board's time to the world's, where a meeting with a host tells it.

A board has no clock that runs without power. At each contact it was t_ms into a boot when the
host's clock stood at host_s: that dates every moment of that boot, and no moment of another.
A host's clock may be wrong; what shows it is that contacts do not fit each other, or that
one was before this program was. Such a contact dates nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.rows import Contact
from steadyturn.sessions.store import LATEST_S

# Contacts of one boot may differ by how long the question took and by the board's crystal.
APART_MS = 2000.0  # common practice, no source: a slow answer of the link
CRYSTAL = 100e-6  # common practice, no source: twice the 50 ppm of an ordinary crystal
# Between two boots a clock may have been set right by this much and is still believed.
BACK_MS = 60_000.0  # common practice, no source: a clock that nobody set for some months
# 2025-01-01: this program is younger. A clock without its battery begins in 1970 to 2021.
EARLIEST_S = 1_735_689_600.0

DOUBTS = {
    "early": "before this program existed",
    "boot": "contradicts another meeting while the board was on",
    "order": "does not come after the meetings before it",
}


class Anchors:
    """The dated boots of one board (one journal of it).

    doubts: the ids of contacts whose clock is not believed, each with a name of DOUBTS.
    """

    def __init__(self, contacts: Iterable[Contact]) -> None:
        self.doubts: Mapping[int, str] = {}
        doubts: dict[int, str] = {}
        by_boot: dict[int, list[Contact]] = {}
        for contact in contacts:
            if contact.host_s < EARLIEST_S:
                doubts[contact.id] = "early"
            else:
                by_boot.setdefault(contact.boot, []).append(contact)
        begins = {}
        for boot, seen in sorted(by_boot.items()):
            found = _begins([(c.t_ms, c.host_s * 1000) for c in seen])
            if found is None:
                doubts.update((c.id, "boot") for c in seen)
            else:
                begins[boot] = found
        for boot in _out_of_order(begins):
            doubts.update((c.id, "order") for c in by_boot[boot])
            del begins[boot]
        self._begins = begins
        self.doubts = doubts

    @property
    def boots(self) -> frozenset[int]:
        return frozenset(self._begins)

    def host_s(self, boot: int, t_ms: int) -> float | None:
        """Host seconds since 1970 at t_ms of that boot, None where not known."""
        begins = self._begins.get(boot)
        if begins is None:
            return None
        when = float(t_ms + begins[np.abs(t_ms - begins[:, 0]).argmin(), 1]) / 1000
        return when if 0 <= when <= LATEST_S else None

    def utc_ms(self, boot: NDArray[Any], t_ms: NDArray[Any]) -> NDArray[np.float64]:
        """Milliseconds since 1970 in UTC at these times of these boots, NaN where not known."""
        out = np.full(len(boot), np.nan)
        for number in np.unique(boot).tolist():
            begins = self._begins.get(number)
            if begins is None:
                continue
            here = boot == number
            when = t_ms[here]
            nearest = np.abs(when[:, None] - begins[:, 0]).argmin(axis=1)
            out[here] = np.round(when + begins[nearest, 1])
        out[(out < 0) | (out > LATEST_S * 1000)] = np.nan
        return out

    def iso(self, boot: NDArray[Any], t_ms: NDArray[Any]) -> list[str | None]:
        """The same as 2026-03-01T10:20:30.400, None where not known."""
        when = self.utc_ms(boot, t_ms)
        out: list[str | None] = [None] * len(when)
        known = np.flatnonzero(~np.isnan(when))
        texts = np.datetime_as_string(when[known].astype("i8").astype("M8[ms]"))
        for i, text in zip(known.tolist(), texts.tolist(), strict=True):
            out[i] = text
        return out


def _begins(seen: list[tuple[int, float]]) -> NDArray[np.float64] | None:
    """Each contact's t_ms and when the boot began by it. None where they contradict each
    other: the host's clock was changed, and nobody knows which one was right."""
    table = np.array([(t_ms, host_ms - t_ms) for t_ms, host_ms in sorted(seen)], float)
    between = table[-1, 0] - table[0, 0]
    if np.ptp(table[:, 1]) > APART_MS + CRYSTAL * between:
        return None
    return table


def _out_of_order(begins: Mapping[int, NDArray[np.float64]]) -> list[int]:
    """Boots whose dates do not fit those of the others. A boot begins after all meetings in
    the boots before it; of the largest sets of boots that fit each other, those stay that
    are in every one: where one date stands against another, neither does."""
    if not begins:
        return []
    boots = np.array(list(begins))
    start = np.array([b[:, 1].max() for b in begins.values()]) + BACK_MS
    met = np.array([(b[:, 0] + b[:, 1]).max() for b in begins.values()])
    if np.all(start[1:] >= np.maximum.accumulate(met)[:-1]):
        return []
    up = _longest(start, met)
    down = _longest(-met[::-1], -start[::-1])[::-1]
    on_a_way = up + down == up.max() + 1
    counts = np.bincount(up[on_a_way], minlength=up.max() + 1)
    sure = on_a_way & (counts[up] == 1)
    return [int(boot) for boot in boots[~sure]]


def _longest(start: NDArray[np.float64], met: NDArray[np.float64]) -> NDArray[np.int64]:
    """Of each boot, how many fit in a row that ends with it."""
    out = np.ones(len(start), "i8")
    for i in range(1, len(start)):
        fits = met[:i] <= start[i]
        if fits.any():
            out[i] = out[:i][fits].max() + 1
    return out
