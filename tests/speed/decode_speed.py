"""Decoding speed against Python's csv module on the same samples. Run by hand:

    python tests/speed/decode_speed.py [PAGES]

csv reads text of the same columns and rows. A decoded sample is numbers, so the ratio that
counts (at least 50) is to csv with its cells turned into numbers, which a log kept as text
would need before anything could be computed; the csv module's own numbers (QUOTE_NONNUMERIC,
all of them float) and the bare splitting into text are told beside it.
"""

from __future__ import annotations

import csv
import io
import random
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/sessions")]

from page_maker import Recorder  # noqa: E402
from steadyturn.sessions.decode import decode  # noqa: E402
from steadyturn_fw import pages as layout  # noqa: E402

COLUMNS = ("boot", "seq", "t_ms", "bus_mv", "bus_ma", "pace_tpm", "bus_peak_mv",
           "amps_peak_ma", "cue", "connected", "valid")
LIMIT = 50


def journal(count: int) -> bytes:
    """Boots of some minutes; each ends with a page that is not full and tells why."""
    rng, recorder = random.Random(1), Recorder()
    pages = []
    while len(pages) < count:
        for _ in range(rng.randint(10, 60)):
            events = [(layout.EV_CONNECTED, 7, 0)] if rng.random() < 0.05 else []
            pages.append(recorder.page(bus_mv=rng.randint(4000, 8000), events=events,
                                       bus_ma=rng.randint(100, 900),
                                       pace_tpm=rng.randint(80, 160) / 2))
        pages.append(recorder.page(count=rng.randint(1, 22), flags=layout.FLAG_FADING,
                                   events=[(layout.EV_RELEASED, 9, layout.WHY_FADING)]))
        recorder.reboot()
    return b"".join(pages[:count])


def best(actions: dict, rounds: int) -> dict[str, float]:
    """Shortest time of each, in s, tried in turn."""
    taken: dict[str, float] = {}
    for _ in range(rounds):
        for name, action in actions.items():
            began = time.perf_counter()
            action()
            took = time.perf_counter() - began
            taken[name] = min(took, taken.get(name, took))
    return taken


def numbers(text: str) -> list:
    whole = [int] * 5 + [float] + [int] * 5
    return [tuple(kind(cell) for kind, cell in zip(whole, row, strict=True))
            for row in csv.reader(io.StringIO(text))]


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    raw = journal(count)
    samples = decode(raw).samples
    rows = [tuple(row) for row in samples[list(COLUMNS)].tolist()]
    file = io.StringIO()
    csv.writer(file).writerows(rows)
    text = file.getvalue()
    assert numbers(text) == rows
    took = best({
        "decode": lambda: decode(raw),
        "csv, numbers": lambda: numbers(text),
        "csv, its own numbers": lambda: list(csv.reader(
            io.StringIO(text), quoting=csv.QUOTE_NONNUMERIC)),
        "csv, text": lambda: list(csv.reader(io.StringIO(text))),
    }, 9)
    print(f"{len(rows)} samples, {len(raw)} bytes as pages, {len(text)} as csv text")
    for name, seconds in took.items():
        print(f"{name:21} {len(rows) / seconds / 1e6:6.2f} million samples/s"
              f"{seconds / took['decode']:8.1f} x")
    ratio = took["csv, numbers"] / took["decode"]
    if ratio < LIMIT:
        sys.exit(f"only {ratio:.1f} times as quick as csv with numbers")


if __name__ == "__main__":
    main()
