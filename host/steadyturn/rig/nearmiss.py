"""What somebody probably meant by a key or section that does not exist."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from steadyturn.rig.types import PARTS, EfficiencyPoint, Spec, Stage, specs
from steadyturn.rig.units import SUFFIXES, convert, plain, split
from steadyturn.rig.values import range_text, shown

RIG_KEYS = {
    "name": Spec(type="text", key="name", high=48),
    "note": Spec(type="text", key="note", high=400),
}

# section -> key -> Spec: everything a rig file may say
SECTIONS: dict[str, dict[str, Spec]] = {
    "rig": RIG_KEYS,
    **{name: {s.key: s for s in specs(cls).values()} for name, cls in PARTS.items()},
    "stage": {s.key: s for s in specs(Stage).values()},
    "converter.points": {s.key: s for s in specs(EfficiencyPoint).values()},
}

ARRAYS = ("stage", "converter.points")  # those in double brackets

Sections = Mapping[str, Mapping[str, Spec]]

# other words people use, where the letters alone would not find the key
_OTHER_WORDS = {
    "motor": {"resistance": "terminal_ohm", "r": "terminal_ohm", "voltage": "rated_v",
              "nominal_v": "rated_v", "volts": "rated_v", "speed_rpm": "no_load_rpm",
              "speed": "no_load_rpm", "rpm": "no_load_rpm", "current": "no_load_a",
              "ke": "emf_v_per_krpm", "k": "emf_v_per_krpm", "emf": "emf_v_per_krpm"},
    "stage": {"gear_ratio": "ratio", "pinion": "driver_teeth", "teeth": "driver_teeth",
              "wheel": "driven_teeth"},
    "converter": {"type": "kind", "output": "out_v", "uvlo": "start_v", "vin_max": "max_in_v",
                  "efficiency": "points"},
    "rectifier": {"type": "kind", "forward_v": "drop_v", "vf": "drop_v"},
    "switch": {"position": "place", "where": "place"},
    "load": {"type": "kind", "device": "kind", "current_a": "draw_a", "battery_wh": "capacity_wh",
             "battery_mah": "capacity_wh"},
    "crank": {"arm_mm": "radius_mm", "length_mm": "radius_mm", "handle_mm": "radius_mm"},
    "sensor": {"type": "chip", "shunt": "shunt_mohm", "i2c_address": "address"},
    "board": {"type": "kind", "name": "label", "led": "lamp"},
}


def for_key(section: str, key: str, raw: Any,
            sections: Sections = SECTIONS) -> tuple[str, str, str]:
    """Of an unknown key: what is right, how to write it, and the key meant (or "")."""
    known = sections[section]
    meant = _other_unit(key, known) or _OTHER_WORDS.get(section, {}).get(key.lower(), "")
    if not meant:
        meant = next(iter(difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.7)), "")
    if meant:
        how = _rewritten(key, raw, known.get(meant), meant)
        return f"there is no such key in [{section}]; did you mean '{meant}'?", how, meant
    home = _elsewhere(key, section, sections)
    if home:
        return f"'{key}' belongs in [{home}], not in [{section}].", f"Move it below [{home}].", ""
    return (f"there is no such key in [{section}].",
            f"It may have {', '.join(known)}.", "")


def _other_unit(key: str, known: Mapping[str, Spec]) -> str:
    """The key of the same name with another unit, or with the unit left off."""
    stem, suffix = split(key)
    quantity = SUFFIXES.get(suffix, ("", 0.0))[0]
    stems = {}
    for name, spec in known.items():
        if spec.type == "number":
            own_stem, own_suffix = split(name)
            if not suffix or SUFFIXES.get(own_suffix, ("", 0.0))[0] == quantity:
                stems[own_stem] = name
    near = difflib.get_close_matches(stem, stems, n=1, cutoff=0.8)
    return stems[near[0]] if near else ""


def _rewritten(key: str, raw: Any, spec: Spec | None, meant: str) -> str:
    """The line as it should be, where the unit tells how to convert the number."""
    if spec is None or spec.type != "number":
        return ""
    is_number = isinstance(raw, int | float) and not isinstance(raw, bool)
    suffix, wanted = split(key)[1], split(meant)[1]
    if not is_number or abs(raw) > 1e15:
        return f"Its unit is {spec.unit}." if spec.unit else ""
    if not suffix or suffix == wanted:
        return f"Write {meant} = {shown(raw)} if that is in {spec.unit}." if spec.unit else ""
    value = convert(float(raw), suffix, wanted)
    if value is None:
        return f"Its unit is {spec.unit}: {range_text(spec)}."
    beside = " (a lithium cell's mean of 3.85 V)" if suffix in ("mah", "ah") else ""
    return f"{shown(raw)} {suffix} is {plain(value)} {spec.unit}: write {meant} = " \
           f"{plain(value)}{beside}."


def _elsewhere(key: str, section: str, sections: Sections) -> str:
    """The section that has exactly this key, if just one other has."""
    homes = [name for name, known in sections.items() if name != section and key in known]
    return homes[0] if len(homes) == 1 else ""


def for_section(name: str, raw: Any, sections: Sections = SECTIONS,
                arrays: tuple[str, ...] = ARRAYS) -> tuple[str, str, str]:
    """Of an unknown name at the top: what is right, how, and the section meant (or "")."""
    near = difflib.get_close_matches(name.lower(), [*sections], n=1, cutoff=0.6)
    if near and (isinstance(raw, dict | list)):
        header = f"[[{near[0]}]]" if near[0] in arrays else f"[{near[0]}]"
        return f"there is no such section; did you mean {header}?", "", near[0]
    if not isinstance(raw, dict | list):
        homes = [section for section, known in sections.items() if name in known]
        if homes:
            below = " or ".join(f"[{home}]" for home in homes)
            return f"'{name}' stands before any section; it belongs below {below}.", "", ""
    others = ", ".join(n for n in sections if n != "converter.points")
    return "there is no such section.", f"It may have {others}.", ""
