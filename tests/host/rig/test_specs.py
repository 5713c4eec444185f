"""The specs of the parts: ranges in order, units in the key names, the reference page."""

import math

import pytest
from steadyturn.rig.reference import PAGE, reference_text
from steadyturn.rig.types import PARTS, EfficiencyPoint, Stage, specs

CLASSES = {**PARTS, "stage": Stage, "converter.points": EfficiencyPoint}
SPECS = [(f"{name}.{s.key}", cls, field, s) for name, cls in CLASSES.items()
         for field, s in specs(cls).items()]
IDS = [key for key, *_ in SPECS]

# unit -> how a key that is read in it ends
ENDINGS = {
    "V": "_v", "A": "_a", "ohm": "_ohm", "mohm": "_mohm", "kohm": "_kohm", "W": "_w",
    "mW": "_mw", "Wh": "_wh",
    "mm": "_mm", "m": "_m", "uF": "_uf", "mH": "_mh", "ms": "_ms", "rpm": "_rpm", "%": "_percent",
    "degC": "_c", "N": "_n", "N m": "_nm", "g cm2": "_gcm2", "g m2": "_gm2", "K/W": "_k_per_w",
    "J/K": "_j_per_k", "V per 1000 rpm": "_v_per_krpm", "uN m per rad/s": "_unm_per_rad_s",
    "N m per rad/s": "_nm_per_rad_s", "turns/min": "_tpm", "AWG": "_awg",
    "years": "_years", "RGB": "_rgb", "K": "_k",
}
# what one of the file's unit is in SI (paces, temperatures and gauges stay as they are)
RPM = 2 * math.pi / 60
SI = {"mohm": 1e-3, "kohm": 1e3, "mW": 1e-3, "mm": 1e-3, "uF": 1e-6, "mH": 1e-3, "ms": 1e-3,
      "rpm": RPM,
      "%": 0.01, "Wh": 3600, "g cm2": 1e-7, "g m2": 1e-3, "V per 1000 rpm": 1 / (1000 * RPM),
      "uN m per rad/s": 1e-6}


@pytest.mark.parametrize(("key", "cls", "field", "spec"), SPECS, ids=IDS)
def test_key_ends_in_its_unit(key, cls, field, spec):
    if spec.unit:
        assert key.endswith(ENDINGS[spec.unit])
    if spec.type == "number":
        assert spec.scale == pytest.approx(SI.get(spec.unit, 1.0), rel=1e-12)


@pytest.mark.parametrize(("key", "cls", "field", "spec"), SPECS, ids=IDS)
def test_typical_values_lie_in_their_range(key, cls, field, spec):
    if spec.type in ("number", "whole"):
        assert math.isfinite(spec.low)
        assert math.isfinite(spec.high)
        assert spec.low < spec.high
    if spec.typical is not None:
        low, value, high = spec.typical
        assert spec.low <= low <= value <= high <= spec.high
        assert spec.source, "an assumed value says where it is from"
    if spec.type == "choice":
        assert spec.choices
        assert spec.default is None or spec.default in spec.choices


@pytest.mark.parametrize(("key", "cls", "field", "spec"), SPECS, ids=IDS)
def test_keys_are_plain(key, cls, field, spec):
    assert spec.key == spec.key.lower()
    assert spec.key.isidentifier()
    assert spec.key.isascii()


def test_keys_of_a_section_are_unique():
    for cls in CLASSES.values():
        keys = [s.key for s in specs(cls).values()]
        assert len(keys) == len(set(keys))


def test_the_reference_page_is_up_to_date():
    assert PAGE.read_text(encoding="utf-8") == reference_text(), \
        "write it anew: python -m steadyturn.rig.reference"


def test_the_reference_page_has_every_key():
    text = reference_text()
    for key, *_ in SPECS:
        section, _, name = key.rpartition(".")
        heading = f"[[{section}]]" if section in ("stage", "converter.points") else f"[{section}]"
        part = text.split(f"## {heading}\n")[1].split("\n## ")[0]
        assert f"| `{name}` |" in part
