"""Hardware that plays steps on a pin by itself: it goes on whatever the program waits for."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from steadyturn.twin.bus_faults import NEVER

US_BITS = 25


class Players:
    """put: sets a pin's share of time at high level; called when a step begins."""

    def __init__(self, put: Callable[[int, int, float], None]) -> None:
        self._put = put
        self._waiting: dict[int, deque[tuple[int, float]]] = {}  # by pin: us, share
        self._ends: dict[int, int] = {}  # by pin: when the step that stands is over
        self.next_us = NEVER

    def clear(self, pin: int = -1) -> None:
        """Stop as it is: one pin, or all."""
        for each in [pin] if pin >= 0 else list(self._waiting):
            self._waiting.pop(each, None)
            self._ends.pop(each, None)
        self._look()

    def add(self, t_us: int, pin: int, value: int) -> None:
        """A step behind those that wait: percent << US_BITS | us."""
        waiting = self._waiting.setdefault(pin, deque())
        waiting.append((value & (1 << US_BITS) - 1, (value >> US_BITS) / 100))
        if pin not in self._ends:
            self._begin(t_us, pin)
        self._look()

    def step(self) -> None:
        """What is due at next_us."""
        at_us = self.next_us
        for pin, end in list(self._ends.items()):
            if end <= at_us:
                self._begin(end, pin)
        self._look()

    def _begin(self, t_us: int, pin: int) -> None:
        waiting = self._waiting[pin]
        if not waiting:
            del self._ends[pin]  # it stays as it is
            return
        us, share = waiting.popleft()
        self._ends[pin] = t_us + us
        self._put(t_us, pin, share)

    def _look(self) -> None:
        self.next_us = min(self._ends.values(), default=NEVER)
