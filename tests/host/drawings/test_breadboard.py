"""Places and wires of the breadboard join what the parts table joins, and nothing else."""

from __future__ import annotations

import re
from collections import Counter
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from steadyturn.circuit.table import PLACES
from steadyturn.drawings import breadboard, listed, placer
from steadyturn.drawings.board_side import BOARD, SUPPLY, pins_of
from steadyturn.drawings.breadboard import HOLE, Lead, Wire
from steadyturn.drawings.headers import PICO_LEFT, PICO_RIGHT, PICOS, wiring_picture
from steadyturn.rig.examples import example_names
from steadyturn_fw.boards import BOARDS, COLUMNS
from test_schematic import LAMPS, parts, rig_of

ROOT = Path(__file__).parents[3]
LAYOUT = placer.stored()
FREE_ROWS = 56  # from there on: turn_and_load.md
CASES = [(name, place, "") for name in example_names() for place in PLACES]
CASES += [("lakeside-hut", "bus_switch", more)
          for more in ("all options", "adc", *LAMPS, *BOARDS)]


def built(example, place, more=""):
    rig = rig_of(example, place, more)
    found = parts(rig, "c")
    return rig, found, breadboard.build(rig, found, LAYOUT)


def wanted(found, made):
    nets = {}
    for part in found:
        for pin, net in pins_of(part).items():
            if part.ref not in made.free:
                nets.setdefault(net, set()).add((part.ref, pin))
    return sorted(map(sorted, nets.values()))


@pytest.mark.parametrize(("example", "place", "more"), CASES)
def test_what_is_joined_is_what_the_table_joins(example, place, more):
    _, found, made = built(example, place, more)
    assert sorted(map(sorted, breadboard.joined(made))) == wanted(found, made)
    holes = [lead.place for lead in made.leads if HOLE.fullmatch(lead.place)]
    holes += [end for wire in made.wires for end in (wire.start, wire.end) if HOLE.fullmatch(end)]
    assert [hole for hole, times in Counter(holes).items() if times > 1] == []
    assert all(1 <= int(HOLE.fullmatch(hole)[2]) <= placer.ROWS for hole in holes)
    options = {"R52", "R53", "C53", "R54", "R56", "R57"}
    if more == "vibration":
        options |= {"R50", "R51", "Q50", "D52"}
    if more == "rgb":
        options |= {"C50"}
    assert set(made.free) <= options
    assert max(int(HOLE.fullmatch(hole)[2]) for hole in holes) < FREE_ROWS


def test_the_options_have_holes_of_their_own():
    """turn_and_load.md says where they go: on rows that no circuit uses, each hole once."""
    text = (ROOT / "hardware/turn_and_load.md").read_text(encoding="utf-8")
    holes = re.findall(r"\b([a-j])(\d\d)\b", text)
    assert len(holes) > 15
    assert len(set(holes)) == len(holes)
    assert {int(row) for _, row in holes} <= set(range(FREE_ROWS, placer.ROWS + 1))
    for ref in ("R52", "R53", "C53", "R54", "R55", "Q55", "R56", "R57", "R50", "R51", "Q50",
                "D52", "C50"):
        assert ref in text, ref


@pytest.mark.parametrize("place", PLACES)
def test_no_part_lies_over_another(place):
    _, _, made = built("radio-tent", place)
    spans = {}
    for lead in made.leads:
        hole = HOLE.fullmatch(lead.place)
        if hole and lead.ref != breadboard.CHIP:
            spans.setdefault((hole[1], lead.ref), []).append(int(hole[2]))
    for (one, a), (other, b) in combinations(spans.items(), 2):
        if one[0] == other[0]:
            assert max(a) < min(b) or max(b) < min(a), (one, other)


def test_a_short_and_a_missing_wire_are_noticed():
    _, found, made = built("lakeside-hut", "bus_switch")
    right = wanted(found, made)
    bus = next(place for place, net in made.terminals.items() if net == "bus")
    made.wires.append(Wire("a short", bus, breadboard.RAILS["gnd"]))
    assert sorted(map(sorted, breadboard.joined(made))) != right
    del made.wires[-1]
    gone = next(wire for wire in made.wires if wire.net == "hold")
    made.wires.remove(gone)
    assert sorted(map(sorted, breadboard.joined(made))) != right
    made.wires.append(gone)
    moved = next(at for at, lead in enumerate(made.leads) if lead.ref == "R2")
    lead = made.leads[moved]
    row = int(HOLE.fullmatch(lead.place)[2])
    made.leads[moved] = Lead(lead.ref, lead.pin, f"{lead.place[0]}{row + 1}")
    assert sorted(map(sorted, breadboard.joined(made))) != right


def test_the_layout_is_that_of_todays_table():
    # after a change of the parts table: python -m steadyturn.jobs.drawings
    assert placer.fits(LAYOUT, listed.all_nets())


def test_a_layout_that_no_longer_fits_is_searched_anew(tmp_path, monkeypatch):
    monkeypatch.setattr(placer, "FILE", tmp_path / "layout.json")
    monkeypatch.setattr(placer, "BLOCKS", {"L": {"a": ("R1", "R2", "Q1")}, "R": {}})
    monkeypatch.setattr(placer, "TRIES", 300)
    nets = {"R1": ("resistor", ("x", "y")), "R2": ("resistor", ("y", "gnd")),
            "Q1": ("nmos", ("y", "z", "gnd"))}
    assert placer.renew(nets)
    assert not placer.renew(nets)
    rows = placer.stored()["L"]["a"]["rows"]
    assert all(a < b for a, b in pairwise(rows.values()))
    assert abs(rows["x"] - rows["y"]) >= 2
    assert placer.renew(nets | {"R2": ("resistor", ("y", "w"))})
    with pytest.raises(ValueError, match="part the block in two"):
        placer.search({f"R{n}": ("nmos", ("a", "a", "b")) for n in (1, 2)})


@pytest.mark.parametrize("kind", BOARDS)
def test_the_drawing_of_a_boards_wires_has_the_firmwares_pins(kind):
    rig, found, made = built("lakeside-hut", "bus_switch", kind)
    tree = ElementTree.fromstring(wiring_picture(rig, found, made))
    text = "{http://www.w3.org/2000/svg}text"
    bold = {each.text for each in tree.iter(text) if each.get("font-weight") == "bold"}
    pins = dict(zip(COLUMNS, BOARDS[kind], strict=True))
    used = pins_of(next(part for part in found if part.ref == BOARD))
    letters = "IO" if kind.startswith("esp") else "GP"
    named = {f"{letters}{pins[pin]}" for pin in used if pin not in SUPPLY}
    assert {name for name in bold if re.fullmatch(r"(GP|IO)\d+", name)} == named
    words = " ".join(each.text for each in tree.iter(text))
    assert all(net in words for pin, net in used.items())
    assert (ROOT / "hardware" / "wiring" / f"{kind}.svg").exists()


def test_a_picos_header():
    """Raspberry Pi Pico data sheet: GP0-GP22 and GP26-GP28 once each, eight grounds, 40 pins."""
    pins = PICO_LEFT + PICO_RIGHT
    assert len(pins) == 40
    assert {name for name in pins if re.fullmatch(r"GP\d+", name)} == {
        f"GP{n}" for n in (*range(23), 26, 27, 28)}
    assert sum(name in ("GND", "AGND") for name in pins) == 8
    at = {name: n for n, name in enumerate(PICO_LEFT, 1)} | {
        name: 40 - n for n, name in enumerate(PICO_RIGHT)}
    assert (at["GP4"], at["GP15"], at["GP16"], at["GP26"], at["VSYS"], at["3V3"]) == (
        6, 20, 21, 31, 39, 36)
    assert all(kind in BOARDS for kind in PICOS)


def test_pictures_words_stay_inside():
    for kind in BOARDS:
        svg = ElementTree.fromstring(listed.board_svg(kind))
        wide = float(svg.get("width"))
        for text in svg.iter("{http://www.w3.org/2000/svg}text"):
            long = 0.62 * float(text.get("font-size")) * len(text.text)
            x, anchor = float(text.get("x")), text.get("text-anchor")
            left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * long
            assert left >= 0, text.text
            assert left + long <= wide, text.text
