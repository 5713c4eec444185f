"""Decoding speed against Python's csv reader on the same samples. Run by hand:

    python tests/speed/decode_speed.py [PAGES]

Prints both rates and their ratio. csv reads text of the same columns and turns it into
numbers, which is what a log kept as text would need before anything could be computed.
"""

from __future__ import annotations

import csv
import io
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/sessions")]

from page_maker import Recorder  # noqa: E402
from steadyturn.sessions.decode import decode  # noqa: E402

COLUMNS = ("boot", "seq", "t_ms", "bus_mv", "bus_ma", "pace_tpm", "bus_peak_mv",
           "amps_peak_ma", "cue", "connected", "valid")


def best(action, times=5):
    """Shortest of several runs, in s."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        action()
        taken.append(time.perf_counter() - began)
    return min(taken)


def read_csv(text):
    whole = [int] * 5 + [float] + [int] * 5
    return [tuple(kind(cell) for kind, cell in zip(whole, row, strict=True))
            for row in csv.reader(io.StringIO(text))]


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    recorder = Recorder()
    raw = b"".join(recorder.page(bus_mv=4000 + n % 4000, pace_tpm=40 + n % 40)
                   for n in range(count))
    samples = decode(raw).samples
    text = io.StringIO()
    csv.writer(text).writerows(samples[list(COLUMNS)].tolist())
    rows = read_csv(text.getvalue())
    assert rows == [tuple(row) for row in samples[list(COLUMNS)].tolist()]
    ours = best(lambda: decode(raw))
    theirs = best(lambda: read_csv(text.getvalue()))
    only_split = best(lambda: list(csv.reader(io.StringIO(text.getvalue()))))
    n = len(samples)
    print(f"{n} samples, {len(raw)} bytes as pages, {len(text.getvalue())} as csv text")
    print(f"decode        {n / ours / 1e6:7.2f} million samples/s")
    print(f"csv, numbers  {n / theirs / 1e6:7.2f} million samples/s: {theirs / ours:.1f} x slower")
    print(f"csv, text     {n / only_split / 1e6:7.2f} million samples/s: "
          f"{only_split / ours:.1f} x slower")


if __name__ == "__main__":
    main()
