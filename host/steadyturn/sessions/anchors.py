"""From a board's time to the world's, where a meeting with a host tells it.

A board has no clock that runs without power. At each contact it was t_ms into a boot when the
host's clock stood at host_s: that dates every moment of that boot, and no moment of another.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.library import LATEST_S, Contact

# Contacts of one boot may differ by how long the question took and by the board's crystal.
APART_MS = 2000.0  # common practice, no source: a slow answer of the link
CRYSTAL = 100e-6  # common practice, no source: twice the 50 ppm of an ordinary crystal


class Anchors:
    """The dated boots of one board (one journal of it)."""

    def __init__(self, contacts: Iterable[Contact]) -> None:
        by_boot: dict[int, list[tuple[int, float]]] = {}
        for contact in contacts:
            by_boot.setdefault(contact.boot, []).append((contact.t_ms, contact.host_s * 1000))
        self._begins = {boot: found for boot, seen in by_boot.items()
                        if (found := _begins(seen)) is not None}

    @property
    def boots(self) -> frozenset[int]:
        return frozenset(self._begins)

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
