"""Which stages and steps the bringing-up of a rig has, and which must not be begun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from steadyturn.jobs.hazards import Hazard
from steadyturn.model.band import Band
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

# minutes for somebody who does it for the first time: common practice, no source
MINUTES = {"motors": 30, "bus": 40, "converter": 40, "board": 40, "resistor": 60, "usb": 20,
           "phone": 20}
# the source may exceed a rating that sees it without being turned at all
STANDS_STILL = ("reservoir_adc",)


@dataclass(frozen=True)
class Stage:
    """steps: their keys in order; barred: "" or why it must not be begun: "no_band", "unset",
    "hazard", "too_fast" (the band lies above what bus and socket bear), "before" (the one
    before it is)."""

    key: str
    minutes: int
    steps: tuple[str, ...]
    barred: str


def stages(rig: Rig, band: Band, hazards: Sequence[Hazard], *, protected: bool,
           trials: set[str], unset: str, most_tpm: float) -> tuple[Stage, ...]:
    """All stages of a rig. protected: there is a circuit for it; trials: names of those that
    can be made at low volts; most_tpm: up to which pace nothing on bus and socket breaks."""
    found: list[Stage] = []
    before = ""
    harmful = any(h.refuses for h in hazards)  # it would be shown by what it destroys
    for key, all_steps in _steps(rig, protected, trials).items():
        steps = [s for s in all_steps if not (harmful and s == "fastest")]
        why = before or _barred(key, band, hazards, unset, most_tpm)
        found.append(Stage(key, MINUTES[key], tuple(steps), why))
        if why:
            before = "before"
    return tuple(found)


def _barred(key: str, band: Band, hazards: Sequence[Hazard], unset: str,
            most_tpm: float) -> str:
    refusing = [h.name for h in hazards if h.refuses]
    if key == "board":
        if not band.feasible:
            return "no_band"
        if unset:
            return "unset"
        return "hazard" if any(name in STANDS_STILL for name in refusing) else ""
    if key == "resistor" and band.low_tpm is not None:
        return "too_fast" if most_tpm < band.low_tpm else ""
    if key == "usb" and refusing:
        return "hazard"
    return ""


def _steps(rig: Rig, protected: bool, trials: set[str]) -> dict[str, list[str]]:
    """Stage -> the keys of its steps."""
    bank, sensor, chip = rig.bank, rig.sensor, rig.sensor.chip != "adc"
    pins = all_pins(rig.board.kind, rig.board.pins)
    found = {
        "motors": ["ohms", "polarity", "counted",
                   *(["series"] if bank.series > 1 else []),
                   *(["parallel"] if bank.parallel > 1 else []), "winding", "listen"],
        "bus": ["beep", "open_bus", "diode", "backwards",
                *(["clamp_trial"] if "clamp_trial" in trials else []),
                *(["clamp"] if protected else [])],
        "converter": ["screw", "starts", "dummy_on_cells",
                      *(["cut_trial"] if "cut_trial" in trials else []),
                      *(["cut_screw"] if protected else [])],
        "board": ["board_alone", "flash",
                  *(["parade"] if pins["button_pin"] >= 0 else []), "reservoir",
                  "divider" if pins["bus_adc_pin"] >= 0 else "no_divider",
                  *(["chip_volts"] if chip else []), "released", "bypass",
                  *(["turn_sensor"] if sensor.turn_pulses else []),
                  *(["thermistor"] if rig.protection.ntc_at != "none" else []),
                  *(["second_load"] if rig.bus.second_load_ohm else [])],
    }
    if rig.load.kind == "none":
        return found
    found["resistor"] = [
        "connects", "loaded", *(["amps"] if chip or sensor.amplifier else []), "stops",
        "pulses", *(["let_go"] if pins["let_go_pin"] >= 0 else []),
        *(["alert"] if sensor.alert and chip else []),
        *(["bus_cut"] if "bus_cut_trial" in trials else []), "dead_board", "fastest", "warm"]
    if rig.load.kind != "resistor":
        found["usb"] = ["usb_look", "usb_load", "usb_unplug"]
        found["phone"] = ["device", "device_warm", "season"]
    return found
