"""The examples in the docstrings run, and parts.md says what the reader reads."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest
import steadyturn.sizing
from steadyturn.rig.types import specs
from steadyturn.rig.units import plain
from steadyturn.sizing.drawer import DRAWER_PARTS, Limits
from steadyturn.sizing.parts_file import FOLDER

MODULES = [m.name for m in pkgutil.iter_modules(steadyturn.sizing.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_doctests(name) -> None:
    module = importlib.import_module(f"steadyturn.sizing.{name}")
    assert doctest.testmod(module).failed == 0


def test_the_page_names_every_table_and_limit() -> None:
    page = (FOLDER / "parts.md").read_text(encoding="utf-8")
    for section in DRAWER_PARTS:
        assert f"[{section}]" in page
    table = page.split("| `[limits]` | default |")[1].split("\n\n")[0]
    for field, spec in specs(Limits).items():
        (row,) = [line for line in table.split("\n") if f"`{spec.key}`" in line]
        default = getattr(Limits(), field) / spec.scale
        assert plain(default) in row.split("|")[2].replace(" ", "").split(","), row
    assert table.count("`") == 2 * len(specs(Limits))


def test_every_key_of_the_new_file_is_right_when_uncommented() -> None:
    from steadyturn.sizing.parts_file import read_drawer_text

    text = (FOLDER / "new_parts.toml").read_text(encoding="utf-8")
    head, rest = text.split("# ---- motors", 1)
    lines = []
    for line in ("# ---- motors" + rest).split("\n"):
        bare = line.removeprefix("# ")
        is_key = line.startswith("# ") and (" = " in bare.split("#")[0] or bare.startswith("[["))
        lines.append(bare if is_key else line)
    found = read_drawer_text(head + "\n".join(lines), "new.toml")
    assert len(found.motors) == 2
    assert found.parts["protection"].bus_clamp_w == 10
    assert found.limits.max_series == 4
