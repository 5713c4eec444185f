"""The button: one contact to ground, debounced in whole ticks.

A short press is told when it ends, a long and a very long one as soon as they are.
A button that is held while the board starts means something else: it counts only
after it has been let go.
"""

from machine import Pin

SHORT = 1
LONG = 2
VERY_LONG = 3
STEADY_TICKS = 2  # so long the other way before it counts: contacts bounce for some ms
LONG_MS = 1000
VERY_LONG_MS = 5000


class Button:
    def __init__(self, pin):
        """A pin that the board lacks raises ValueError."""
        # bound once: taking a method as a value allocates
        self.read = Pin(pin, Pin.IN, Pin.PULL_UP).value
        self.level = 0  # debounced; low is pressed
        self.other = 0  # ticks that it has been the other way
        self.held_ms = VERY_LONG_MS  # nothing more to tell until it has been let go

    def update(self, ms):
        """One tick: SHORT, LONG, VERY_LONG, or 0."""
        level = self.read()
        if level == self.level:
            self.other = 0
            return 0 if level else self._held(ms)
        self.other += 1
        if self.other < STEADY_TICKS:
            return 0
        self.level = level
        self.other = 0
        held = self.held_ms
        self.held_ms = 0
        return SHORT if level and held < LONG_MS else 0

    def _held(self, ms):
        before = self.held_ms
        if before >= VERY_LONG_MS:
            return 0
        self.held_ms = min(before + ms, VERY_LONG_MS)
        if before < LONG_MS <= self.held_ms:
            return LONG
        return VERY_LONG if self.held_ms == VERY_LONG_MS else 0
