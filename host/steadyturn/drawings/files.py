"""Every generated file of hardware/, and the lamp's load switch's and package list of firmware/.

FILES: path below the repository -> function that makes it.

`python -m steadyturn.jobs.drawings` in a checkout writes them, and the pictures; a test
compares.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from steadyturn.drawings import (
    blocks,
    cue_chart,
    cue_page,
    listed,
    placer,
    protection_chart,
    protection_page,
    schematic,
)
from steadyturn.drawings.cautions_page import cautions_text
from steadyturn.drawings.lamp_chart import chart_text
from steadyturn.drawings.lamp_page import page_text
from steadyturn.drawings.package_list import package_text
from steadyturn.drawings.pins import pins_text
from steadyturn.drawings.switch_chart import chart_text as switch_chart_text
from steadyturn.drawings.switch_table import page_text as switch_page_text

FILES: dict[str, Callable[[], str]] = {
    "hardware/pins.md": pins_text,
    "hardware/cautions.md": cautions_text,
    "firmware/package.json": package_text,
    "firmware/lamp.md": page_text,
    "firmware/lamp.svg": chart_text,
    "firmware/cue.md": cue_page.page_text,
    "firmware/cue.svg": cue_chart.chart_text,
    "firmware/switch.md": switch_page_text,
    "firmware/switch.svg": switch_chart_text,
    **listed.FILES,
    **schematic.FILES,
    "hardware/protection.md": protection_page.page_text,
    **protection_chart.FILES,
}


def write(root: Path) -> list[Path]:
    """Write all files below `root`; returns those that changed."""
    changed = [placer.FILE] if placer.renew(listed.all_nets()) else []
    for name, make in FILES.items():
        path = root / name
        text = make()
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
            changed.append(path)
    return changed + blocks.write(root)
