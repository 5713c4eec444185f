"""The review's page: what stands in it, and that nothing in it runs, loads or cannot be read."""

import dataclasses
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from steadyturn.cli.main import code
from steadyturn.jobs.review import review
from steadyturn.report import review_page
from steadyturn.report.html_parts import esc
from steadyturn.report.review_page_style import (
    DARK,
    DRAWN,
    GROUNDS,
    LETTERS,
    LIGHT,
    style,
)
from steadyturn.sessions.findings import Finding
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parent))
import outing_maker
from page_maker import make_page
from page_reader import Reader, contrast, faults
from test_review import settings_text, shelve

HOSTILE = (
    "<script>alert(1)</script>", "\"><img src=x onerror=a>", "' onmouseover='a", "&lt;b&gt;",
    "</title></style>", "]]><!--", "javascript:a", "\u202eevil\u2066", "\x1b[2J\x07\x00", "\ud800",
    "x" * 5000, "\u05e9\u05dc\u05d5\u05dd", "{{7*7}}", "\r\nSet-Cookie: a",
)
SCENES = {
    "history": None,
    "three boots": outing_maker.three_boots, "many boots and gaps": outing_maker.many_boots,
    "faults only": outing_maker.only_faults, "nothing": outing_maker.nothing,
    "an hour": lambda: outing_maker.long_boot(1.0),
}


@pytest.fixture(scope="module", params=SCENES)
def shown(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("library")
    if SCENES[request.param] is None:
        outing_maker.history(shelve, folder)
        got = review(folder, against="previous")
    else:
        shelve(folder, SCENES[request.param](), host_s=1.7e9)
        got = review(folder)
    return request.param, got, review_page.page(got)


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    folder = tmp_path_factory.mktemp("library")
    shelve(folder, outing_maker.three_boots())
    return review_page.page(review(folder))


def test_nothing_is_wrong_with_it(shown):
    assert faults(shown[2]) == []


@pytest.mark.parametrize(("what", "instead"), [
    ("</main>", "<script>a()</script></main>"), ("<nav", "<nav onclick='a'"),
    ("<nav", "<nav style='color:red'"), ('href="#pace"', 'href="https://a"'),
    ('href="#pace"', 'href="#nowhere"'), ("</main>", "<img src='a'></main>"),
    ("<h2 ", "<h3 "), ("</section>", ""), ('<th scope="row"', "<th"),
    ("<style>", "<style>@import 'a';"), ('id="power"', 'id="pace"'), ("default-src 'none'; ", ""),
    (' role="img"', ""), ("<caption>", "<caption></caption><caption>"), ("</main>", "<b></main>"),
    (' lang="en"', ""), ("url(#pace-gap)", "url(a.svg)"), ("<figcaption>", "<p>"),
    ('scope="col"', 'scope="col" scope="row"'), ("</main>", "<svg></svg></main>"),
    ("<title>", "<title></title><title>"), ("<h1>", "<h1></h1><h1>"), ("doctype html", "doctype"),
])
def test_the_reader_sees_what_is_wrong(good, what, instead):
    assert what in good
    assert faults(good.replace(what, instead, 1))


def test_it_has_landmarks_and_a_way_past_the_contents(shown):
    read = Reader(shown[2])
    assert [len(read.all(tag)) for tag in ("header", "nav", "main", "footer")] == [1, 1, 1, 1]
    first = read.all("a", "summary")[0]
    assert first["at"] == {"class": "skip", "href": "#review"}
    main = read.all("main")[0]
    assert main["at"]["id"] == "review"
    assert read.all("nav")[0]["at"]["aria-label"]
    linked = {e["at"]["href"] for e in read.all("a") if "nav" in e["inside"]}
    assert linked == {f"#{e['at']['id']}" for e in read.all("h2")}


def test_history_and_the_other_outing_are_in_it(shown):
    what, got, text = shown
    read = Reader(text)
    heads = [e["text"] for e in read.all("h2")]
    assert ("Side by side" in heads) == (what == "history")
    if what != "history":
        assert not any(e["at"].get("class") == "this" for e in read.all("path"))
        return
    signs = [e["at"]["href"] for e in read.all("use")]
    assert signs.count("#history-this") == 4  # one in each panel
    assert signs.count("#history-dot") == 4 * 7
    table = next(t for t in read.all("table") if "outings of this machine" in t["text"])
    rows = [e for e in read.all("tr") if e["parent"]["parent"] is table]
    assert len(rows) == 1 + 8
    cells = [c["text"] for r in rows[1:] for c in read.all("td") if c["parent"] is r]
    delivered = [float(text) for text in cells[1::5]]
    assert delivered[-1] == pytest.approx(got.figures.energy_out_wh, abs=5e-4)
    assert sum(delivered[:-1]) * 3600 == pytest.approx(
        3600 * sum(o.out_wh for o in got.machine[:-1]), abs=15)


def test_outings_of_another_rig_are_no_history(tmp_path):
    outing_maker.history(shelve, tmp_path, 3, settings=settings_text(rig="another"))
    outing_maker.history(shelve, tmp_path, 1)
    text = review_page.page(review(tmp_path, outing=1))
    assert "#history-this" not in text
    assert "#history-this" in review_page.page(review(tmp_path, outing=2))


def test_findings_come_with_evidence_and_caution(tmp_path):
    shelve(tmp_path, outing_maker.three_boots()[:12])
    got = review(tmp_path)
    finding = Finding("too_many_volts", {"times": 2, "peak_v": 13.0, "peak_pace_tpm": 140.0},
                      None, 1e6)
    text = review_page.page(dataclasses.replace(got, findings=(finding,)))
    read = Reader(text)
    assert faults(text) == []
    assert [e["text"][:17] for e in read.all("h3")] == ["1. Too many volts"]
    box = next(e for e in read.all("div") if e["at"].get("class") == "find")
    for words in ("13 V", "steadyturn check RIG", "Nothing above 5.5 V may reach the phone"):
        assert words in box["text"]


def test_every_figure_is_labelled_by_how_it_is_known(good):
    read = Reader(good)
    table = next(t for t in read.all("table") if "95 % range" in t["text"])
    kinds = [e["text"] for e in read.all("span")
             if (e["at"].get("class") or "").startswith("kind")]
    rows = [e for e in read.all("tr") if e["parent"]["parent"] is table]
    assert len(kinds) == len(rows) - 1 > 10
    assert {*kinds} == {"measured", "inferred"}
    borders = re.findall(r"\.(inferred|modelled) \{ border-style: (\w+)", style())
    assert len({*borders}) == 2  # told apart without colour


def test_without_settings(tmp_path):
    shelve(tmp_path, outing_maker.three_boots(), settings=b"")
    text = review_page.page(review(tmp_path))
    assert faults(text) == []
    assert "shaded: band" not in text


def test_gaps_are_hatched_and_named(tmp_path):
    shelve(tmp_path, outing_maker.three_boots())
    read = Reader(review_page.page(review(tmp_path)))
    assert sum(e["text"] == "length unknown" for e in read.all("text")) == 4  # two in each drawing
    assert sum(e["at"].get("class") == "gap" for e in read.all("rect")) == 4
    assert any("Hatched: no power between two boots, length unknown" in e["text"]
               for e in read.all("figcaption"))


def test_stalls_and_missing_pages_are_shown(tmp_path):
    shelve(tmp_path, outing_maker.many_boots(8))
    got = review(tmp_path)
    read = Reader(review_page.page(got))
    assert got.figures.missing_pages
    assert any(e["at"].get("class") == "hole" for e in read.all("rect"))
    lost = [e for e in read.all("path") if e["at"].get("class") == "bar lost"]
    assert len(lost) == 2
    assert lost[0]["at"]["d"].count("M") > 5


def test_the_cues_differ_in_shape():
    from steadyturn.report.review_page_time import STRIPES

    assert len(set(STRIPES.values())) == len(STRIPES)
    assert {*STRIPES} == {*layout.CUES}


def test_the_table_has_the_samples_of_the_curves(tmp_path):
    shelve(tmp_path, outing_maker.three_boots())
    got = review(tmp_path)
    read = Reader(review_page.page(got))
    table = next(t for t in read.all("table") if "Means over" in t["text"])
    rows = [e for e in read.elements if e["tag"] in ("td", "th") and e["parent"]["parent"]
            and e["parent"]["parent"]["tag"] == "tbody"
            and e["parent"]["parent"]["parent"] is table]
    volts = [float(e["text"]) for e in rows[3::7]]
    begin = [e["text"].split()[0] for e in rows[1::7]]
    first = got.pages.samples[got.pages.samples["boot"] == 1]
    seconds = int(begin[1].split(":")[0]) * 60 + int(begin[1].split(":")[1])
    assert volts[0] == pytest.approx(
        first[first["t_ms"] < 1000 * seconds]["bus_mv"].mean() / 1000, abs=0.006)
    assert 20 <= len(volts) <= 60


@pytest.mark.parametrize("bad", HOSTILE)
def test_names_from_outside_stay_words(tmp_path, bad):
    shelve(tmp_path, outing_maker.three_boots()[:12])
    got = review(tmp_path)
    assert len(got.outings) == 1
    figures = dataclasses.replace(got.figures, faults=3, faults_by_name={bad: 3},
                                  releases={bad: 1})
    outings = tuple(dataclasses.replace(o, note=f"{bad}\nsecond", label=bad, rig=bad)
                    for o in got.outings)
    hurt = dataclasses.replace(got, rig=bad, label=bad, board=bad, figures=figures,
                               outings=outings)
    text = review_page.page(hurt)
    assert faults(text) == []
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", text)
    text.encode("utf-8")
    title = Reader(text).all("title")[0]["text"]
    assert len(title) < 260
    assert "Note to outing 1: " in text


def test_names_from_the_board(tmp_path):
    bad = "<script>alert(1)</script>"
    shelve(tmp_path, outing_maker.three_boots()[:8],
           settings=settings_text(rig=bad, label="<img src=x>\"'"))
    text = review_page.page(review(tmp_path))
    assert faults(text) == []
    assert esc(bad) in text
    assert bad not in text


def test_escaping():
    assert esc("<&>\"'") == "&lt;&amp;&gt;&quot;&#x27;"
    assert esc("a\u202eb\x1bc\ud800") == "ab\ufffdc\ufffd"
    assert esc("\u00e4 \u05d0 \U0001f600\n") == "\u00e4 \u05d0 \U0001f600\n"
    assert esc("y" * 1000, 10) == "yyyyyyyyy\u2026"


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_contrast(palette):
    assert {*LIGHT} == {*DARK}
    css = style()
    for name, value in palette.items():
        assert f"--{name}: {value};" in css
    for letters in LETTERS:
        for ground in GROUNDS:
            assert contrast(palette[letters], palette[ground]) >= 4.5, (letters, ground)
    for line in DRAWN:
        assert contrast(palette[line], palette["paper"]) >= 3, line
    for line in ("pace", "volts", "faint", "edge"):
        assert contrast(palette[line], palette["range"]) >= 3, line
    assert contrast("#ffffff", "#000000") == 21.0  # WCAG 2.2's own ends
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # from memory


def test_letters_and_grounds_of_the_style_are_those_reckoned():
    css = style()
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", css)
    letters = {name for _, body in rules
               for name in re.findall(r"(?<![-\w])color:\s*var\(--(\w+)\)", body)}
    letters |= {name for at, body in rules if re.search(r"text|\.tick|\.upright", at)
                for name in re.findall(r"fill:\s*var\(--(\w+)\)", body)}
    grounds = {name for _, body in rules
               for name in re.findall(r"background:\s*var\(--(\w+)\)", body)}
    drawn = {name for _, body in rules
             for name in re.findall(r"(?:fill|stroke):\s*var\(--(\w+)\)", body)}
    assert letters <= {*LETTERS}
    assert grounds <= {*GROUNDS}
    assert drawn <= {*DRAWN, "faint", "grid", "gap", "range", "paper"}
    assert not re.search(r"(?<![-\w])(?:color|background|fill|stroke):\s*#", css)


def test_a_long_outing_is_a_file_of_moderate_size(shown):
    what, _, text = shown
    assert len(text) < (300_000 if what == "an hour" else 250_000)


def odd_pages(rng, count):
    """Whole pages that no board would write: times, boots, codes and counts by chance."""
    pages = []
    seq = 1
    for _ in range(count):
        seq += int(rng.integers(1, 4))
        samples = [None if rng.random() < 0.1 else tuple(
            int(rng.integers(0, 1 << bits)) for bits in (
                layout.BITS_BUS, layout.BITS_AMPS, layout.BITS_PACE, layout.BITS_BUS_PEAK,
                layout.BITS_AMPS_PEAK, layout.BITS_CUE, layout.BITS_CONNECTED,
                layout.BITS_VALID)) for _ in range(rng.integers(0, layout.SAMPLES + 1))]
        events = [(int(rng.integers(0, 256)), int(rng.integers(-3000, 3000)),
                   int(rng.integers(0, 1 << 16)))
                  for _ in range(rng.integers(0, layout.EVENTS + 1))]
        pages.append(make_page(
            seq, boot=int(rng.integers(1, 4)), t0_ms=int(rng.choice([0, 5000, 2**31, 2**32 - 1])),
            samples=samples, events=events, flags=int(rng.choice(
                [0, layout.FLAG_FADING, layout.FLAG_FLUSHED, layout.FLAG_SATURATED])),
            totals={"energy_in": int(rng.integers(0, 1 << 47)), "turns": int(rng.integers(0, 9)),
                    "energy_out": int(rng.integers(0, 1 << 47)),
                    "charge": int(rng.integers(0, 1 << 47)), "on": int(rng.integers(0, 9999))}))
    return pages


def odd_page_faults(folder, seed):
    rng = np.random.default_rng(seed)
    shelve(folder, odd_pages(rng, int(rng.integers(1, 30))))
    text = review_page.page(review(folder))
    wrong = faults(text)
    return wrong + re.findall(r'[^"]{0,30}="[^"]*\b(?:nan|inf)\b[^"]*"', text)


@pytest.mark.parametrize("seed", range(6))
def test_odd_pages_make_a_page_too(tmp_path, seed):
    assert odd_page_faults(tmp_path, seed) == []


@pytest.mark.soak
def test_many_odd_pages_make_a_page_too(tmp_path):
    for seed in range(100, 700):
        assert odd_page_faults(tmp_path / str(seed), seed) == [], seed


def test_by_the_command_without_matplotlib(tmp_path, capsys, monkeypatch):
    shelve(tmp_path, outing_maker.three_boots()[:8])
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    page = tmp_path / "a.html"
    assert code(["review", "--library", str(tmp_path), "--html", str(page)]) == 0
    assert f"Page: {page}" in capsys.readouterr().out
    first = page.read_bytes()
    assert faults(first.decode()) == []
    assert code(["review", "--library", str(tmp_path), "--html", str(page)]) == 0
    assert page.read_bytes() == first
    for wrong in ("a.txt", "no/a.html"):
        assert code(["review", "--library", str(tmp_path), "--html", str(tmp_path / wrong)]) == 2
        assert "--html" in capsys.readouterr().err
