"""Units as they end a key: `radius_mm` is in millimetres.

For near misses only: when somebody writes `radius_cm = 11`, the answer can be
"write radius_mm = 110". Reading a right key needs nothing from here.
"""

from __future__ import annotations

import math

_RPM = 2 * math.pi / 60

# suffix -> (what it measures, factor to SI)
SUFFIXES: dict[str, tuple[str, float]] = {
    "uv": ("volts", 1e-6), "mv": ("volts", 1e-3), "v": ("volts", 1.0), "kv": ("volts", 1e3),
    "volt": ("volts", 1.0), "volts": ("volts", 1.0),
    "ua": ("amperes", 1e-6), "ma": ("amperes", 1e-3), "a": ("amperes", 1.0),
    "amp": ("amperes", 1.0), "amps": ("amperes", 1.0),
    "mohm": ("ohms", 1e-3), "ohm": ("ohms", 1.0), "ohms": ("ohms", 1.0),
    "kohm": ("ohms", 1e3), "r": ("ohms", 1.0),
    "mw": ("watts", 1e-3), "w": ("watts", 1.0), "watt": ("watts", 1.0), "kw": ("watts", 1e3),
    "wh": ("watt hours", 3600.0), "mwh": ("watt hours", 3.6), "kwh": ("watt hours", 3.6e6),
    "j": ("watt hours", 1.0), "kj": ("watt hours", 1e3),
    # a cell's charge at 3.85 V, the mean of a lithium cell
    "mah": ("watt hours", 3.6 * 3.85), "ah": ("watt hours", 3600 * 3.85),
    "mm": ("length", 1e-3), "cm": ("length", 1e-2), "m": ("length", 1.0),
    "in": ("length", 0.0254), "inch": ("length", 0.0254), "ft": ("length", 0.3048),
    "pf": ("capacitance", 1e-12), "nf": ("capacitance", 1e-9), "uf": ("capacitance", 1e-6),
    "mf": ("capacitance", 1e-3), "f": ("capacitance", 1.0),
    "uh": ("inductance", 1e-6), "mh": ("inductance", 1e-3), "h": ("inductance", 1.0),
    "us": ("time", 1e-6), "ms": ("time", 1e-3), "s": ("time", 1.0), "min": ("time", 60.0),
    "rpm": ("speed", _RPM), "krpm": ("speed", 1000 * _RPM), "rps": ("speed", 60 * _RPM),
    "rad_s": ("speed", 1.0), "rad_per_s": ("speed", 1.0), "tpm": ("pace", 1.0),
    "tps": ("pace", 60.0), "percent": ("share", 0.01), "pct": ("share", 0.01),
    "c": ("temperature", 1.0), "degc": ("temperature", 1.0),
    "nm": ("torque", 1.0), "ncm": ("torque", 1e-2), "mnm": ("torque", 1e-3),
    "n": ("force", 1.0), "kn": ("force", 1e3), "kgf": ("force", 9.80665),
    "gcm2": ("inertia", 1e-7), "gm2": ("inertia", 1e-3), "kgm2": ("inertia", 1.0),
    "v_per_krpm": ("volts per speed", 1 / (1000 * _RPM)),
    "mv_per_rpm": ("volts per speed", 1e-3 / _RPM), "v_per_rpm": ("volts per speed", 1 / _RPM),
    "v_s": ("volts per speed", 1.0), "v_per_rad_s": ("volts per speed", 1.0),
    "nm_per_rad_s": ("torque per speed", 1.0),
    "unm_per_rad_s": ("torque per speed", 1e-6),
    "k_per_w": ("warming", 1.0), "j_per_k": ("heat capacity", 1.0), "awg": ("gauge", 1.0),
}


def split(key: str) -> tuple[str, str]:
    """A key's stem and its unit suffix ("" if it has none): radius_mm -> radius, mm."""
    parts = key.lower().split("_")
    for start in range(1, len(parts)):  # the longest suffix first
        suffix = "_".join(parts[start:])
        if suffix in SUFFIXES:
            return "_".join(parts[:start]), suffix
    return key.lower(), ""


def convert(value: float, given: str, wanted: str) -> float | None:
    """`value` in the unit of suffix `given`, in that of `wanted`; None: other quantities."""
    if given not in SUFFIXES or wanted not in SUFFIXES:
        return None
    (of, factor), (into, divisor) = SUFFIXES[given], SUFFIXES[wanted]
    return value * factor / divisor if of == into else None


def plain(value: float) -> str:
    """A number as a person writes it in a rig file: at most six digits, no exponent."""
    if value == int(value) and abs(value) < 1e12:
        return str(int(value))
    if abs(value) >= 1e12 or abs(value) < 1e-9:
        return f"{value:.6g}"
    digits = max(0, 5 - math.floor(math.log10(abs(value))))
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{value:.0f}"
