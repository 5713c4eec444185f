"""Which pins a board uses: its kind's own, and those that the rig names."""

from __future__ import annotations

from collections.abc import Mapping

from steadyturn_fw.boards import BOARDS, COLUMNS, OTHER


def all_pins(kind: str, pins: Mapping[str, int]) -> dict[str, int]:
    """Every name of COLUMNS: the rig's own pins over those of the board's kind.

    >>> all_pins("pico", {"lamp_pin": 2})["lamp_pin"]
    2
    """
    return {**dict(zip(COLUMNS, BOARDS.get(kind, OTHER), strict=True)), **pins}
