"""Runs a day on a virtual board, and reckons after each loss of power."""

from __future__ import annotations

import resource
import time
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from typing import Any

from images import mounted, sound_pages
from life import Day
from reckoning import Totals, judge
from steadyturn.twin.readings import Boot
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages

LOOK_S = 2.0
HOUR_S = 3600.0
HEAP_AT_S = 15.0  # after the start of each boot,
HEAP_EVERY_S = 60.0  # and then so often


@dataclass(slots=True)
class Found:
    """What a series has shown. cycles: losses of power; boots: starts that were
    reckoned; resets: starts without a loss of power; wrong: each thing that was not as it
    has to be; most_lost_ms: from a boot's last stored page to its last tick."""

    cycles: int = 0
    boots: int = 0
    resets: int = 0
    ticks: int = 0
    pages: int = 0
    chosen: int = 0
    torn: int = 0
    most_lost_ms: int = 0
    wrong: list[str] = field(default_factory=list)
    heaps: list[tuple[float, int, int]] = field(default_factory=list)  # s into the boot, used, all
    heap_grown: list[int] = field(default_factory=list)  # within one start, bytes
    rss_kb: list[int] = field(default_factory=list)
    real_s: float = 0.0
    totals: Totals = field(default_factory=Totals)


def recent(image: bytes, after: int) -> list[bytes]:
    """Sound pages of samples with a number above `after`, in order."""
    system = mounted(image)
    found: dict[int, bytes] = {}
    names = system.listdir("/journal")
    tails = [f"{name}/p" for name in names if name[0] == "t" and "." not in name]
    logs = sorted((name for name in names if name.endswith(".log")), reverse=True)
    for name in (*tails, *logs):
        try:
            with system.open(f"/journal/{name}", "rb") as file:
                data = file.read()
        except FileNotFoundError:
            continue
        here = {n: page for n, page in sound_pages(data) if page[pages.AT_VERSION] == 1}
        found |= {n: page for n, page in here.items() if n > after}
        if name.endswith(".log") and here and min(here) <= after:
            break
    return [found[n] for n in sorted(found)]


class Series:
    def __init__(self, twin: Twin, settings: dict[str, Any], day: Day) -> None:
        self.twin, self.settings, self.day = twin, settings, day
        self.found = Found()
        self.readings = twin.record_readings()
        self._seq = 0
        self._asked_at = -1.0
        for kind, begin, end in day.faults:
            twin.bus.fault(kind, begin, end)

    def start_from(self, before: dict[int, bytes]) -> None:
        """What the flash holds already."""
        self._seq = max(before, default=0)
        if before:
            self.found.totals = Totals.of(before[self._seq])

    def run(self, length_s: float) -> Found:
        twin, found = self.twin, self.found
        plugs = list(self.day.plugs)
        began, told_s = time.monotonic(), twin.t_s
        while twin.t_s < length_s - 1e-6:  # time goes in whole microseconds
            goal = min(length_s, twin.t_s + LOOK_S)
            if plugs and plugs[0][0] <= goal:
                at, plugged = plugs.pop(0)
                twin.run(max(0.0, at - twin.t_s))
                twin.plugged = plugged
            else:
                twin.run(goal - twin.t_s)
            self._look()
            if twin.t_s >= told_s + HOUR_S:
                told_s = twin.t_s
                print(f"{told_s / 3600:.1f} h in {time.monotonic() - began:.0f} s, "
                      f"{found.pages} pages equal, {len(found.wrong)} wrong", flush=True)
        found.real_s = time.monotonic() - began
        truth = twin.truth
        found.torn, found.cycles = truth.torn, len(truth.deaths_s)
        found.resets = len(truth.boots_s) - len(truth.deaths_s) - (twin._engine.state != "off")
        return found

    def _look(self) -> None:
        engine = self.twin._engine
        on = engine.state != "off"
        if on and engine.boots:
            now, began = self.twin.t_s, engine.boots[-1]
            since = max(self._asked_at, began)
            if now - since > (HEAP_AT_S if since == began else HEAP_EVERY_S):
                self._asked_at = now
                self.twin.measure_heap()
        whole = self.readings.boots[: -1 if on else None]
        if whole:
            self.reckon(whole, self.readings.boots[len(whole) :])

    def reckon(self, ended: list[Boot], running: list[Boot]) -> None:
        """Everything that was stored by the starts that have ended since the last look."""
        found = self.found
        self.readings.boots[:] = running
        new = recent(self.twin.image.read_bytes(), self._seq)
        by_boot = [list(group) for _, group in groupby(
            new, lambda page: pages.get(page, pages.AT_BOOT, 3))]
        for boot in ended:
            found.boots += 1
            stored = by_boot.pop(0) if by_boot and boot.reads else []
            verdict = judge(boot, stored, self.settings, found.totals)
            if verdict.wrong:
                found.wrong.append(f"start at {boot.began_us / 1e6:.2f} s: {verdict.wrong}")
            if stored:
                self._numbers(stored)
            found.ticks += verdict.ticks
            found.pages += verdict.pages
            found.chosen += verdict.chosen
            found.most_lost_ms = max(found.most_lost_ms, verdict.last_ms)
        by_start: dict[float, list[int]] = {}
        for heap in self.twin.heaps:
            began_s = max(b for b in self.twin._engine.boots if b <= heap.t_s)
            found.heaps.append((heap.t_s - began_s, heap.used, heap.total))
            by_start.setdefault(began_s, []).append(heap.used)
        found.heap_grown += [used[-1] - used[0] for used in by_start.values() if len(used) > 1]
        self.twin.heaps.clear()
        found.rss_kb.append(rss_kb())

    def _numbers(self, stored: list[bytes]) -> None:
        """No number is missing and none comes twice; the newest page's totals go on."""
        numbers = [pages.get(page, pages.AT_SEQ, 4) for page in stored]
        if numbers != list(range(self._seq + 1, self._seq + 1 + len(stored))):
            self.found.wrong.append(
                f"{len(stored)} pages, {numbers[0]} to {numbers[-1]}, after {self._seq}")
        self._seq = numbers[-1]
        self.found.totals = Totals.of(stored[-1])


def rss_kb() -> int:
    """Of this process, now; where the system does not tell, its peak."""
    try:
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1])
    except OSError:
        pass
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
