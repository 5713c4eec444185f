"""What converter, switch and cable keep, as the board reckons it, sample by sample."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.flow import SAMPLE_S, Flow

Floats = NDArray[np.float64]

NEEDED = ("out_mv", "loss_uw", "loss_mv", "loss_mohm", "path_mohm", "out_shunt_uohm", "coil")
# which value of the rig file each part follows
KEYS = {"constant": "converter.loss_w", "per_ampere": "converter.loss_v",
        "per_square": "converter.loss_ohm", "headroom": "", "path": "load.cable_m"}
ROUNDS = 12  # the output's current and the losses that follow it settle in a few


def parts_w(settings: Mapping[str, Any], volts: Floats, amps: Floats) -> dict[str, Floats]:
    """Losses [W] by the names of KEYS at these volts and amps into the converter, load
    connected; the law is that of steadyturn_fw.tally.Losses, without its rounding.

    >>> boost = {"coil": "in", "out_mv": 5000, "loss_uw": 40_000, "loss_mv": 250,
    ...          "loss_mohm": 150, "path_mohm": 100, "out_shunt_uohm": 0}
    >>> found = parts_w(boost, np.array([4.0]), np.array([0.5]))
    >>> {name: float(w.round(4)[0]) for name, w in found.items() if name != "path"}
    {'constant': 0.04, 'per_ampere': 0.125, 'per_square': 0.0375, 'headroom': 0.0}
    """
    out_v = settings["out_mv"] / 1000
    constant = settings["loss_uw"] / 1e6
    per_a, per_square = settings["loss_mv"] / 1000, settings["loss_mohm"] / 1000
    path_ohm = settings["path_mohm"] / 1000 + settings["out_shunt_uohm"] / 1e6
    in_w = volts * amps
    zero = np.zeros_like(in_w)
    if settings["coil"] == "linear":
        held_v = np.minimum(out_v, volts)
        out_w = np.maximum(held_v * amps - constant * held_v / np.maximum(volts, 1e-9), 0.0)
        kept = in_w - out_w
        lost = {"constant": np.minimum(constant, kept), "per_ampere": zero, "per_square": zero}
        lost["headroom"] = kept - lost["constant"]
    else:
        out_a = in_w / out_v
        for _ in range(ROUNDS):
            coil = {"in": amps, "out": out_a, "larger": np.maximum(amps, out_a)}[settings["coil"]]
            lost_w = constant + per_a * coil + per_square * coil**2
            out_a = np.maximum(in_w - lost_w, 0.0) / out_v
        out_w = out_a * out_v
        share = np.divide(in_w - out_w, lost_w, out=np.ones_like(in_w), where=lost_w > 0)
        lost = {"constant": constant * share, "per_ampere": per_a * coil * share,
                "per_square": per_square * coil**2 * share, "headroom": zero}
    lost["path"] = np.minimum((out_w / out_v) ** 2 * path_ohm, out_w)
    return lost


def parts_j(settings: Mapping[str, Any], flow: Flow) -> dict[str, float] | None:
    """The same over all samples with the load connected [J]; None without settings."""
    if any(name not in settings for name in NEEDED):
        return None
    volts, amps = flow.volts[flow.connected], flow.amps[flow.connected]
    return {name: float(watts.sum()) * SAMPLE_S
            for name, watts in parts_w(settings, volts, amps).items()}
