"""How many motors and which ratio a new rig file supposes where nobody said: such as work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite

import numpy as np

from steadyturn.errors import WrongInput
from steadyturn.model.batch import bands
from steadyturn.model.gears import ratio as ratio_of
from steadyturn.model.hazards import AFTER_A_FAULT, hazards
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.template import Answers, text_of, train_efficiency
from steadyturn.rig.types import Rig, Stage

MOTORS = (1, 2, 3, 4)  # more on one gear is rare: common practice, no source
RATIOS = np.arange(5.0, 101.0)
STEP_TPM = 5.0  # a band that is wider by less is not worth a motor more


def supposed(values: Mapping[str, float | int | str]) -> dict[str, float | int]:
    """motors and ratio with the widest band that breaks no rating, the rest as in `values` or
    usual; {} where both are known, or nothing within reach works so."""
    if {"motors", "ratio"} <= set(values) or values.get("load") == "none":
        return {}
    ratios = np.array([float(values["ratio"])]) if "ratio" in values else RATIOS
    counts = (int(values["motors"]),) if "motors" in values else MOTORS
    rated: list[tuple[float, int, float, float]] = []
    for motors in counts:
        try:
            rig = read_rig_text(text_of(Answers("guess", values, {"motors": motors})), "guess")
        except WrongInput:  # so many of them are no machine
            continue
        efficiency = np.array([train_efficiency(ratio)[1] for ratio in ratios])
        found = bands(rig, {"train.ratio": ratios, "train.efficiency": efficiency}, target=False,
                      fine=False)
        for i in np.nonzero(np.isfinite(found.low_tpm))[0].tolist():
            low_tpm, high_tpm = float(found.low_tpm[i]), float(found.high_tpm[i])
            geared = replace(rig, stages=(Stage(ratio=float(ratios[i]),
                                                efficiency=float(efficiency[i])),))
            if all(h.name in AFTER_A_FAULT for h in hazards(geared, high_tpm)):
                steps = round((high_tpm - low_tpm) / STEP_TPM)
                rated.append((-steps, motors, low_tpm - high_tpm, float(ratios[i])))
    if not rated:
        return {}
    _, motors, _, ratio = min(rated)
    return {"motors": motors, "ratio": ratio}


def ends(rig: Rig) -> tuple[float | None, float | None]:
    """Slowest and fastest pace [turns/min] that work, to 0.02; None, None where none does."""
    if rig.load.kind == "none":
        return None, None
    found = bands(rig, {"train.ratio": [ratio_of(rig.stages)]}, target=False, fine=False)
    low, high = float(found.low_tpm[0]), float(found.high_tpm[0])
    return (low, high) if isfinite(low) else (None, None)
