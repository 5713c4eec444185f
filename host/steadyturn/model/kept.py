"""The paces that the person keeps to: comfortable ones, narrowed by what outings showed."""

from __future__ import annotations

from typing import Any

import numpy as np

from steadyturn.rig.types import Rig


def slowest_tpm(rig: Rig) -> Any:
    """The slowest that may be in the band [turns/min]: comfortable, and not below [band]'s own
    edge. Shaped like the rig's values.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from dataclasses import replace
    >>> from steadyturn.rig.types import Kept
    >>> float(slowest_tpm(hut)), float(slowest_tpm(replace(hut, band=Kept(low_tpm=58.0))))
    (40.0, 58.0)
    """
    kept = rig.band.low_tpm
    comfort = rig.arm.comfort_low_tpm
    return comfort if kept is None else np.maximum(comfort, kept)


def fastest_tpm(rig: Rig) -> Any:
    """The same at the fast end [turns/min].

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> float(fastest_tpm(read_rig(example_path("lakeside-hut"))))
    90.0
    """
    kept = rig.band.high_tpm
    comfort = rig.arm.comfort_high_tpm
    return comfort if kept is None else np.minimum(comfort, kept)


def why_slowest(rig: Rig) -> str:
    """Why no slower, in words.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> why_slowest(read_rig(example_path("lakeside-hut")))
    'slower is a jerky pace for an arm'
    """
    if slowest_tpm(rig) > rig.arm.comfort_low_tpm:
        return "the rig file's [band] begins here, as outings showed or its maker wished"
    return "slower is a jerky pace for an arm"


def why_fastest(rig: Rig) -> str:
    """Why no faster, in words.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> why_fastest(read_rig(example_path("lakeside-hut")))
    'faster tires an arm for nothing'
    """
    if fastest_tpm(rig) < rig.arm.comfort_high_tpm:
        return "the rig file's [band] ends here, as outings showed or its maker wished"
    return "faster tires an arm for nothing"
