"""How much plastic a printed wheel takes: rim, web, hub. What `solids` makes has this shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

RIM_MODULES = 3.0  # under the roots: common practice, no source
HUB_MM = 12.0  # radius of a hub about an 8 mm axle
WEB_SHARE, LEAST_WEB_MM = 0.3, 3.0  # of the width
SOLID_MM = 22.0  # wheels with a smaller tip radius have no web
CM3_PER_HOUR = 20.0  # of a part, 60 % filled, 0.4 mm nozzle: common practice, no source; 10 to 40


def web_mm(width_mm: float) -> float:
    """Thickness of the web of a wheel so wide.

    >>> web_mm(20), web_mm(6)
    (6.0, 3.0)
    """
    return max(LEAST_WEB_MM, WEB_SHARE * width_mm)


def wheel_cm3(tip_mm: ArrayLike, module_mm: ArrayLike, width_mm: ArrayLike
              ) -> NDArray[np.float64]:
    """About so much plastic [cm3] of a wheel with a rim, a web and a hub.

    >>> wheel_cm3([10.0, 60.0], 2.0, 20.0).round(1).tolist()
    [3.8, 109.2]
    """
    tip, module, width = (np.asarray(x, dtype=float) for x in (tip_mm, module_mm, width_mm))
    middle = tip - 1.125 * module  # half way up the teeth: as much tooth as space
    inner = np.maximum(middle - (1.25 + RIM_MODULES) * module, 0.0)
    web = np.maximum(LEAST_WEB_MM, WEB_SHARE * width)
    solid = np.pi * middle**2 * width
    hollow = np.pi * np.maximum(inner**2 - HUB_MM**2, 0.0) * (width - web)
    return (solid - hollow * (tip > SOLID_MM)) / 1000
