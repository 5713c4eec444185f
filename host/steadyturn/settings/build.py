"""From a rig and its band to every number that the board needs.

Whole numbers in the units that the fields' names say; what each means and its range
stand in the firmware's fields.py. A rig whose band is empty, or whose thresholds
cannot be put in order, is refused with what clashes.
"""

from __future__ import annotations

import math
import unicodedata

from steadyturn_fw import fields

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.model import bank, converter, load, supply
from steadyturn.model.band import Band
from steadyturn.model.hazards import harms_without_firmware
from steadyturn.model.point import operate
from steadyturn.rig.pins import all_pins
from steadyturn.rig.types import Rig
from steadyturn.settings import drops, file, turn, warmth
from steadyturn.settings.heat import heat
from steadyturn.settings.thresholds import (
    Paces,
    Thresholds,
    conduct_a,
    paces,
    thresholds,
    warm_c,
)

HYSTERESIS = 0.5  # of half the band's width; cue.md
REGULAR = 0.12  # of the target: told to keep within less, people only run after the lamp; cue.md
REST = 0.4  # of the band's low edge: below it nobody means to crank
DWELL_MS = 600  # the slowest of the wink, the even flash and the steady light; cue.md
GAP_MS = 2000  # design: a phone that is attached again and again loses energy
SAMPLE_MOST = 4095  # 12 bits in the journal


def build(rig: Rig, band: Band) -> file.Settings:
    """All fields of the settings file for `rig` cranked in `band`.

    Raises Failed where the band is empty or thresholds clash, WrongInput where a value
    of the rig does not fit the board's ranges.
    """
    edges = paces(rig, band)
    limits = thresholds(rig, band)
    settings: file.Settings = {"version": fields.VERSION}
    settings.update(_wiring(rig))
    settings.update(_sensor(rig))
    settings.update(_machine(rig, edges, limits))
    settings.update(turn.settings(rig))
    settings.update(_band(rig, edges, band.window_v, limits))
    settings.update(_output(rig))
    settings.update(heat(rig))
    settings["hardware_cut"] = int(not harms_without_firmware(rig, edges.high))
    settings.update(_supply(rig, settings))
    settings.update(_journal(rig, band, limits))
    settings.update(
        lamp=rig.board.lamp, place=rig.switch.place, chip=rig.sensor.chip,
        coil=converter.coil(rig.converter.kind), rig=_plain(rig.name, 48),
        label=_plain(rig.board.label, 24),
    )
    found = [
        Problem("settings for " + rig.name, p.key, p.value, f"the board takes {p.right}",
                "Look at the part of the rig file that this comes from.")
        for p in file.problems(settings)
    ]
    if found:
        raise WrongInput(*found)
    return {name: settings[name] for name in file.names() if name in settings}


def _wiring(rig: Rig) -> dict[str, int | str]:
    pins = all_pins(rig.board.kind, rig.board.pins)
    wanted = ("i2c_id", "sda_pin", "scl_pin", "lamp_pin", "switch_pin", "let_go_pin", "button_pin",
              "bus_adc_pin", "supply_adc_pin", "amps_adc_pin", "supply_permille")
    board = rig.board
    return {
        **{name: pins[name] for name in wanted},
        "heat_adc_pin": pins["heat_adc_pin"] if rig.protection.ntc_at != "none" else -1,
        "lamp2_pin": pins["lamp2_pin"] if board.lamp == "two_led" else -1,
        "turn_pin": pins["turn_pin"] if rig.sensor.turn_pulses else -1,
        "second_load_pin": pins["second_load_pin"] if rig.bus.second_load_ohm else -1,
        "more_rgb": board.more_rgb,
        "enough_rgb": board.enough_rgb,
        "much_rgb": board.much_rgb,
        "danger_rgb": board.danger_rgb,
        "wrong_rgb": board.wrong_rgb,
        "watchdog": int(board.watchdog),
        "lamp_active_low": int(rig.board.lamp_active_low),
        "lamp_percent": round(100 * rig.board.brightness),
    }


def _sensor(rig: Rig) -> dict[str, int | str]:
    """Corrections are those of a sensor that nobody has calibrated: none."""
    return {
        "address": rig.sensor.address,
        "shunt_uohm": round(1e6 * rig.sensor.shunt_ohm),
        "out_shunt_uohm": round(1e6 * (rig.sensor.out_shunt_ohm or 0.0)),
        "bus_gain_ppm": 1_000_000,
        "bus_offset_mv": 0,
        "amps_gain_ppm": 1_000_000,
        "amps_offset_ma": 0,
        "out_bus_gain_ppm": 1_000_000,
        "out_bus_offset_mv": 0,
        "out_amps_gain_ppm": 1_000_000,
        "out_amps_offset_ma": 0,
        "amplifier_permille": round(1000 * (rig.sensor.amplifier or 1.0)),
        "amplifier_zero_mv": round(1000 * (rig.sensor.amplifier_zero_v or 0.0)),
        "divider_permille": round(1000 * rig.sensor.divider),
    }


def _machine(rig: Rig, edges: Paces, limits: Thresholds) -> dict[str, int | str]:
    """What the pace is computed from. The sensor stands behind its shunt, so that its ohms
    count with the bank's."""
    warming = warmth.settings(rig, edges.target)
    # what the board corrects by itself begins with a cold winding
    warm = warmth.begin_c(rig) if warming["warm_s"] else warm_c(rig, edges.target)
    conducts = conduct_a(rig, limits.most_a)
    drop, knee = drops.fit(rig, conducts, max(1.3 * limits.most_a, 2 * conducts))
    ohm = bank.source_ohm(rig, warm) + rig.sensor.shunt_ohm
    # the motors also give what passes the sensor by: the board's current and the bleed's
    node_v = operate(rig, edges.target).node_v
    unseen_a = float(supply.amps(rig.supply, node_v)[0] + node_v / rig.bus.bleed_ohm)
    return {
        "emf_uv_per_tpm": round(1e6 * bank.emf_v_per_tpm(rig, warm)),
        "source_mohm": max(1, round(1000 * ohm)),
        "drop_mv": round(1000 * drop),
        "drop_knee_ma": min(max(round(1000 * knee), 1), 2000),
        "conduct_ma": min(max(round(1000 * conducts), 1), 500),
        "supply_ma": min(round(1000 * unseen_a), 2000),
        "capacitor_uf": round(1e6 * rig.bus.capacitor_f),
        "second_load_mohm": round(1000 * (rig.bus.second_load_ohm or 0.0)),
        **warming,
    }


def _band(rig: Rig, edges: Paces, window_v: tuple[float, float],
          limits: Thresholds) -> dict[str, int | str]:
    """Rounded inwards, so that a whole number never stands outside what was found."""
    low, high = math.ceil(10 * edges.low), math.floor(10 * edges.high)
    if high < low:
        raise Failed(
            f"The band of {rig.name} is narrower than a tenth of a turn a minute: no hand keeps "
            "that.", "'steadyturn pace' shows which limits leave so little room.")
    target = min(max(round(10 * edges.target), low), high)
    half = (high - low) / 2
    over_mv = math.floor(1000 * limits.over_v)
    window_low, window_high = window_v
    connect_mv = min(math.ceil(1000 * limits.connect_v), over_mv)
    return {
        "low_dtpm": low,
        "target_dtpm": target,
        "high_dtpm": high,
        "rest_dtpm": max(10, math.floor(REST * low)),
        "window_low_mv": math.ceil(1000 * window_low),
        "window_high_mv": min(math.floor(1000 * window_high), over_mv),
        "hysteresis_dtpm": min(round(HYSTERESIS * half), 1000),
        "slack_dtpm": max(0, round(REGULAR * target - half)),
        "dwell_ms": DWELL_MS,
        "connect_mv": connect_mv,
        "connect_dtpm": min(max(math.ceil(10 * limits.connect_tpm), low), target),
        "release_mv": min(math.ceil(1000 * limits.release_v), connect_mv),
        "over_mv": over_mv,
        "over_out_mv": math.floor(1000 * (limits.over_out_v or 0.0)),
        "over_ma": math.floor(1000 * limits.over_a),
        "over_dtpm": max(high, math.floor(10 * limits.over_tpm)),
        "gap_ms": GAP_MS,
    }


def _output(rig: Rig) -> dict[str, int | str]:
    loss_w, loss_v, loss_ohm = converter.loss_constants(rig.converter)
    share = load.stored_share_per_j(rig.load)
    return {
        "out_mv": round(1000 * rig.converter.out_v),
        "loss_uw": round(1e6 * loss_w),
        "loss_mv": round(1000 * loss_v),
        "loss_mohm": round(1000 * loss_ohm),
        "path_mohm": round(1000 * (load.path_ohm(rig) - (rig.sensor.out_shunt_ohm or 0.0))),
        "percent_mj": 0 if share is None else round(1000 * 0.01 / share),
    }


def _supply(rig: Rig, settings: file.Settings) -> dict[str, int | str]:
    """Only a reservoir that the handle fills can fade, and only a pin shows it."""
    watched = rig.supply.feed == "crank" and int(settings["supply_adc_pin"]) >= 0
    return {
        "fade_mv": round(1000 * rig.supply.fade_v) if watched else 0,
        "forbid_mv": round(1000 * rig.supply.forbid_v) if watched else 0,
    }


def _journal(rig: Rig, band: Band, limits: Thresholds) -> dict[str, int | str]:
    """Units of the samples: the finest in which all that can be read has room."""
    return {
        "bus_shift": _shift(1000 * max(band.open_circuit_v, limits.over_v)),
        "amps_shift": _shift(1000 * max(limits.over_a, rig.converter.in_limit_a)),
    }


def _shift(most: float) -> int:
    shift = 0
    while shift < 6 and SAMPLE_MOST << shift < most:
        shift += 1
    return shift


def _plain(text: str, most: int) -> str:
    """Printable ASCII: accents are dropped, what then remains becomes '?'."""
    spread = unicodedata.normalize("NFKD", text)
    kept = (c if " " <= c <= "~" else "?" for c in spread if not unicodedata.combining(c))
    return "".join(kept)[:most].strip()
