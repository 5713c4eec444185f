"""The charge pump that holds the load: how long after its last edge it lets go; circuit.md."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import exp, inf, log

import numpy as np

from steadyturn.circuit import standard
from steadyturn.rig.types import Rig

EDGE_S = 0.02  # firmware/states.md: one edge a tick
PIN_V, PIN_OHM = 3.3, 40.0  # a pin's own resistance: from memory
SERIES_OHM, EMPTY_OHM = 220.0, 2200.0  # R9, R10
COUPLING_F, HOLD_F = 5e-6, 1e-6  # C5 and C6 in series; C7
UPPER_OHM, LOWER_OHM = 82e3, 10e3  # R13, R14
DIODE_V, LEAK_A = 0.13, 0.3e-6  # a small Schottky diode at some uA, and backwards at 40 degC
DOUBLES_K = 10.0  # its leakage doubles in so many degrees: textbooks
# how far off each may be: data sheets of their kinds, from memory
FILM, RESISTOR, CERAMIC, DIODE, OFFSET_V = 0.05, 0.001, 0.3, 0.5, 0.005
# the hold time's middle stands this much above what a rig names, so that all of 120 ms' range
# lies between 100 and 150
ABOVE_S = 0.0145


@dataclass(frozen=True)
class Hold:
    """part_ohm: R11 and R12, each. full_v, low_v: C7 just after and just before a pulse;
    threshold_v. shortest_s, nominal_s, longest_s: from the last edge until the load is let
    go, every tolerance at its worst. Only rising edges charge: where the last one falls, the
    time has begun a tick before it."""

    part_ohm: float
    full_v: float
    low_v: float
    threshold_v: float
    shortest_s: float
    nominal_s: float
    longest_s: float


def hold(rig: Rig) -> Hold:
    """For the hold time that the rig names.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> made = hold(read_rig(example_path("lakeside-hut")))
    >>> made.part_ohm, round(made.shortest_s, 3), round(made.longest_s, 3)
    (140000.0, 0.1, 0.147)
    """
    return _hold(rig.switch.hold_s)


def hung_s(made: Hold, at_c: float) -> float:
    """The longest that a hung board holds the load where D12 is as warm as that and ALERT is
    pulled up: what leaks through D12 backwards feeds C7. Infinite where it alone holds.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> made = hold(read_rig(example_path("lakeside-hut")))
    >>> [round(1e3 * hung_s(made, at_c)) for at_c in (25.0, 40.0, 60.0)], hung_s(made, 90.0)
    ([148, 151, 165], inf)
    """
    return _hung_s(made.part_ohm / 2, LEAK_A * 2 ** ((at_c - 40.0) / DOUBLES_K))


@lru_cache(maxsize=64)
def _hung_s(ohm: float, leak_a: float) -> float:
    return max(_time_s(ohm, *signs, leak_a=-leak_a)[0] for signs in product((-1, 1), repeat=5))


@lru_cache(maxsize=64)
def _hold(hold_s: float) -> Hold:
    wanted = hold_s + ABOVE_S
    ohm = wanted / HOLD_F / 1.9
    for _ in range(6):  # the time is nearly in proportion
        ohm *= wanted / _time_s(ohm)[0]
    part = standard.nearest(2 * ohm, standard.E96)
    nominal, full, low = _time_s(part / 2)
    ends = [_time_s(part / 2, *signs, leak_a=leak)[0]
            for signs in product((-1, 1), repeat=5) for leak in (0.0, LEAK_A)]
    return Hold(part, full, low, PIN_V * LOWER_OHM / (UPPER_OHM + LOWER_OHM),
                min(ends) - EDGE_S, nominal - EDGE_S / 2, max(ends))


def _time_s(ohm: float, farad: int = 0, resistor: int = 0, coupling: int = 0, diode: int = 0,
            threshold: int = 0, *, leak_a: float = LEAK_A / 2) -> tuple[float, float, float]:
    """From the last rising edge [s], and C7's volts after and before a pulse; the integers
    are the signs of the tolerances."""
    hold_f, ohm = HOLD_F * (1 + farad * FILM), ohm * (1 + resistor * RESISTOR)
    peak_s, full, low = pulse(ohm, hold_f, COUPLING_F * (1 + coupling * CERAMIC),
                              DIODE_V * (1 + diode * DIODE))
    upper, lower = (UPPER_OHM * (1 - threshold * RESISTOR), LOWER_OHM * (1 + threshold * RESISTOR))
    least = PIN_V * lower / (upper + lower) + threshold * OFFSET_V
    towards = leak_a * ohm  # a leak draws C7 to below ground, as it were
    if least + towards <= 0:
        return inf, full, low
    return peak_s + ohm * hold_f * log((full + towards) / (least + towards)), full, low


def pulse(ohm: float, hold_f: float, coupling_f: float,
          diode_v: float) -> tuple[float, float, float]:
    """A rising edge in the steady run of pulses: when C7 is fullest [s], and its volts then
    and just before the edge. Linear while D3 conducts: the charge of the coupling
    capacitors and the volts of C7."""
    pin_ohm = SERIES_OHM + PIN_OHM
    matrix = np.array([[-1 / (coupling_f * pin_ohm), -1 / pin_ohm],
                       [1 / (hold_f * pin_ohm) * -1 / coupling_f,
                        -(1 / pin_ohm + 1 / EMPTY_OHM + 1 / ohm) / hold_f]])
    given = np.array([(PIN_V - diode_v) / pin_ohm,
                      ((PIN_V - diode_v) / pin_ohm - diode_v / EMPTY_OHM) / hold_f])
    # what the low half has left in them: D2 empties them to its drop, R10 the rest
    quick_s = coupling_f * pin_ohm * log(PIN_V / diode_v)
    left = coupling_f * diode_v * exp(-(EDGE_S - quick_s) / (coupling_f * (pin_ohm + EMPTY_OHM)))
    rest = np.linalg.solve(matrix, -given)
    rates, modes = np.linalg.eig(matrix)
    at = np.linspace(0.0, 6e-3, 601)
    waves = np.exp(np.outer(at, rates))
    low = 1.5
    for _ in range(12):
        start = np.linalg.solve(modes, np.array([left, low]) - rest)
        volts = rest[1] + waves @ (start * modes[1])
        top = int(np.argmax(volts))
        low = float(volts[top]) * exp(-(2 * EDGE_S - at[top]) / (ohm * hold_f))
    return float(at[top]), float(volts[top]), low
