"""Outings while others write: a reader during a pull, two rebuilds, and programs killed in
the middle of either."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time

import pytest
from shelves import DAY_S, Shelf
from steadyturn.sessions import refresh
from steadyturn.sessions.library import Library

KILLS = 1
SOAK = 60

PULLS = """
import sys
from shelves import DAY_S, Shelf
shelf = Shelf(sys.argv[1])
print("begun", flush=True)
for n in range(int(sys.argv[2])):
    shelf.crank(pages=9, boots=2)
    shelf.later(DAY_S)
    shelf.pull(batches=6)
"""
REBUILDS = """
import sys
from steadyturn.sessions import refresh
from steadyturn.sessions.library import Library
refresh.RUN = 30
with Library(sys.argv[1]) as library:
    print("begun", flush=True)
    for n in range(int(sys.argv[2])):
        library.rebuild()
"""


def run(what, *words):
    """The program, once it has begun."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    child = subprocess.Popen([sys.executable, "-c", what, *map(str, words)], env=env,
                             stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    child.stdout.readline()
    return child


def ended(child):
    _, said = child.communicate(timeout=120)
    assert child.returncode == 0, said.decode()


def agree(folder):
    """What is read is what its pages decode to; returns it."""
    with Library(folder, readonly=True) as library:
        rows = library.outings()
    with Library(folder) as library:
        assert library._store.rows("n", "SELECT board FROM stale") == []
        library.rebuild()
        assert library.outings() == rows
        return rows


def test_a_reader_during_a_pull(tmp_path):
    child = run(PULLS, tmp_path, 4)
    seen = []
    while child.poll() is None:
        if (tmp_path / "library.sqlite").exists():
            with Library(tmp_path, readonly=True) as library:
                seen.append(sum(row.pages for row in library.outings()))
    ended(child)
    assert seen == sorted(seen)
    assert [row.pages for row in agree(tmp_path)] == [18] * 4


def season(folder):
    shelf = Shelf(folder)
    for _ in range(6):
        shelf.crank(pages=9, boots=2)
        shelf.later(DAY_S)
        shelf.pull()
    return shelf.outings()


def test_two_rebuilds_at_once(tmp_path, monkeypatch):
    before = season(tmp_path)
    monkeypatch.setattr(refresh, "RUN", 40)
    child = run(REBUILDS, tmp_path, 2)
    with Library(tmp_path) as library:
        for _ in range(2):
            library.rebuild()
    ended(child)
    assert agree(tmp_path) == before


def kill(folder, drawn):
    before = season(folder)
    what, words = drawn.choice(((PULLS, 50), (REBUILDS, 1000)))
    child = run(what, folder, words)
    time.sleep(drawn.uniform(0, 0.15))
    child.kill()
    child.communicate(timeout=60)
    rows = agree(folder)
    assert rows[:5] == before[:5]
    # the killed pull goes over pages that are here; only what is new can be in another outing
    assert [row.id for row in rows] == list(range(1, len(rows) + 1))
    assert rows[5].first_seq == before[5].first_seq


@pytest.mark.parametrize("seed", range(KILLS))
def test_a_program_killed_in_the_middle(tmp_path, seed):
    kill(tmp_path, random.Random(seed))


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_programs_killed_in_the_middle(tmp_path):
    first = random.SystemRandom().randrange(10**9)
    for seed in range(first, first + SOAK):
        print("seed", seed)  # shown when it fails
        kill(tmp_path / str(seed), random.Random(seed))
