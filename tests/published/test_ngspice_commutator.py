"""What a commutator's EMF leaves behind diode and capacitor under load, by ngspice.

The EMF is the crest of the phases of 3 or 5 slots; ngspice finds the mean volts, and with them
which part of the peak's excess over the mean the capacitor has kept.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
import spice
from steadyturn.bench.crest import expected, kept
from steadyturn.bench.setup import peak_over_mean

E, R = 6.0, 3.0  # mean EMF and source resistance
PER_EMISSION = 0.05  # of the diode: its drop hardly depends on the current then
LOADS = (0.003, 0.01, 0.02, 0.04, 0.08, 0.15, 0.3)  # volts in R, as shares of E


def simulated(slots: int, rpm: float, farad: float, henry: float, load: float
              ) -> tuple[float, float]:
    """(y, p) of steadyturn.bench.crest."""
    angle = math.pi / (2 * slots)
    factor = peak_over_mean(slots)[0]
    period_s = 2 * angle / (rpm * 2 * math.pi / 60)
    ohm = (1 / load - 1) * R
    settle = max(8 * farad * R * ohm / (R + ohm), 20 * period_s)
    per_s = 2 * angle / period_s
    netlist = "\n".join([
        f"B1 e 0 V = {E * factor}*cos({per_s}*time-{2 * angle}*"
        f"floor({per_s}*time/{2 * angle}+0.5))",
        f"R1 e a {R}", f"L1 a b {max(henry, 1e-9)}", "D1 b c DX",
        f".model DX D(is=1e-9 n={PER_EMISSION})", f"C1 c 0 {farad} ic={E * (1 - load)}",
        f"R2 c 0 {ohm}"])
    got = spice.run(netlist, f"tran {period_s / 100} {settle + 20 * period_s} {settle} "
                    f"{period_s / 100} uic", ["v(c)"], ".options reltol=1e-4")
    time, volts = got["at"], got["v(c)"]
    mean = float(np.sum((volts[1:] + volts[:-1]) / 2 * np.diff(time)) / (time[-1] - time[0]))
    amps = mean / ohm
    drop = PER_EMISSION * 0.025852 * math.log(amps / 1e-9)
    excess = factor - 1
    return amps * R / (excess * E), (mean + amps * R + drop - E) / (excess * E)


@pytest.mark.ngspice
@pytest.mark.parametrize(("slots", "rpm"), [(3, 3000.0), (5, 1500.0)])
def test_a_large_capacitor_keeps_what_the_law_says(slots: int, rpm: float) -> None:
    for load in LOADS[::2]:
        y, p = simulated(slots, rpm, 2.2e-3, 0.0, load)
        assert p == pytest.approx(float(kept(y)), abs=0.03), load


@pytest.mark.soak
@pytest.mark.ngspice
@pytest.mark.parametrize(("slots", "rpm"), [(3, 1500.0), (3, 3000.0), (5, 1500.0), (5, 3000.0)])
def test_any_capacitor_and_winding_keep_what_is_expected(slots: int, rpm: float) -> None:
    worst = 0.0
    for farad, henry, load in product((2.2e-4, 1e-3, 4.7e-3), (0.0, 5e-4, 2e-3), LOADS):
        y, p = simulated(slots, rpm, farad, henry, load)
        middle, sigma = (float(x) for x in expected(y))
        worst = max(worst, abs(p - middle) / (sigma + 0.02))
        assert abs(p - middle) < 2 * sigma + 0.05, (farad, henry, load)
    print(slots, rpm, round(worst, 2))
