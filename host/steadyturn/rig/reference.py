"""The page `rig_file.md`, made from the specs; a test compares it.

Write it anew after a change: python -m steadyturn.rig.reference
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from steadyturn_fw.boards import BOARDS, COLUMNS

from steadyturn.rig.tolerances import TOLERANCES
from steadyturn.rig.types import PARTS, EfficiencyPoint, Spec, Stage, specs
from steadyturn.rig.units import plain
from steadyturn.rig.values import range_text

PAGE = Path(__file__).with_name("rig_file.md")

_HEAD = """\
# The rig file

One TOML file describes the whole machine, handle to phone. The unit ends the key:
`radius_mm` is in millimetres. `steadyturn new FILE` writes one from at most eight
questions, `steadyturn check FILE` validates it and lists what is assumed.

This page is generated from the same table that reads the file.

## Where a value comes from

A number may be plain, or say how it is known:

```toml
terminal_ohm = 2.3                                                        # given
terminal_ohm = { given = 2.3, tolerance_percent = 10 }
terminal_ohm = { measured = 2.31, low = 2.2, high = 2.4, on = 2026-03-01 }
terminal_ohm = { assumed = 2.3, low = 1.5, high = 4 }
```

- **given**: taken as it is, from a nameplate or a data sheet. Specimens differ from it
  by `tolerance_percent` either way (95 % of them), or by what is usual for the key: see the
  end of this page. Only `pace --sure` looks at that.
- **measured**: comes with its interval, `low` and `high`; `on` (a date) and
  `note` may be left out.
- **assumed**: a guess. Without `low` and `high` the range of its class below is used, widened to
  contain the value; where the class has none, half to twice the value.
- **left out**: the assumed value below, marked as assumed in every answer that depends on it.

A key without an assumed value is required, unless it says "not fitted" or "optional".

## [rig]

| key | what it may be |
|---|---|
| `name` | text, at most 48 characters of plain ASCII; left out: the file's name |
| `note` | text, at most 400 characters |
"""

_BELOW: dict[str, str] = {
    "motor": "Either `rated_v` and `no_load_rpm` from the nameplate, or `emf_v_per_krpm`; with "
             "both, the measured constant is used and the nameplate only compared with it.",
    "rectifier": "`drop_v` and `knee_a` are of one diode. `none` is refused: a rig always has a "
                 "board.",
    "converter": "Losses follow the coil's current i (boost: the input's, buck: the output's, "
                 "buck-boost: the larger): loss_w + loss_v * i + loss_ohm * i^2. A table of "
                 "measured points takes their place; see `[[converter.points]]`.",
    "switch": "Its place decides what it protects. `enable` isolates only a converter that truly "
              "disconnects when disabled.",
    "protection": "Hardware that acts without the firmware, and a thermistor, which the firmware "
                  "watches (`ntc_at`: what it is glued to). What is left out is not fitted.",
    "load": "A USB device draws `draw_a` while its input stays above `sag_v`, less below, nothing "
            "below `min_v`.",
    "supply": "How the board itself is fed.",
}


def reference_text() -> str:
    """The whole page as Markdown."""
    parts = [_HEAD]
    for name, cls in PARTS.items():
        parts.append(_section(f"[{name}]", cls, _BELOW.get(name, "")))
        if name == "bank":
            parts.append(_section("[[stage]]", Stage, "One for each gear mesh, handle side first, "
                                  "at most 8: both teeth, or a plain ratio driver/driven."))
        if name == "converter":
            parts.append(_section("[[converter.points]]", EfficiencyPoint,
                                  "Measured points of the converter, in place of its loss "
                                  "constants."))
    parts.append(_pins())
    parts.append(_tolerances())
    return "\n".join(parts)


def _section(title: str, cls: type[Any], below: str) -> str:
    doc = below or " ".join((cls.__doc__ or "").split("\n\n")[0].split())
    if doc.startswith(cls.__name__ + "("):  # the docstring a dataclass makes itself
        doc = ""
    rows = [_row(spec) for spec in specs(cls).values()]
    head = f"## {title}\n" + (f"\n{doc}\n" if doc else "")
    return (head + "\n| key | what it may be | left out | source | how to get it |\n"
            "|---|---|---|---|---|\n" + "\n".join(rows) + "\n")


def _row(spec: Spec) -> str:
    cells = (f"`{spec.key}`", _may_be(spec), _left_out(spec), spec.source, spec.how)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _may_be(spec: Spec) -> str:
    if spec.type == "number":
        return range_text(spec)
    if spec.unit == "RGB":
        return f"{range_text(spec)}: red, green, blue of an `rgb` lamp"
    if spec.type == "whole":
        return f"whole, {plain(spec.low)} to {plain(spec.high)}"
    if spec.type == "text":
        return f"text, at most {plain(spec.high)} characters"
    if spec.type == "choice":
        return ", ".join(f"`{c}`" for c in spec.choices)
    return "`true` or `false`"


def _left_out(spec: Spec) -> str:
    if spec.typical is not None:
        low, value, high = (plain(x) for x in spec.typical)
        unit = f" {spec.unit}" if spec.unit else ""
        return f"{value}{unit} ({low} to {high})" if low != high else f"{value}{unit}"
    if spec.optional:
        return "not fitted, or optional"
    if spec.type == "text":
        return f'"{spec.default}"'
    if spec.unit == "RGB":
        return f"`0x{spec.default:06X}`"
    if spec.type == "flag":
        return f"`{'true' if spec.default else 'false'}`"
    return "required" if spec.default is None else f"`{spec.default}`"


def _pins() -> str:
    head = "| pin | " + " | ".join(BOARDS) + " |\n|---|" + "---|" * len(BOARDS)
    rows = [f"| `{name}` | " + " | ".join(str(row[i]) for row in BOARDS.values()) + " |"
            for i, name in enumerate(COLUMNS)]
    return ("## [board.pins]\n\nOnly where the wiring differs from the board's own pins: the GP "
            "or IO number, 0 to 48; -1 where an ADC, alert, button or turn pin is not used. "
            "For `kind = \"other\"` all that are used, none of them has a value of its own. "
            "`supply_permille` is the divider before the reservoir's ADC pin, in thousandths.\n\n"
            + head + "\n" + "\n".join(rows) + "\n")


def _tolerances() -> str:
    rows = [f"| `{key}` | {plain(100 * one.share)} % | {one.why} |"
            for key, one in TOLERANCES.items()]
    return ("## Tolerances\n\nBy how much specimens differ from a given value, either way; 95 % "
            "of them lie within. A key that is not here does not vary.\n\n"
            "| key | 95 % within | reason |\n|---|---|---|\n" + "\n".join(rows) + "\n")


if __name__ == "__main__":
    PAGE.write_text(reference_text(), encoding="utf-8", newline="\n")
