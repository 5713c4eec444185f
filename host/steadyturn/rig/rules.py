"""What the values of a rig must satisfy together; one small function per rule.

`faults`: the rig cannot be used like this. `remarks`: it can, but look at it.
To add a rule, write a function that yields and append it to RULES.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from steadyturn.rig.pins import all_pins
from steadyturn.rig.remarks import Remark, remarks
from steadyturn.rig.types import Rig
from steadyturn.rig.units import plain

__all__ = ["RULES", "Fault", "Remark", "faults", "remarks"]

LEAST_LIGHT = 8  # of 255, of a pixel's brightest part; common practice, no source
NTC_ROOM_K = 10.0  # it connects again so much cooler
USB_LOADS = ("phone", "power_bank", "lantern")


@dataclass(frozen=True, slots=True)
class Fault:
    """keys: every key it is about, the one to look at first; value: as in the file."""

    keys: tuple[str, ...]
    value: str
    right: str
    how: str = ""


def faults(rig: Rig) -> list[Fault]:
    """All rules that the rig breaks."""
    return [fault for rule in RULES for fault in rule(rig)]


def _order(rig: Rig, part: str, low: str, high: str, how: str = "") -> Iterator[Fault]:
    """The value of key `low` must be below that of key `high`; both in one part, same unit."""
    from steadyturn.rig.types import specs

    of_key = {s.key: (f, s.scale) for f, s in specs(getattr(rig, part)).items()}
    (f_low, scale), (f_high, _) = of_key[low], of_key[high]
    below, above = getattr(getattr(rig, part), f_low), getattr(getattr(rig, part), f_high)
    if not below < above:
        yield Fault((f"{part}.{low}", f"{part}.{high}"), plain(below / scale),
                    f"must be below {high} ({plain(above / scale)}).", how)


# ------------------------------------------------------------------- making volts


def motor_constant(rig: Rig) -> Iterator[Fault]:
    m = rig.motor
    if m.emf_v_s is None and (m.rated_v is None or m.no_load_rad_s is None):
        yield Fault(
            ("motor.rated_v", "motor.no_load_rpm", "motor.emf_v_per_krpm"), "",
            "the motor needs rated_v and no_load_rpm from its nameplate, or emf_v_per_krpm.",
            "Spin the shaft with a drill of known speed and read the volts with nothing "
            "connected: 2.1 V at 1500 rpm is emf_v_per_krpm = 1.4")


def nameplate(rig: Rig) -> Iterator[Fault]:
    """Otherwise its EMF constant k = (V - I0 R - Vb) / w0 would not be positive."""
    m = rig.motor
    if m.rated_v is None or m.no_load_rad_s is None:
        return
    lost = m.no_load_a * m.terminal_ohm + m.brush_drop_v
    if m.rated_v <= lost:
        yield Fault(
            ("motor.rated_v", "motor.no_load_a", "motor.terminal_ohm", "motor.brush_drop_v"),
            plain(m.rated_v),
            f"running free this motor already loses {lost:.3g} V in its resistance and brushes "
            f"(no_load_a times terminal_ohm, and brush_drop_v); rated_v must be more.",
            "Check no_load_a (is it in amperes?) and terminal_ohm.")


def stages(rig: Rig) -> Iterator[Fault]:
    if not rig.stages:
        yield Fault(("stage",), "", "there is no gear stage: write at least one [[stage]].",
                    "Handle straight on the motor's shaft: [[stage]] with ratio = 1 and "
                    "efficiency = 1")
    for i, stage in enumerate(rig.stages, 1):
        key = f"stage[{i}]"
        keys = (key, f"{key}.driver_teeth", f"{key}.driven_teeth", f"{key}.ratio")
        teeth = (stage.driver_teeth is not None) + (stage.driven_teeth is not None)
        if stage.ratio is not None and teeth:
            yield Fault(keys, "", "give ratio or the teeth, not both.",
                        "With teeth known, take the ratio out.")
        elif stage.ratio is None and teeth < 2:
            yield Fault(keys, "", "give driver_teeth and driven_teeth, or ratio.",
                        "Count the teeth: the driver is the wheel on the handle's side.")


def rectifier(rig: Rig) -> Iterator[Fault]:
    if rig.rectifier.kind == "none":
        yield Fault(("rectifier.kind",), '"none"', 'a rig with a board needs "schottky" or '
                    '"bridge".', "Without one, current flows back and drives the handle, and "
                    "turning backwards puts the bus below ground.")


def air(rig: Rig) -> Iterator[Fault]:
    yield from _order(rig, "air", "cold_c", "hot_c")
    if rig.bank.mount_max_c <= rig.air.hot_c:
        yield Fault(("bank.mount_max_c", "air.hot_c"), plain(rig.bank.mount_max_c),
                    f"the mount must bear more than the air's hot_c ({plain(rig.air.hot_c)}).",
                    "PLA softens near 55 degC, PETG near 75.")


def comfort(rig: Rig) -> Iterator[Fault]:
    yield from _order(rig, "arm", "comfort_low_tpm", "comfort_high_tpm")


def kept(rig: Rig) -> Iterator[Fault]:
    """[band] goes up from low to target to high, inside what the arm likes."""
    slow, fast = rig.arm.comfort_low_tpm, rig.arm.comfort_high_tpm
    order = (("arm.comfort_low_tpm", slow), ("band.low_tpm", rig.band.low_tpm),
             ("band.target_tpm", rig.band.target_tpm), ("band.high_tpm", rig.band.high_tpm),
             ("arm.comfort_high_tpm", fast))
    said = [(key, tpm) for key, tpm in order if tpm is not None]
    for (low_key, low), (high_key, high) in pairwise(said):
        first, other, far = (high_key, low_key, low) if low_key.startswith("arm.") else (
            low_key, high_key, high)
        if low >= high and first.startswith("band."):
            side = "above" if first == high_key else "below"
            yield Fault((first, other), plain(low if first == low_key else high),
                        f"must be {side} {other} ({plain(far)}).",
                        "'steadyturn pace' shows which paces work; left out, the whole band "
                        "is used.")


# --------------------------------------------------------- from the bus to the phone


def converter_thresholds(rig: Rig) -> Iterator[Fault]:
    yield from _order(rig, "converter", "stop_v", "start_v",
                      "A converter lets go at a lower voltage than it starts at; of equal "
                      "ones it would chatter.")
    yield from _order(rig, "converter", "start_v", "max_in_v")


def converter_output(rig: Rig) -> Iterator[Fault]:
    c = rig.converter
    if c.kind == "boost" and c.start_v >= c.out_v:
        yield Fault(("converter.start_v", "converter.out_v", "converter.kind"), plain(c.start_v),
                    f"a boost only raises: it must start below its out_v ({plain(c.out_v)}).",
                    'A converter that takes more than it gives is a "buck" or "buck_boost".')
    if c.kind in ("buck", "linear") and c.max_in_v <= c.out_v + c.headroom_v:
        yield Fault(("converter.max_in_v", "converter.out_v", "converter.headroom_v",
                     "converter.kind"), plain(c.max_in_v),
                    f'a "{c.kind}" only lowers: max_in_v must be above out_v and headroom_v '
                    f"together ({plain(c.out_v + c.headroom_v)}).",
                    'A converter that gives more than it takes is a "boost" or "buck_boost".')


def device_voltage(rig: Rig) -> Iterator[Fault]:
    c, load = rig.converter, rig.load
    if load.kind not in USB_LOADS:
        return
    if c.out_v > load.max_v:
        yield Fault(("converter.out_v", "load.max_v", "load.kind"), plain(c.out_v),
                    f"the {load.kind} bears {plain(load.max_v)} V (load.max_v).",
                    "Set the converter to 5.0-5.2 V with nothing connected.")
    if c.out_v <= load.min_v:
        yield Fault(("converter.out_v", "load.min_v", "load.kind"), plain(c.out_v),
                    f"the {load.kind} draws nothing at or below {plain(load.min_v)} V "
                    "(load.min_v).",
                    "Set the converter to 5.0-5.2 V with nothing connected.")


def load(rig: Rig) -> Iterator[Fault]:
    if rig.load.kind == "resistor" and rig.load.resistance_ohm is None:
        yield Fault(("load.kind", "load.resistance_ohm"), '"resistor"',
                    "a resistor needs resistance_ohm.", "Read it with the meter.")
    if rig.load.kind in USB_LOADS:
        yield from _order(rig, "load", "min_v", "sag_v")
        yield from _order(rig, "load", "sag_v", "max_v")


def protection(rig: Rig) -> Iterator[Fault]:
    p, c = rig.protection, rig.converter
    for key, volts in (("bus_clamp_v", p.bus_clamp_v), ("bus_cut_v", p.bus_cut_v)):
        if volts is not None and volts <= c.start_v:
            yield Fault((f"protection.{key}", "converter.start_v"), plain(volts),
                        f"at {plain(volts)} V it acts before the converter starts "
                        f"({plain(c.start_v)} V).",
                        "It belongs between the window and the lowest rating.")
    if p.bus_clamp_w is not None and p.bus_clamp_v is None:
        yield Fault(("protection.bus_clamp_w", "protection.bus_clamp_v"), plain(p.bus_clamp_w),
                    "a clamp's watts need its volts: bus_clamp_v.", "")
    if p.output_cut_v is not None and p.output_cut_v <= c.out_v:
        yield Fault(("protection.output_cut_v", "converter.out_v"), plain(p.output_cut_v),
                    f"must be above the converter's out_v ({plain(c.out_v)}), or it always acts.",
                    "About 5.5 V for a 5 V output.")


def thermistor(rig: Rig) -> Iterator[Fault]:
    p = rig.protection
    if p.ntc_at == "none":
        return
    if all_pins(rig.board.kind, rig.board.pins)["heat_adc_pin"] < 0:
        yield Fault(("board.pins.heat_adc_pin", "protection.ntc_at"), "",
                    f"the thermistor needs an ADC pin; the {rig.board.kind} has none to spare.",
                    "Under [board.pins]: heat_adc_pin = a pin with an ADC that nothing else "
                    "uses; what is not wired is freed with -1.")
    if p.ntc_limit_c <= rig.air.hot_c + NTC_ROOM_K:
        yield Fault(("protection.ntc_limit_c", "air.hot_c"), str(p.ntc_limit_c),
                    f"must be more than {NTC_ROOM_K:.0f} above the air's hot_c "
                    f"({plain(rig.air.hot_c)}), or it would never connect again.", "")


def supply(rig: Rig) -> Iterator[Fault]:
    yield from _order(rig, "supply", "off_v", "forbid_v",
                      "Writing must be over before the board stops.")
    yield from _order(rig, "supply", "forbid_v", "fade_v",
                      "Between the two the journal is saved.")
    yield from _order(rig, "supply", "fade_v", "reservoir_max_v",
                      "A reservoir that is never above fade_v would never let the load on.")
    s = rig.supply
    if s.feed == "crank" and s.wake_v - s.drop_v <= s.off_v:
        yield Fault(("supply.wake_v", "supply.drop_v", "supply.off_v"), plain(s.wake_v),
                    f"less its drop_v ({plain(s.drop_v)}) it must be above off_v "
                    f"({plain(s.off_v)}): the board would stop at the volts that wake it.", "")


# ------------------------------------------------------------------------ the board


def sensor(rig: Rig) -> Iterator[Fault]:
    s = rig.sensor
    if s.chip == "adc":
        yield from _adc(rig)
        return
    last = 0x43 if s.chip == "ina3221" else 0x4F  # address pins A0 (and A1): data sheets
    if not 0x40 <= s.address <= last:
        yield Fault(("sensor.address",), hex(s.address),
                    f"an {s.chip.upper()} has an address from 0x40 to {last:#x}.",
                    "0x40 unless its address pads are bridged.")
    if s.chip == "ina219" and s.alert:
        yield Fault(("sensor.alert_wired", "sensor.chip"), "true",
                    "the INA219 has no alert pin: false.",
                    "The INA226 has one; with an INA219, fit a clamp or a cut.")
    if s.chip == "ina3221" and s.alert:
        yield Fault(("sensor.alert_wired", "sensor.chip"), "true",
                    "none of the INA3221's outputs tells that a bus is too high: false.",
                    "The INA226 has one that does; with an INA3221, fit a clamp or a cut.")
    if s.chip != "ina3221" and s.out_shunt_ohm is not None:
        yield Fault(("sensor.out_shunt_mohm", "sensor.chip"), plain(1000 * s.out_shunt_ohm),
                    f"an {s.chip.upper()} has one channel: leave it out.",
                    "An INA3221 measures the converter's output too.")


def extras(rig: Rig) -> Iterator[Fault]:
    """Parts that need a pin which not every board has to spare."""
    pins = all_pins(rig.board.kind, rig.board.pins)
    for key, value, pin in (
        ("sensor.turn_pulses", rig.sensor.turn_pulses, "turn_pin"),
        ("bus.second_load_ohm", rig.bus.second_load_ohm, "second_load_pin"),
    ):
        if value is not None and pins[pin] < 0:
            yield Fault((key, f"board.pins.{pin}"), plain(value),
                        f"the {rig.board.kind} has no pin left for it: name one, or leave "
                        f"{key.split('.')[1]} out.",
                        f"Under [board.pins]: {pin} = a pin that nothing else uses.")


def lamp(rig: Rig) -> Iterator[Fault]:
    b = rig.board
    if b.lamp == "two_led" and b.pins.get("lamp2_pin", 0) < 0:
        yield Fault(("board.pins.lamp2_pin", "board.lamp"), "-1", "two_led needs a second pin.",
                    'With one LED, lamp = "led" shows the same shapes.')
    if b.lamp != "rgb":
        return
    for key in ("more_rgb", "enough_rgb", "much_rgb", "danger_rgb", "wrong_rgb"):
        rgb = getattr(b, key)
        if max(rgb >> 16, rgb >> 8 & 255, rgb & 255) * b.brightness < LEAST_LIGHT:
            yield Fault((f"board.{key}", "board.lamp_percent"), f"0x{rgb:06X}",
                        "too dark to be told from a dark lamp.",
                        f"At {100 * b.brightness:.0f} % brightness the brightest of red, green "
                        f"and blue must be at least {min(255, LEAST_LIGHT / b.brightness):.0f}.")


def _adc(rig: Rig) -> Iterator[Fault]:
    """The board's own ADC behind a divider and an amplifier over the shunt."""
    s, pins = rig.sensor, all_pins(rig.board.kind, rig.board.pins)
    if s.amplifier is None:
        yield Fault(("sensor.amplifier_gain", "sensor.chip"), "",
                    "with chip = \"adc\" the gain of the amplifier over the shunt is needed.",
                    "From its data sheet: often 20, 50, 100 or 200.")
    for name in ("bus_adc_pin", "amps_adc_pin"):
        if pins[name] < 0:
            yield Fault((f"board.pins.{name}", "sensor.chip"), "",
                        f"with chip = \"adc\" the {rig.board.kind} needs an ADC pin for this.",
                        f"Under [board.pins]: {name} = a pin with an ADC that nothing else uses.")
    if s.alert:
        yield Fault(("sensor.alert_wired", "sensor.chip"), "true",
                    "an ADC has no alert pin: false.", "Fit a clamp or a cut.")
    if s.out_shunt_ohm is not None:
        yield Fault(("sensor.out_shunt_mohm", "sensor.chip"), plain(1000 * s.out_shunt_ohm),
                    "the ADC measures the input alone: leave it out.",
                    "An INA3221 measures the converter's output too.")


# --------------------------------------------------------------------- printing gears

_BALL_BORE_MM = {"625": 5.0, "626": 6.0, "608": 8.0}  # ISO 15, from memory


def gears(rig: Rig) -> Iterator[Fault]:
    g = rig.gears
    if g.shaft_hex_m is not None:
        for key, value in (("shaft_mm", g.shaft_m), ("shaft_flat_mm", g.shaft_flat_m)):
            if value is not None:
                yield Fault((f"gears.{key}", "gears.shaft_hex_mm"), plain(value * 1000),
                            "left out: the shaft has shaft_hex_mm across its flats.",
                            f"Delete {key}, or shaft_hex_mm where it is no hexagon.")
    if g.shaft_flat_m is not None and g.shaft_m is not None and not (
            g.shaft_m / 2 < g.shaft_flat_m < g.shaft_m):
        yield Fault(("gears.shaft_flat_mm", "gears.shaft_mm"), plain(g.shaft_flat_m * 1000),
                    f"between half and the whole of shaft_mm ({plain(g.shaft_m * 1000)}).",
                    "Calipers across the flat and the round side opposite it.")
    bore = _BALL_BORE_MM.get(g.bearing)
    if bore is not None and g.axle_m is not None and abs(g.axle_m * 1000 - bore) > 0.05:
        yield Fault(("gears.axle_mm", "gears.bearing"), plain(g.axle_m * 1000),
                    f"a {g.bearing} bearing has a bore of {plain(bore)} mm.",
                    "Leave axle_mm out: it then follows the bearing.")


RULES: tuple[Callable[[Rig], Iterator[Fault]], ...] = (
    motor_constant, nameplate, stages, rectifier, air, comfort, converter_thresholds,
    converter_output, device_voltage, load, protection, thermistor, supply, sensor, extras, lamp,
    gears, kept,
)
