"""Which settings were in force in which boot.

Each boot's first page tells the low half of the CRC of its settings (event `settings`), and each
contact with a host left their text in the library. A boot whose settings nobody saw is taken to
have had those that are shown (the ones of the last contact).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

Settings = Mapping[str, Any]


def crc_low(text: bytes) -> int | None:
    """The low half of the CRC that stands in a settings file; None where none does.

    >>> crc_low(b'{"crc": "1a2b3c4d", "settings":')
    15437
    """
    head = text[:17]
    if len(head) < 17 or not head.startswith(b'{"crc": "'):
        return None
    try:
        return int(head[9:17], 16) & 0xFFFF
    except ValueError:
        return None


def by_boot(events: NDArray[Any], known: Iterable[tuple[bytes, Settings]]) -> dict[int, Settings]:
    """Boot number -> its settings, where they are known. events: of decode.EVENT; known: texts
    of settings files and what was read from them, the newer of two with one CRC wins."""
    texts = {low: read for text, read in known if (low := crc_low(text)) is not None and read}
    told = events[np.isin(events["code"], (layout.EV_SETTINGS, layout.EV_PREVIOUS_SETTINGS))]
    return {boot: texts[argument] for boot, argument in
            zip(told["boot"].tolist(), told["argument"].tolist(), strict=True)
            if argument in texts}


def column(
    boot: NDArray[Any], of_boots: Mapping[int, Settings], default: Settings, name: str
) -> NDArray[np.float64]:
    """The setting `name` for each row by its boot, NaN where there is none."""
    fallback = default.get(name, np.nan)
    numbers, rows = np.unique(boot, return_inverse=True)
    values = [of_boots.get(number, default).get(name, fallback) for number in numbers.tolist()]
    return np.array(values, float)[rows.reshape(-1)] if len(boot) else np.zeros(0)
