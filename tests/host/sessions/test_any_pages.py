"""Pages of a right CRC may still say anything: review, sessions and export go on, and what they
say is of the numbers that were there."""

from __future__ import annotations

import random
import warnings

import pytest
from commands import Bench
from steadyturn.sessions.library import Library
from test_decode_independent import random_page, sealed

ROUNDS = 3
SOAK = 400
LINES = (["review"], ["review", "--more"], ["review", "--all", "--json"], ["review", "--html"],
         ["sessions"], ["sessions", "--per", "rig", "--json"], ["export"], ["pull"],
         ["sessions", "--rebuild"])


def pages(bench: Bench, rng: random.Random) -> list[bytes]:
    """Some that were cranked, with others among and after them; at times only others."""
    bench.shelf.crank(pages=rng.choice((0, 4, 12)), boots=2)
    out, seq = [], 0
    for cranked in [*bench.shelf.every, *[None] * rng.choice((0, 3, 40))]:
        seq = seq + 1 if rng.random() < 0.9 else rng.randrange(seq + 1, seq + 10_000)
        if cranked is None or rng.random() < 0.2:
            page = bytearray(random_page(rng, seq))
            if rng.random() < 0.7:  # a number of boots that a board could have reached
                boot = rng.randrange(1, 40)
                page[8:11] = boot.to_bytes(3, "little")
                if page[170] & 64:
                    page[23:26] = rng.randint(0, boot).to_bytes(3, "little")
        else:
            page = bytearray(cranked)
            page[4:8] = seq.to_bytes(4, "little")
        out.append(sealed(page))
    return out


def one_round(folder, seed: int) -> None:
    rng = random.Random(seed)
    bench = Bench(folder)
    found = pages(bench, rng)
    bench.shelf.every, bench.shelf.waiting = list(found), []
    with Library(bench.folder) as library:
        board, contact = bench.shelf.contact(library, "pull")
        library.add_pages(board, contact, found)
        library.finish(contact)
    for line in LINES:
        html = folder / "review.html"
        html.unlink(missing_ok=True)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            said = bench.run([*line, str(html)] if line[-1] == "--html" else line)
        fine = said.status == 0 or not found or (
            line[0] == "review" and "Crank" in " ".join(said.err.split()))
        assert fine, (line, said)
        assert set(found) <= bench.kept()


def try_seeds(folder, seeds: range) -> None:
    for seed in seeds:
        (folder / str(seed)).mkdir()
        try:
            one_round(folder / str(seed), seed)
        except BaseException as error:
            raise AssertionError(f"seed {seed}") from error


def test_pages_that_say_anything(tmp_path):
    try_seeds(tmp_path, range(ROUNDS))


@pytest.mark.soak
@pytest.mark.timeout(7200)
def test_pages_that_say_anything_at_length(tmp_path):
    try_seeds(tmp_path, range(ROUNDS, ROUNDS + SOAK))
