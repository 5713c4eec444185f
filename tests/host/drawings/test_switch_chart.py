"""The drawing of the load switch has every row of the table, on the arrow it belongs to."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from steadyturn.drawings import switch_chart
from steadyturn.drawings.switch_table import CONNECTED, RELEASED, STATES, TABLE, Row

SVG = "{http://www.w3.org/2000/svg}"


def shown() -> list[str]:
    tree = ElementTree.fromstring(switch_chart.chart_text())
    return [text.text or "" for text in tree.iter(f"{SVG}text")]


def test_every_state_and_every_row_is_in_the_picture() -> None:
    words = shown()
    assert set(STATES) <= set(words)
    found = re.findall(r"\b(\d+) (\w+)", ", ".join(words))
    for at, row in enumerate(TABLE, 1):
        sides = sum(bool(set(row.sources) & set(group)) for group in (RELEASED, CONNECTED))
        first = row.when.split()[0]
        assert found.count((str(at), first)) == sides, row


def test_an_arrow_ends_where_its_rows_do() -> None:
    for (sources, to), lines in switch_chart.arrows().items():
        for line in lines:
            row = TABLE[int(line.split()[0]) - 1]
            assert row.to == to
            assert set(sources) & set(row.sources)


def test_a_row_that_cannot_be_drawn_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    odd = Row(("young", "connected"), "asked", "proven", "asked")
    monkeypatch.setattr(switch_chart, "TABLE", (*TABLE, odd))
    with pytest.raises(ValueError, match="no way"):
        switch_chart.chart_text()


def test_words_stay_inside_the_picture() -> None:
    """13 px letters are at most 8 px wide on average."""
    tree = ElementTree.fromstring(switch_chart.chart_text())
    for text in tree.iter(f"{SVG}text"):
        if text.get("text-anchor") != "middle":
            assert float(text.get("x", 0)) + 7.2 * len(text.text or "") <= switch_chart.WIDTH
