"""A lamp as a screen may show it: its own rhythm, but never more than three flashes a second.

Whatever a rig, a fault or a frame that came late makes of the pattern, a large bright area must
not flash faster: WCAG 2.2, success criterion 2.3.1, "three flashes or below threshold".
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

MOST = 3  # flashes within
WITHIN_S = 1.0
LIT = 0.02  # above this share of full brightness it is lit, as for the eye in twin.watcher


class CalmLamp:
    """lit: what is shown now."""

    def __init__(self) -> None:
        self.lit = False
        self._begun: deque[float] = deque()

    def show(self, now_s: float, changes: Iterable[tuple[float, float]], light: float) -> bool:
        """What this frame shows: `light`, or a change since the last frame that has gone again
        already, for this one frame. changes: (s, 0 to 1); now_s of a steady clock."""
        want = light > LIT
        if want == self.lit and any((each > LIT) != self.lit for _, each in changes):
            want = not want
        if want != self.lit:
            if want and not self._may_begin(now_s):
                return self.lit
            self.lit = want
        return self.lit

    def _may_begin(self, now_s: float) -> bool:
        while self._begun and now_s - self._begun[0] >= WITHIN_S:
            self._begun.popleft()
        if len(self._begun) >= MOST:
            return False
        self._begun.append(now_s)
        return True
