"""The fastest pace that each build's speed and open-circuit ratings allow."""

from __future__ import annotations

from typing import Any

import numpy as np

from steadyturn.model import gears, motor
from steadyturn.model.converter import passes_when_off
from steadyturn.model.hazards import ADC_MAX_V, FASTEST_TPM, SENSOR_MAX_V, SPEED_UP
from steadyturn.model.kept import fastest_tpm
from steadyturn.model.motor import PEAK_OVER_MEAN
from steadyturn.rig.types import RPM, Rig
from steadyturn.rig.wiring import all_pins


def _bus(rig: Rig, rating_v: Any) -> Any:
    """Open-circuit volts up to which the bus stays within rating_v: a clamp holds it as far
    as it bears the power (`hazards._bus`, turned round)."""
    clamp, bears = rig.protection.bus_clamp_v, rig.protection.bus_clamp_w
    if clamp is None or bears is None:
        return rating_v
    ohm = (rig.bank.series / rig.bank.parallel
           * motor.ohm_at(rig.motor, rig.air.cold_c))  # bank.source_ohm
    holds_to = clamp + bears * ohm / clamp
    return np.where(np.less_equal(clamp, rating_v), np.maximum(rating_v, holds_to), rating_v)


def _converter_in(rig: Rig, rating_v: Any) -> Any:
    volts, cut = _bus(rig, rating_v), rig.protection.bus_cut_v
    if cut is not None and rig.switch.place == "bus_switch":
        volts = np.where(np.less_equal(cut, rating_v), np.inf, volts)
    return volts


def _passed(rig: Rig, rating_v: Any, drop_v: Any) -> Any:
    volts, cut = _converter_in(rig, rating_v + drop_v), rig.protection.bus_cut_v
    isolates = rig.switch.place == "output_switch" or (
        rig.switch.place == "enable" and not passes_when_off(rig.converter))
    if cut is not None and isolates:
        volts = np.where(np.less_equal(cut, rating_v + drop_v), np.inf, volts)
    volts = np.where(np.less(rating_v, rig.converter.out_v), -np.inf, volts)
    if rig.protection.output_cut_v is not None:
        volts = np.where(np.less_equal(rig.protection.output_cut_v, rating_v), np.inf, volts)
    return volts


def most_v(rig: Rig) -> list[tuple[str, Any]]:
    """Names of `hazards.ratings` with the open-circuit volts up to which each holds.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> most_v(hut)[:2]
    [('open_circuit_capacitor', 35.0), ('open_circuit_sensor', 36.0)]
    """
    found = [
        ("open_circuit_capacitor", _bus(rig, rig.bus.capacitor_max_v)),
        ("open_circuit_sensor", _bus(rig, SENSOR_MAX_V[rig.sensor.chip])),
        ("open_circuit_converter", _converter_in(rig, rig.converter.max_in_v)),
    ]
    if all_pins(rig.board.kind, rig.board.pins)["bus_adc_pin"] >= 0:
        found.append(("open_circuit_adc", _bus(rig, ADC_MAX_V * rig.sensor.divider)))
    if rig.rectifier.kind != "none":
        found.append(("open_circuit_rectifier", _bus(rig, rig.rectifier.max_v)))
    if rig.switch.place == "bus_switch":
        found.append(("open_circuit_switch", _bus(rig, rig.switch.max_v)))
    if rig.converter.kind == "boost":
        drop = rig.converter.pass_drop_v
        found.append(("open_circuit_device", _passed(rig, rig.load.max_v, drop)))
        if rig.switch.place == "output_switch":
            found.append(("open_circuit_switch", _converter_in(rig, rig.switch.max_v + drop)))
    elif rig.load.kind != "none":
        found.append(("open_circuit_device_fault", _passed(rig, rig.load.max_v, 0.0)))
    return found


def highest_tpm(rig: Rig, names: tuple[str, ...]) -> tuple[Any, Any]:
    """Pace [turns/min] below which comfort, motor speed and the open-circuit ratings all
    hold, and the index in `names` of the one that ends it. A rating that the fastest hand
    breaks in any case is no limit, as in `limits`.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> tpm, which = highest_tpm(hut, LIMIT_NAMES)
    >>> float(tpm), LIMIT_NAMES[which]
    (90.0, 'comfort_high')
    """
    ratio = gears.ratio(rig.stages)
    cold = motor.magnets(rig.air.cold_c)
    per_tpm = PEAK_OVER_MEAN * rig.bank.series * motor.emf_constant(rig.motor) * cold * ratio * RPM
    fast: Any = fastest_tpm(rig)
    which: Any = names.index("comfort_high")
    # in the order of `limits`, the last comer only where it is stricter
    rows: list[tuple[str, Any]] = [
        (name, np.where(v < FASTEST_TPM * per_tpm, np.inf, v / (SPEED_UP * per_tpm)))
        for name, v in most_v(rig)]
    rows.append(("motor_speed", rig.motor.max_rad_s / (ratio * RPM)))
    for one, tpm in rows:
        which = np.where(tpm < fast, names.index(one), which)
        fast = np.minimum(fast, tpm)
    return fast, which
