"""`steadyturn card`: its tables are the firmware's, it fits one side, it refuses what would be
a lie."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from steadyturn.cli import main as front
from steadyturn.errors import Failed
from steadyturn.jobs.card import Card, card_of, signals
from steadyturn.jobs.charge import charge_answer
from steadyturn.jobs.hazards import Hazard
from steadyturn.model import bank
from steadyturn.model.band import find_band
from steadyturn.model.change import with_value
from steadyturn.report import card_page
from steadyturn.report.card import strip, text
from steadyturn.report.card_words import FAULTS, LOOKS, words
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.thresholds import thresholds
from steadyturn_fw import pages, patterns

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from page_reader import Reader, faults

GOOD = ("lakeside-hut", "night-ferry", "radio-tent")
LAMPS = tuple(patterns.COLUMN)
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def cards() -> dict[str, Card]:
    return {name: card_of(read_rig(example_path(name)), f"{name}.toml") for name in GOOD}


def with_lamp(card: Card, lamp: str) -> Card:
    other = replace(card, lamp=lamp, signals=tuple(signals(lamp, card.beat_ms, button=True)))
    return replace(other, words=words(other))


def test_it_says_from_which_pace_on_it_connects(cards) -> None:
    """Below it nothing happens, though the pace is one that charges."""
    for card in cards.values():
        rig = card.described
        set_to = thresholds(rig, find_band(rig, deep=False))
        above = math.ceil(card.connect_tpm)
        below_v, there_v = (float(bank.emf_v_per_tpm(rig, rig.air.hot_c)) * tpm
                            for tpm in (card.low_tpm, above))
        # the EMF, less a brush's and a diode's drop, which the board's own draw needs
        assert below_v - 0.3 < set_to.connect_v < there_v
        assert f"to start, above {above}." in card.words.keep
        assert f"(above {above} a minute)" in " ".join(card.words.connect)
    easy = replace(cards["lakeside-hut"], connect_tpm=49.0)
    assert "start" not in words(easy).keep


@pytest.mark.parametrize("lamp", LAMPS)
def test_the_lamps_table_is_the_firmwares(cards, lamp) -> None:
    """Every cue that the board has, with the steps of its pattern; drawn to the millisecond."""
    card = with_lamp(cards["lakeside-hut"], lamp)
    shown = {s.name: s.steps for s in card.signals}
    rows = {row[0]: row[patterns.COLUMN[lamp]] for row in patterns.PATTERNS}
    for cue in pages.CUES:
        if cue == "fault":
            continue
        total = sum(ms for _, ms in shown[cue])
        assert [level for level, _ in shown[cue]] == [level for level, _ in rows[cue]], cue
        for (_, ms), (_, told) in zip(shown[cue], rows[cue], strict=True):
            assert ms == told or (told == patterns.BEAT and total == card.beat_ms), cue
    assert shown["fault"] == (*rows["fault_lead"], *rows["fault_flash"] * 2, *rows["fault_pause"])
    assert shown["count"][:len(rows["count_lead"] + rows["count_ten"])] == (
        rows["count_lead"] + rows["count_ten"])
    page = Reader(card_page.page(card))
    drawn = [e for e in page.all("rect") if e["at"].get("class") in ("lit", "on")]
    lit_ms = 0
    for steps in shown.values():
        told = [level for level, ms in steps for _ in range(ms)]
        lit_ms += sum(1 for t in range(5000) if told[t % len(told)])
    assert sum(float(e["at"]["width"]) * 10 for e in drawn) == pytest.approx(lit_ms)


def test_the_beat_is_the_boards(cards) -> None:
    for card in cards.values():
        assert card.beat_ms == patterns.beat_ms(round(10 * card.target_tpm))
        faster = next(s for s in card.signals if s.name == "faster")
        assert sum(ms for _, ms in faster.steps) == card.beat_ms
    slow = with_value(read_rig(example_path("lakeside-hut")), "arm.comfort_low_tpm", 30.0)
    half = replace(cards["lakeside-hut"], target_tpm=40.0, beat_ms=750, described=slow,
                   flashes_per_turn=2.0)
    assert "2 flashes a turn" in text(replace(half, words=words(half)))


def test_the_faults_are_the_firmwares(cards) -> None:
    assert tuple(FAULTS) == pages.FAULTS[1:]
    assert set(LOOKS) == {*pages.CUES, "percent", "count"}
    card = cards["night-ferry"]
    assert list(card.faults.items()) == list(enumerate(pages.FAULTS))[1:]
    table = next(t for t in Reader(card_page.page(card)).all("table")
                 if t["at"].get("class") == "faults")
    for code, name in enumerate(pages.FAULTS):
        if code:
            assert f"{code}{FAULTS[name][0]}." in table["text"].replace("\n", "")


@pytest.mark.parametrize("name", GOOD[1:])
def test_its_numbers_are_the_models(cards, name) -> None:
    card = cards[name]
    phone = "off" if card.described.load.kind == "phone" else None
    asked = charge_answer(example_path(name), minutes=10, phone=phone)
    assert (card.low_tpm, card.high_tpm) == asked.band_tpm
    assert card.target_tpm == asked.pace_tpm
    gained = asked.work.gained_percent
    assert card.gained_percent.value == pytest.approx(gained.value)
    assert (card.gained_percent.low, card.gained_percent.high) == pytest.approx(
        (gained.low, gained.high))
    assert f"{gained.value:.2g} %" in card.words.gains
    assert f"{asked.pace_tpm:.0f} turns a minute" in text(card)


def test_text_and_page(cards) -> None:
    other = [with_lamp(cards["lakeside-hut"], lamp) for lamp in LAMPS]
    for card in (*cards.values(), *other):
        assert max(map(len, text(card).splitlines())) <= 80
        assert faults(card_page.page(card)) == []
        said = text(card)
        for step in (*card.words.connect, *card.words.dark, *card.words.bypass):
            assert step.split(".")[0] in " ".join(said.split())


def test_what_the_bypass_leaves_is_said(cards) -> None:
    assert "5.45 V" in " ".join(cards["lakeside-hut"].words.bypass)
    bare = replace(cards["lakeside-hut"], cut_v=None)
    said = words(bare)
    assert "NOT for a phone" in " ".join(said.bypass)
    assert not any("the bypass" in line.means for line in said.faults)


def test_no_light_follows_the_feed(cards) -> None:
    assert f"above {cards['lakeside-hut'].wake_tpm:.0f} a minute" in (
        cards["lakeside-hut"].words.dark[0])
    assert "cell" in cards["night-ferry"].words.dark[0]
    assert "power bank" in cards["radio-tent"].words.dark[0]
    assert "other way" not in " ".join(cards["night-ferry"].words.dark)  # it has a bridge


@pytest.mark.parametrize(("rig", "why"), [("dangerous-barn", "dangerous as built"),
                                          ("toy-motor", "no pace works")])
def test_no_card_for_what_would_be_a_lie(rig, why, tmp_path, capsys) -> None:
    page = tmp_path / "card.html"
    assert front.code(["card", rig, "--html", str(page)]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert why in " ".join(err.split())
    assert f"{rig}'" in " ".join(err.split())  # a command that leads on
    assert not page.exists()


def test_a_rig_whose_board_cannot_be_set_has_no_card() -> None:
    rig = with_value(read_rig(example_path("radio-tent")), "sensor.shunt_mohm", 0.2)
    with pytest.raises(Failed, match="shunt"):
        card_of(rig, "x.toml")


def test_the_command(tmp_path, capsys) -> None:
    page = tmp_path / "card.html"
    assert front.code(["card", "night-ferry", "--html", str(page), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["page"] == str(page)
    assert found["faults"]["7"] == "temperature"
    assert page.read_text(encoding="utf-8").count("<h1>") == 1
    assert front.code(["card", "night-ferry", "--html", str(tmp_path / "card.pdf")]) == 2


def test_strips_in_signs() -> None:
    rest = next(row[1] for row in patterns.PATTERNS if row[0] == "rest")
    assert strip(rest, 4.2) == "#" + 39 * "." + "#."
    assert strip(((1, 60), (2, 60), (0, 880)), 1.2) == "#^........#^"


def test_hostile_names_stay_words(cards) -> None:
    hostile = replace(cards["lakeside-hut"], rig="<script>alert(1)</script>\u202e", label="<b>")
    page = card_page.page(hostile)
    assert faults(page) == []
    assert "<script" not in page
    assert "\u202e" not in page


@pytest.mark.skipif(BROWSER is None, reason="chromium is not installed")
def test_it_is_one_side_of_a4_and_of_letter(cards, tmp_path) -> None:
    """Printed: every example, every kind of lamp, the longest names, the longest texts."""
    long = [replace(with_lamp(cards["lakeside-hut"], lamp), rig="W" * 48, label="M" * 24)
            for lamp in ("led", "piezo", "vibration")]  # all that shine have the same words
    missing = Hazard("single_fault_output_cut", 12.0, 5.5, "if the output cut does not act, "
                     "nothing else parts the device from the generator", "", False)
    weak = replace(long[0], cut_v=None, capacity_given=False, hazards=(missing,))
    every = [*cards.values(), *long, replace(weak, words=words(weak))]
    sides = []
    for card, side in product(every, ("letter", "a4")):
        page = card_page.page(card)
        body = page[page.index("<main>"):page.index("</main>") + len("</main>")]
        sides.append(f'<section class="{side}">{body}</section>')
    margin = "@page { margin: 9mm; }"
    assert margin in card_page.STYLE
    style = card_page.STYLE.replace(margin, "") + "".join(
        f"@page {side} {{ size: {side}; margin: 9mm; }} .{side} {{ page: {side}; break-after: "
        "page; }" for side in ("letter", "a4"))
    source, printed = tmp_path / "all.html", tmp_path / "all.pdf"
    source.write_text(f"<!doctype html><meta charset='utf-8'><style>{style}</style><body>"
                      + "".join(sides), encoding="utf-8")
    subprocess.run([BROWSER, "--headless", "--no-sandbox", "--disable-gpu",
                    "--no-pdf-header-footer", f"--print-to-pdf={printed}", source.as_uri()],
                   capture_output=True, timeout=100, check=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed.read_bytes())) == len(sides)
