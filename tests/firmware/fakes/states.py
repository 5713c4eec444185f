"""Readings that bring the loop into each of its states: name, mV, mA, cue."""

from steadyturn_fw import pages

STATES = (
    ("rest", 300, 0, 0), ("faster", 4000, 0, pages.FASTER), ("open", 7500, 0, pages.HOLD),
    ("hold", 6500, 500, pages.HOLD), ("slower", 8800, 600, pages.SLOWER),
    ("stop", 12500, 0, pages.STOP),
)
