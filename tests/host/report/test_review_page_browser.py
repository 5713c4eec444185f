"""The review's page in a real browser: no sideways scrolling, every letter's contrast as it is
painted, nothing refused by its own policy. Needs chromium; a minute."""

import html
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from steadyturn.jobs.review import review
from steadyturn.report import review_page

sys.path.insert(0, str(Path(__file__).parent))
import outing_maker
from page_reader import contrast
from test_review import settings_text, shelve

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [pytest.mark.soak,
              pytest.mark.skipif(BROWSER is None, reason="chromium is not installed")]
SCENES = {
    "history": lambda f: outing_maker.history(shelve, f),
    "many boots and gaps": lambda f: shelve(f, outing_maker.many_boots()),
    "ten hours": lambda f: shelve(f, outing_maker.long_boot()),
    "faults only": lambda f: shelve(f, outing_maker.only_faults()),
    "no settings": lambda f: shelve(f, outing_maker.three_boots(), settings=b""),
    "nothing": lambda f: shelve(f, outing_maker.nothing()),
    "hostile names": lambda f: shelve(f, outing_maker.three_boots(), settings=settings_text(
        rig="<script>alert(1)</script>" + "W" * 23, label="M" * 24)),
}
LOOK = """<!doctype html><meta charset="utf-8"><body><pre id="out"></pre><script>
const found = {}; let left = 3;
const ground = (w, e) => { for (; e; e = e.parentElement) {
  const c = w.getComputedStyle(e).backgroundColor; if (!/, 0\\)$/.test(c)) return c; }
  return 'rgb(255, 255, 255)'; };
function look(frame, width) {
  const d = frame.contentDocument, w = frame.contentWindow, pairs = {}, wide = [];
  d.querySelectorAll('details').forEach(e => e.open = true);
  const room = d.documentElement.clientWidth;
  const walk = d.createTreeWalker(d.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || ['title', 'desc', 'STYLE'].includes(e.tagName)) continue;
    const s = w.getComputedStyle(e), svg = e.ownerSVGElement;
    const said = walk.currentNode.data.slice(0, 40);
    if (s.display === 'none') continue;
    pairs[(svg ? s.fill : s.color) + '|' + ground(w, svg || e)] = said;
    const box = e.getBoundingClientRect();
    if (e.className !== 'skip' && (box.left < -1 || box.right > room + 1)
        && box.width) wide.push(said);
  }
  found[width] = {scroll: d.documentElement.scrollWidth, room, pairs, wide};
  if (!--left) document.getElementById('out').textContent = JSON.stringify(found);
}
for (const width of [320, 360, 1280]) {
  const f = document.createElement('iframe'); f.width = width; f.height = 2000;
  f.style.border = 0; f.onload = () => look(f, width); f.src = 'PAGE'; document.body.append(f);
}
</script>"""


def run(*options, limit_s=120):
    return subprocess.run([BROWSER, "--headless", "--no-sandbox", "--disable-gpu", *options],
                          capture_output=True, text=True, timeout=limit_s, check=False)


def hexed(color):
    parts = [round(float(x)) for x in re.findall(r"[\d.]+", color)[:3]]
    return "#" + "".join(f"{part:02x}" for part in parts)


@pytest.fixture(scope="module", params=SCENES)
def page(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    SCENES[request.param](folder)
    beside = "previous" if request.param == "history" else None
    got = review(folder, against=beside)
    review_page.write(got, folder / "review.html")
    assert (folder / "review.html").stat().st_size < 350_000
    return folder / "review.html"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_it_fits_and_can_be_read(page, dark):
    look = page.parent / "look.html"
    look.write_text(LOOK.replace("PAGE", page.as_uri()), encoding="utf-8")
    scheme = [f"--blink-settings=preferredColorScheme={0 if dark else 1}"]
    done = run("--allow-file-access-from-files", "--virtual-time-budget=15000", "--dump-dom",
               *scheme, look.as_uri())
    text = re.search(r'<pre id="out">(.*?)</pre>', done.stdout, re.S).group(1)
    found = json.loads(html.unescape(text))
    assert {*found} == {"320", "360", "1280"}
    for width, seen in found.items():
        assert seen["wide"] == []
        assert seen["scroll"] <= seen["room"] <= int(width)
        assert len(seen["pairs"]) >= 3
        for pair, words in seen["pairs"].items():
            letters, ground = map(hexed, pair.split("|"))
            assert contrast(letters, ground) >= 4.5, (words, pair)
        grounds = {hexed(pair.split("|")[1]) for pair in seen["pairs"]}
        assert ("#16181a" in grounds) == dark


def test_its_policy_refuses_nothing_of_its_own(page):
    done = run("--enable-logging=stderr", "--dump-dom", page.as_uri())
    assert "Content Security Policy" not in done.stderr
    assert "Refused" not in done.stderr


def test_its_policy_refuses_what_is_smuggled_in(page, tmp_path):
    text = page.read_text(encoding="utf-8")
    bad = tmp_path / "bad.html"
    bad.write_text(text.replace("</main>", "<script>document.title='ran'</script>"
                                "<img src='x.png' onerror=\"document.title='ran'\"></main>"),
                   encoding="utf-8")
    done = run("--enable-logging=stderr", "--dump-dom", bad.as_uri())
    assert "<title>ran</title>" not in done.stdout
    assert "Content Security Policy" in done.stderr


def test_it_prints(page, tmp_path):
    paper = tmp_path / "review.pdf"
    run(f"--print-to-pdf={paper}", "--no-pdf-header-footer", page.as_uri())
    raw = paper.read_bytes()
    assert raw.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", raw)) <= 12
