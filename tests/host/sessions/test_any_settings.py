"""Settings and rig files in a library may be anything: any board and any program wrote them.
What reads a library goes on without what it cannot use, and shows nothing that was put there
to do more than be read."""

from __future__ import annotations

import json
import random
import sqlite3
import zlib

import pytest
from commands import Bench
from shelves import settings_text
from steadyturn.rig.examples import example_path
from steadyturn_fw import fields

ROUNDS = 4
SOAK = 600
LINES = (["review", "--more"], ["review", "--all", "--json"], ["review", "--html"],
         ["sessions"], ["sessions", "--trend"], ["sessions", "--per", "rig", "--json"], ["export"])
NASTY = ("\x1b[2J\x1b]0;x\x07", "<script>alert(1)</script>", "\"'><img src=x onerror=y>", "\ud800",
         "\u202egnp.exe", "a\nb\r\nc\0d", "{}", "%s%n", "=1+1", "x" * 3000, "☀" * 90, "../../x")
RIG = example_path("lakeside-hut").read_text(encoding="utf-8")


def framed(body: bytes) -> bytes:
    """As a board stores it: its CRC is right."""
    return b'{"crc": "%08x", "settings":\n%s\n}\n' % (zlib.crc32(body), body)


def value(rng: random.Random) -> object:
    return rng.choice((
        None, True, False, [], {}, [[]], {"a": {}}, 0, -1, 1, 65_535, 2**31, 2**63, 2**64, 10**400,
        -(10**30), 0.5, -0.0, 1e308, float("nan"), float("inf"), "", "0", *NASTY))


def settings(rng: random.Random) -> bytes:
    kind = rng.randrange(8)
    if kind == 0:
        return rng.randbytes(rng.choice((0, 1, 50, 5000)))
    if kind == 1:
        return framed(rng.choice((
            b"[" * 3000, b'{"a":' * 600, b"null", b"[]", b'"rig"', b"7", b"{}", b"\xff\xfe", b"",
            b'{"rig": 1, "rig": "x"}', b"9" * 4000, b"NaN")))
    if kind == 2:
        raw = bytearray(settings_text())
        for _ in range(rng.randint(1, 9)):
            raw[rng.randrange(len(raw))] = rng.randrange(256)
        return bytes(raw)
    read = json.loads(settings_text().split(b"\n")[1])
    names = [*read, "unheard_of"]
    if kind == 3:  # each number at an end of its range
        read |= {name: rng.choice((low, high)) for name, low, high, _ in fields.WHOLE}
    else:
        for name in rng.sample(names, rng.choice((1, 3, len(names)))):
            read[name] = value(rng)
    for name in rng.sample(names, rng.choice((0, 0, 1, 5))):
        read.pop(name, None)
    if rng.random() < 0.3:
        read["rig"] = read["label"] = rng.choice(NASTY)
    return framed(json.dumps(read).encode())


def rig(rng: random.Random) -> str | None:
    """What `flash` may have left, or anybody wrote in its place."""
    kind = rng.randrange(5)
    if kind == 0:
        return None
    if kind == 1:
        return rng.choice(("", "rig = 1", "[motor]\n" * 9, "\0", "[[[[", 'name = "a', "☀",
                           "x" * 9999))
    lines = RIG.splitlines()
    for _ in range(rng.choice((0, 1, 4))):
        at = rng.randrange(len(lines))
        key, is_value, _ = lines[at].partition("=")
        if is_value:
            lines[at] = key + "= " + rng.choice((
                "0", "-1", "1e300", "nan", "inf", '""', "[]", "{}", "true", "1e-300", "9" * 400,
                '"<script>"', '"\\u001b[2J"'))
        else:
            del lines[at]
    return "\n".join(lines)


def shown(text: str) -> None:
    """What it prints is to be read, and does nothing to a terminal."""
    assert all(c == "\n" or c.isprintable() for c in text), ascii(text)


def one_round(bench: Bench, seed: int) -> None:
    rng = random.Random(seed)
    with sqlite3.connect(bench.file) as db:
        db.execute("UPDATE contact SET rig_file = NULL")
        db.execute("DELETE FROM rig_file")
        for n, in db.execute("SELECT id FROM settings").fetchall():
            db.execute("UPDATE settings SET text = ? WHERE id = ?", (settings(rng), n))
        text = rig(rng)
        if text is not None:
            db.execute("INSERT INTO rig_file VALUES (1, 'x', ?)", (text,))
            db.execute("UPDATE contact SET rig_file = 1")
        db.execute("INSERT INTO stale SELECT id, 0 FROM board WHERE true "
                   "ON CONFLICT (board) DO UPDATE SET from_seq = 0")
    for line in LINES:
        page = bench.folder.parent / "review.html"
        page.unlink(missing_ok=True)
        said = bench.run([*line, str(page)] if line[-1] == "--html" else line)
        assert said.status == 0, (line, said)
        shown(said.out)
        if page.exists():
            html = page.read_text(encoding="utf-8").lower()
            assert "<script>alert" not in html
            assert "<img src=x" not in html
            assert not set(html) & {"\x1b", "\0", "\x07"}


@pytest.fixture
def bench(tmp_path):
    bench = Bench(tmp_path)
    for n in range(3):  # three texts, one an evening
        bench.shelf.settings = settings_text(label=f"hut {n}")
        bench.fill(1)
    return bench


def try_seeds(bench: Bench, seeds: range) -> None:
    for seed in seeds:
        try:
            one_round(bench, seed)
        except BaseException as error:
            raise AssertionError(f"seed {seed}") from error


def test_settings_and_rig_files_of_any_kind(bench):
    try_seeds(bench, range(ROUNDS))


@pytest.mark.soak
@pytest.mark.timeout(7200)
def test_settings_and_rig_files_of_any_kind_at_length(bench):
    try_seeds(bench, range(ROUNDS, ROUNDS + SOAK))
