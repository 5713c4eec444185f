"""Outings for the review's page: a hand that wanders, boots, gaps, faults, written as pages."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from steadyturn_fw import pages as layout

for room in ("sessions", "jobs"):
    sys.path.insert(0, str(Path(__file__).parents[1] / room))
from page_maker import make_page, shift_for  # noqa: E402


class Hand:
    """Writes samples of a simple machine (0.115 V per turn/min, 0.9 ohm, 2.6 W of load) as a
    board would, with running totals."""

    def __init__(self, seed: int = 1) -> None:
        self.rng = np.random.default_rng(seed)
        self.seq, self.boot, self.t_ms, self.page_ms = 1, 1, 0, 0
        self.connected = 0
        self.rows, self.events, self.pages = [], [], []
        self.totals = dict.fromkeys(
            ("energy_in", "energy_out", "charge", "turns", "on", "band", "connected",
             "connections", "faults"), 0)
        self.event(layout.EV_BOOT)

    def event(self, code: int, argument: int = 0) -> None:
        self.events.append((code, (self.t_ms - self.page_ms) // 10, argument))
        self.totals["faults"] += code == layout.EV_FAULT
        self.totals["connections"] += code == layout.EV_CONNECTED

    def stall(self) -> None:
        self._add(None)

    def blind(self, seconds: float) -> None:
        """Neither sensor nor volts can be read."""
        for _ in range(round(seconds * 5)):
            self.totals["on"] += 1
            self._add((0, 0, 0, layout.STOP, 0, layout.NO_SENSOR))

    def sample(self, pace: float) -> None:
        volts = pace * 0.115 - 0.3
        amps = 2.6 / max(volts, 2.5) if self.connected else 0.008
        mv, ma = max(0, round(1000 * (volts - 0.9 * amps))), round(1000 * amps)
        if not self.connected and mv > 5000 and pace >= 46:
            self.connected = 1
            self.event(layout.EV_CONNECTED)
        elif self.connected and (mv < 3600 or pace > 95):
            self.connected = 0
            self.event(layout.EV_RELEASED,
                       layout.WHY_LOW_BUS if mv < 3600 else layout.WHY_OVER_SPEED)
        cue = next(cue for below, cue in ((15, layout.REST), (50, layout.FASTER),
                                          (75, layout.HOLD), (92, layout.SLOWER),
                                          (1e9, layout.STOP)) if pace < below)
        valid = layout.VALID if ma > 60 else layout.BOUND
        uj, totals = mv * ma // 5, self.totals
        totals["energy_in"] += uj
        totals["energy_out"] += uj * 88 // 100 if self.connected else 0
        totals["charge"] += ma * 200
        totals["turns"] += round(pace * 200 / 60) if valid == layout.VALID else 0
        totals["on"] += 1
        totals["band"] += 50 <= pace <= 75
        totals["connected"] += self.connected
        self._add((mv, ma, round(pace * 2), cue, self.connected, valid))

    def crank(self, seconds: float, target: float = 62, wander: float = 6,
              stalls: float = 0.0) -> None:
        pace, drift = 10.0, 0.0
        for n, (push, busy) in enumerate(zip(
                self.rng.normal(size=round(seconds * 5)).tolist(),
                self.rng.random(round(seconds * 5)).tolist(), strict=True)):
            drift += -0.02 * drift + push * wander * 0.2
            pace = max(0.0, pace + (min(target, 10 + 1.2 * n) + drift - pace) * 0.4)
            if busy < stalls:
                self.stall()
            else:
                self.sample(pace)

    def _add(self, row) -> None:
        self.rows.append(row)
        self.t_ms += layout.SAMPLE_MS
        if len(self.rows) == layout.SAMPLES:
            self.flush()

    def flush(self, flags: int = 0) -> None:
        if not self.rows and not self.events:
            return
        live = [row for row in self.rows if row] or [(0, 0)]
        peak_mv, peak_ma = (max(row[i] for row in live) for i in (0, 1))
        shift = shift_for(peak_mv + 40, layout.BITS_BUS)
        self.pages.append(make_page(
            self.seq, boot=self.boot, t0_ms=self.page_ms, shifts=(shift, 0), flags=flags,
            samples=[row and (row[0] >> shift, row[1], row[2], 4, 2, *row[3:])
                     for row in self.rows],
            events=self.events[: layout.EVENTS],
            totals=self.totals | {"peak_mv": peak_mv + 40, "peak_ma": peak_ma}))
        self.seq += 1
        self.rows, self.events = [], self.events[layout.EVENTS :]
        self.page_ms = self.t_ms

    def rest(self, flags: int = layout.FLAG_FADING) -> None:
        """The power goes; the next boot begins."""
        self.flush(flags)
        self.boot += 1
        self.t_ms = self.page_ms = self.connected = 0
        self.rows, self.events = [], []
        self.event(layout.EV_BOOT)


def three_boots() -> list[bytes]:
    hand = Hand(7)
    for n in range(3):
        hand.crank(60 + 20 * n, wander=9)
        hand.rest()
    return hand.pages


def many_boots(count: int = 34) -> list[bytes]:
    """Short boots with stalls and missing pages, some cut off."""
    hand = Hand(2)
    for n in range(count):
        hand.crank(float(hand.rng.integers(20, 60)), stalls=0.02, wander=12)
        if n % 5 == 4:
            del hand.pages[-3:-1]
        hand.rest(0 if n % 4 == 3 else layout.FLAG_FADING)
    return hand.pages


def only_faults() -> list[bytes]:
    hand = Hand(4)
    for _ in range(3):
        for number in (1, 2, 3, 6, 99):
            hand.event(layout.EV_FAULT, number)
        hand.blind(12)
        hand.rest(0)
    return hand.pages


def long_boot(hours: float = 10.0) -> list[bytes]:
    hand = Hand(3)
    hand.crank(hours * 3600, stalls=0.001, wander=8)
    hand.rest()
    return hand.pages


def nothing() -> list[bytes]:
    hand = Hand(6)
    hand.event(layout.EV_HOST, 1)
    hand.rest(layout.FLAG_FLUSHED)
    return hand.pages


def history(shelve, folder, count: int = 8, **more) -> None:
    """So many outings, each ended by a pull, a little better each time."""
    hand = Hand(21)
    done = 0
    for n in range(count):
        for _ in range(1 + n % 2):
            hand.crank(70 + 5 * n, target=58 + n, wander=5 + 2 * (n % 3))
            hand.rest()
        shelve(folder, hand.pages[done:], host_s=1.7e9 + 86400 * 3 * n, **more)
        done = len(hand.pages)
