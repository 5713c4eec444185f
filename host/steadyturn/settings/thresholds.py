"""Where the board connects and releases the load, and when it is too much.

Each threshold is found from the rig's own model and says why it stands there. All
are in SI (volts at the converter's input, paces of the handle); `build` rounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steadyturn.errors import Failed
from steadyturn.model import gears, thermal
from steadyturn.model.band import Band
from steadyturn.model.hazards import SENSOR_MAX_V
from steadyturn.model.point import Points, operate
from steadyturn.rig import sensors
from steadyturn.rig.types import RPM, Rig

SAFE = 0.95  # of a rating: readings are off by a few percent at most
ABOVE_STOP = 1.03  # the release stands this far above the converter's own threshold
ROOM = 0.35  # of the way from collapse to the slowest good pace
OVER_SPEED = 1.25
OVER_CURRENT = 1.25
OUT_GAIN, OUT_OFFSET_V, OUT_STEP_V = 0.0025, 0.016, 0.008  # INA3221's bus: data sheet, largest


@dataclass(frozen=True)
class Thresholds:
    """Volts at the converter's input, paces in turns/min, currents into the converter."""

    connect_v: float
    connect_tpm: float
    release_v: float
    over_v: float
    over_out_v: float | None  # measured output; None: not measured, or no device
    over_a: float
    over_tpm: float
    most_a: float  # the largest steady current in the band


@dataclass(frozen=True)
class Paces:
    """The band's three paces in turns/min, of a band that is not empty."""

    low: float
    target: float
    high: float


def paces(rig: Rig, band: Band) -> Paces:
    """Raises Failed, with what clashes, where there is no band."""
    if band.low_tpm is None or band.target_tpm is None or band.high_tpm is None:
        between = f": {band.clash[0]} and {band.clash[1]} clash" if band.clash else ""
        raise Failed(
            f"No pace works for {rig.name}{between}; there is nothing to set a board to.",
            "'steadyturn pace' shows every limit and what would part them.",
        )
    return Paces(band.low_tpm, band.target_tpm, band.high_tpm)


def thresholds(rig: Rig, band: Band) -> Thresholds:
    """All of them. Raises Failed, naming the two that clash, where no order is possible."""
    edges = paces(rig, band)
    hot = _loaded(rig, np.linspace(edges.low, edges.high, 25), hot=True)
    cold = _loaded(rig, np.linspace(edges.low, edges.high, 25), hot=False)
    most_a = float(max(np.nanmax(hot.bus_a), np.nanmax(cold.bus_a), 0.001))
    _output_is_read(rig, float(max(np.nanmax(hot.out_a), np.nanmax(cold.out_a))))
    over_v, over_why = _over_v(rig)
    connect_v, connect_tpm = _connect(rig, edges, over_v, over_why)
    settled_v = float(_loaded(rig, np.array([connect_tpm]), hot=True).bus_v[0])
    release_v = min(_release_v(rig, band, float(np.nanmin(hot.bus_v)), settled_v), connect_v)
    return Thresholds(
        connect_v=connect_v,
        connect_tpm=connect_tpm,
        release_v=release_v,
        over_v=over_v,
        over_out_v=_over_out_v(rig),
        over_a=_over_a(rig, most_a),
        over_tpm=_over_tpm(rig, edges.high),
        most_a=most_a,
    )


def _loaded(rig: Rig, pace: np.ndarray, *, hot: bool) -> Points:
    if hot:
        winding_c, _ = thermal.settled_c(rig, pace, rig.air.hot_c)
    else:
        winding_c = np.full(pace.shape, rig.air.cold_c)
    return operate(rig, pace, winding_c=winding_c)


def _idle_v(rig: Rig, pace: float, winding_c: float) -> float:
    """Bus with only the board on it, V."""
    return float(operate(rig, pace, winding_c=winding_c).idle_v)


def _over_v(rig: Rig) -> tuple[float, str]:
    """Bus above which the load is released, and what it spares.

    The smallest rating of all that sees the bus. A boost passes its input above its set
    point: there the device's limit counts, less the drop on the way, which is taken at
    its smallest; hardware that cuts the output acts on its own and changes nothing here.
    """
    found = [
        (SAFE * rig.bus.capacitor_max_v, "the bus capacitor"),
        (SAFE * SENSOR_MAX_V[rig.sensor.chip], "the sensor's bus pin"),
        (SAFE * rig.converter.max_in_v, "the converter's input"),
    ]
    if rig.sensor.chip == "adc":  # nothing else would tell of more
        found.append((SAFE * sensors.ADC_FULL_V * rig.sensor.divider, "the ADC's divider"))
    if rig.rectifier.kind != "none":
        found.append((SAFE * rig.rectifier.max_v, "the rectifier"))
    if rig.switch.place == "bus_switch":
        found.append((SAFE * rig.switch.max_v, "the bus switch"))
    if rig.protection.bus_cut_v is not None:
        found.append((0.98 * rig.protection.bus_cut_v, "the bus cut"))
    if rig.converter.kind == "boost" and rig.load.kind != "none":
        origin = getattr(rig, "origins", {}).get("converter.pass_drop_v")
        drop = rig.converter.pass_drop_v if origin is None else origin.low
        found.append((rig.load.max_v + drop, "the device, through the boost"))
    return min(found)


def over_limit_v(rig: Rig) -> float:
    """Bus above which the firmware, and the sensor's alert, release the load."""
    return _over_v(rig)[0]


def _over_out_v(rig: Rig) -> float | None:
    """Measured converter output above which the load is released: what the device bears
    less the reading's largest error, or, where the set point is as near, half-way."""
    if rig.sensor.out_shunt_ohm is None or rig.load.kind == "none":
        return None
    most_v, set_v = rig.load.max_v, rig.converter.out_v
    error_v = OUT_GAIN * most_v + OUT_OFFSET_V + OUT_STEP_V
    return max(most_v - error_v, (most_v + set_v) / 2)


def _connect(rig: Rig, band: Paces, over_v: float, over_why: str) -> tuple[float, float]:
    """Where the machine can carry the load: a little inside the band's low edge, where
    starting, holding and the window hold already, and the volts that the bus then has
    with nothing connected, less 3 %, but never below where the converter starts."""
    air_c = rig.air.hot_c
    low_v = _idle_v(rig, band.low, rig.air.cold_c)
    if low_v >= over_v:
        raise Failed(
            f"Settings cannot be made: at {band.low:.0f} turns/min, where the load could be "
            f"connected, the unloaded bus stands at {low_v:.1f} V, and above {over_v:.1f} V it "
            f"must be released to spare {over_why}.",
            "A source that sags less parts the two: more motors in parallel, a lower gear "
            "ratio, or a converter that regulates above its set point (buck-boost).",
        )
    pace = band.low + 0.3 * (band.target - band.low)
    for _ in range(40):  # an unloaded bus must not stand above its own limit
        if _idle_v(rig, pace, rig.air.cold_c) <= 0.98 * over_v:
            break
        pace = band.low + 0.8 * (pace - band.low)
    volts = max(0.97 * _idle_v(rig, pace, air_c), 1.01 * rig.converter.start_v)
    return min(volts, over_v), pace


def _release_v(rig: Rig, band: Band, low_v: float, settled_v: float) -> float:
    """Before the collapse: between the volts at which a running converter has just room
    left (the fold of a constant power lies at half the EMF less drops; the model's hold
    pace finds it) and low_v, the lowest inside the band; above the converter's own
    threshold as well, where settled_v, which a new connection settles to, leaves room."""
    edge = band.hold_tpm if band.hold_tpm is not None else band.low_tpm
    stop_v = rig.converter.stop_v
    fold_v = float(_loaded(rig, np.array([1.0005 * (edge or 1.0)]), hot=True).bus_v[0])
    if np.isnan(fold_v) or fold_v > low_v:
        fold_v = min(stop_v, low_v)
    wanted = max(fold_v + ROOM * (low_v - fold_v), ABOVE_STOP * stop_v)
    return min(wanted, max(0.97 * settled_v, 0.5 * (stop_v + settled_v)))


def _over_a(rig: Rig, most_a: float) -> float:
    """Above all that the band and a starting converter draw, below the sensor's end."""
    full_v = sensors.full_scale_v(rig.sensor)
    end_a = SAFE * full_v / rig.sensor.shunt_ohm
    if end_a < 1.05 * most_a:
        raise Failed(
            f"Settings cannot be made: in the band the converter draws up to {most_a:.2f} A, but "
            f"with a shunt of {1000 * rig.sensor.shunt_ohm:.0f} mohm the sensor's range ends at "
            f"{end_a / SAFE:.2f} A.",
            f"Fit a shunt of at most {770 * SAFE * full_v / most_a:.0f} mohm, and set shunt_mohm.",
        )
    return min(end_a, max(OVER_CURRENT * most_a, 1.05 * rig.converter.in_limit_a))


def _output_is_read(rig: Rig, most_a: float) -> None:
    """Raises Failed where the output's shunt reads less than the device draws: a reading at
    its end releases the load."""
    shunt = rig.sensor.out_shunt_ohm
    if shunt is None:
        return
    full_v = sensors.full_scale_v(rig.sensor)
    if SAFE * full_v / shunt < 1.05 * most_a:
        raise Failed(
            f"Settings cannot be made: the device draws up to {most_a:.2f} A, but with a shunt of "
            f"{1000 * shunt:.0f} mohm at the output the sensor's range ends at "
            f"{full_v / shunt:.2f} A, and beyond it the load is released.",
            f"Fit one of at most {900 * full_v / most_a:.0f} mohm, and set out_shunt_mohm.",
        )


def _over_tpm(rig: Rig, high_tpm: float) -> float:
    """A hand that runs away; not beyond what the motor bears."""
    motor_tpm = rig.motor.max_rad_s / gears.ratio(rig.stages) / RPM
    return max(high_tpm, min(OVER_SPEED * high_tpm, motor_tpm))


def conduct_a(rig: Rig, most_a: float) -> float:
    """Bank current below which the sensor's offset and the diode's knee leave the pace a
    bound: three offsets and steps of the sensor, at least 3 mA, at most a third of the load's."""
    sensor = rig.sensor
    noise = 3 * (sensors.offset_v(sensor) + sensors.step_v(sensor)) / sensor.shunt_ohm
    return min(max(noise, 0.003), most_a / 3)


def warm_c(rig: Rig, tpm: float) -> float:
    """Winding temperature for the pace estimate [degC]: halfway between a start in the
    middle of the rig's air and hours at tpm."""
    air_c = (rig.air.cold_c + rig.air.hot_c) / 2
    settled, _ = thermal.settled_c(rig, np.array([tpm]), air_c)
    return (air_c + float(settled[0])) / 2
