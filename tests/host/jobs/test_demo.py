"""The demo, whole: its screen as expected, its figures as promised, and the path without
MicroPython."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from steadyturn.jobs.review import review

EXPECTED = Path(__file__).parents[2] / "screens" / "demo.txt"
REWRITE = "STEADYTURN_REWRITE_SCREENS"  # set: the expected output is written anew

# what changes from run to run, or with any change of the firmware's text
TOKENS = (
    (r"\S*steadyturn-demo-[^/\s]*", "FOLDER"),
    (r"/dev/(pts/\d+|ttys\d+)", "PORT"),
    (r"-> 0\.\d+\.\d+\+[0-9a-f]{8}", "-> VERSION"),
    (r"files     \d+ new", "files     N new"),
    (r"to write  [\d.]+ kB", "to write  N kB"),
    (r"\(CRC [0-9a-f]{8}\)", "(CRC N)"),
    (r"read back in [\d.]+ s", "read back in N s"),
    (r"kB in [\d.]+ s\)", "kB in N s)"),
    (r"(between |at )?\d\d \w+ \d{4}, \d\d:\d\d( and (\d\d \w+( \d{4})?, )?\d\d:\d\d)?", "WHEN"),
    (r"and the danger, in [^\n]*", "and the danger, in N s"),
    # of a computer with much else to do
    (r"\n\d+ ticks? of the board's loop came late meanwhile\.", ""),
)


# the program, and what its job has returned put into a file: one demo, 10 s of work, for its
# screen and for its figures
KEEPING = """
import sys
from pathlib import Path
from steadyturn.__main__ import start
from steadyturn.jobs import demo as job
from steadyturn.report.objects import to_json
play, kept = job.demo, Path(sys.argv.pop(1))
def demo(*args, **more):
    result = play(*args, **more)
    kept.write_text(to_json(result), encoding="utf-8")
    return result
job.demo = demo
start()
"""


def run(*args, start=("-m", "steadyturn"), **variables):
    return subprocess.run(
        [sys.executable, *start, "demo", *args], capture_output=True, text=True,
        env={**os.environ, "NO_COLOR": "1", **variables}, timeout=120, check=False,
    )


def tokenised(text):
    for pattern, token in TOKENS:
        text = re.sub(pattern, token, text)
    return text


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """What it showed, and its result as JSON."""
    pytest.importorskip("micropython_unix", reason="no MicroPython wheel on this platform")
    kept = tmp_path_factory.mktemp("demo") / "result.json"
    done = run(start=("-c", KEEPING, str(kept)))
    assert done.returncode == 0, done.stderr
    return done.stdout, json.loads(kept.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def shown(played):
    return played[0]


def test_screen_is_the_expected_one(shown):
    text = tokenised(shown)
    if os.environ.get(REWRITE):
        EXPECTED.write_text(text, encoding="utf-8")
    assert text == EXPECTED.read_text(encoding="utf-8")


def test_screen_fits_eighty_columns_and_needs_no_colour(shown):
    assert max(len(line) for line in shown.splitlines() if "/steadyturn-demo-" not in line) <= 80
    assert "\x1b" not in shown


def check(result):
    assert abs(result["difference_percent"]) < 2  # a data-sheet sensor and a 1 % shunt
    assert abs(result["out_difference_percent"]) < 3
    assert result["in_band_percent"] > 90
    assert result["in_band_without_percent"] < 50
    assert result["boots"] == 2
    danger = result["danger"]
    assert danger["would_be_v"] > danger["limit_v"] == 5.5
    assert danger["released_after_ms"] is not None
    assert danger["released_after_ms"] < 45
    assert danger["peak_v"] < danger["would_be_v"]


def test_figures(played):
    text, result = played
    folder = Path(re.search(r"\S*steadyturn-demo-[^/\s]*", text)[0])  # nobody named another
    check(result)
    assert result["real_s"] < 60  # 30 on two quiet cores
    assert (folder / "outing.png").read_bytes().startswith(b"\x89PNG")
    assert "of the phone" in (folder / "outing.html").read_text(encoding="utf-8")
    assert result["not_exercised"] == []
    # the review's ranges hold what the virtual machine truly took and gave
    shown = review(folder / "library")
    taken, given = shown.estimate("energy_in"), shown.estimate("energy_out")
    assert taken.low < result["model_in_wh"] < taken.high
    assert given.low < result["model_out_wh"] < given.high
    assert shown.findings == ()


def test_without_micropython_it_completes_and_names_what_was_left_out(tmp_path):
    done = run("--json", "--folder", str(tmp_path), STEADYTURN_MICROPYTHON="cpython")
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    check(result)
    assert (tmp_path / "outing.png").read_bytes().startswith(b"\x89PNG")
    assert result["port"] is None
    assert any("MicroPython" in what for what in result["not_exercised"])


def test_the_readme_s_review_is_the_demo_s():
    """All but its times and its last line, which names the library."""
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    shown = EXPECTED.read_text(encoding="utf-8").splitlines()
    begin = next(i for i, line in enumerate(shown) if line.startswith("Delivered"))
    assert f"    {shown[begin - 1].removesuffix('WHEN')}" in readme
    assert "\n".join(f"    {line}" for line in shown[begin : begin + 4]) in readme
