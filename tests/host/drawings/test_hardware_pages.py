"""The pages of hardware/: links lead somewhere, each risky page has its cautions, no brands."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
PAGES = sorted((ROOT / "hardware").glob("*.md"))
# page -> acts (steadyturn.cautions) whose box stands in it
ACTS = {"breadboard.md": {"wire", "first turn"}, "soldered.md": {"solder"},
        "power_path.md": {"wire"},
        "set_converter.md": {"set"}, "usb_output.md": {"connect"}, "mechanics.md": {"gears"}}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert (page.parent / target).exists(), target


@pytest.mark.parametrize("name", ACTS)
def test_cautions_stand_at_the_risky_act(name):
    text = (ROOT / "hardware" / name).read_text(encoding="utf-8")
    assert set(re.findall(r"<!-- made: cautions ([^>]+?) -->", text)) == ACTS[name]


def test_the_order_of_reading_names_every_page():
    text = (ROOT / "hardware" / "README.md").read_text(encoding="utf-8")
    assert {page.name for page in PAGES} - {"README.md"} <= set(re.findall(r"\((\w+\.md)\)", text))
    assert "cautions.md" in text.split("|")[0], "cautions come before the first step"
