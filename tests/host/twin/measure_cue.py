"""Measures what people make of the cue, and writes firmware/cue.json: a quarter of an hour.

    python tests/host/twin/measure_cue.py [PROCESSES]

`python -m steadyturn.jobs.drawings` makes firmware/cue.md and its picture from that file;
test_cue_population.py tries some of these people anew in each run and all with `-m soak`.
"""

from __future__ import annotations

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve()
if __name__ == "__main__":  # from a checkout, installed or not
    sys.path[:0] = [str(HERE.parents[3] / "host"), str(HERE.parents[3] / "firmware")]

from cue_trial import INERTIAS, STEADY_FROM_S, TRIAL_S, Outcome, Trial, course  # noqa: E402
from steadyturn.twin.people import population  # noqa: E402

RESULTS = HERE.parents[3] / "firmware" / "cue.json"
SHARES = (0.06, 0.12, 0.20)
PEOPLE = {"tuning": 1, "test": 2}  # seeds; what was chosen was chosen on the first alone
COUNT, FEW = 100, 40
# who, how they know, band, lamp, how many
CELLS = [
    *(("test", way, share, "led", COUNT) for share in SHARES for way in ("lamp", "none", "meter")),
    *(("tuning", "lamp", share, "led", COUNT) for share in SHARES),
    *(("test", "lamp", 0.12, kind, FEW) for kind in ("piezo", "vibration")),
]
TYPICAL = ("test", "lamp", 0.12, "led")  # whose strip is drawn: the person at the median


def one(who: str, way: str, share: float, kind: str, number: int,
        record: list | None = None) -> Outcome:
    """Person `number` of a population; every fourth has the same machine."""
    traits = population(PEOPLE[who], number + 1)[number]
    on = course(share, INERTIAS[number % len(INERTIAS)], kind)
    return Trial(on, traits, 1000 * PEOPLE[who] + number, way).run(record=record)


def cell(who: str, way: str, share: float, kind: str, count: int) -> dict[str, object]:
    found = [one(who, way, share, kind, number) for number in range(count)]
    return {
        "people": who, "way": way, "band_percent": round(100 * share), "lamp": kind,
        "in_band": [round(o.in_band, 4) for o in found],
        "in_band_now": [round(o.in_band_now, 4) for o in found],
        "changes_per_min": [round(o.changes, 1) for o in found],
        "reached_s": [None if o.reached_s is None else round(o.reached_s, 1) for o in found],
        "connected": [round(o.connected, 3) for o in found],
    }


def strip(cells: list[dict[str, object]]) -> dict[str, object]:
    """A minute of the person at the median, and the band; five looks a second."""
    who, way, share, kind = TYPICAL
    shares = next(c["in_band"] for c in cells if (c["people"], c["way"], c["band_percent"]) == (
        who, way, round(100 * share)))
    assert isinstance(shares, list)
    number = sorted(range(len(shares)), key=shares.__getitem__)[len(shares) // 2]
    record: list = []
    one(who, way, share, kind, number, record)
    looks = [r for r in record[::10] if r[0] <= 80.0]
    band = course(share, INERTIAS[number % len(INERTIAS)], kind).band
    return {
        "person": number, "band_tpm": [round(band.low_tpm or 0, 1), round(band.high_tpm or 0, 1)],
        "target_tpm": round(band.target_tpm or 0, 1),
        "t_s": [round(r[0], 2) for r in looks], "pace_tpm": [round(r[2], 1) for r in looks],
        "cue": [r[3] for r in looks], "connected": [int(r[4]) for r in looks],
    }


def main(processes: int) -> None:
    with ProcessPoolExecutor(processes) as pool:
        cells = list(pool.map(cell, *zip(*CELLS, strict=True)))
    result = {"steady_from_s": STEADY_FROM_S, "trial_s": TRIAL_S, "inertia_kg_m2": INERTIAS,
              "cells": cells, "strip": strip(cells)}
    text = json.dumps(result, separators=(",", ":"))
    # a cell a line, so that a difference can be read
    text = text.replace('{"people"', '\n{"people"').replace('"strip"', '\n"strip"')
    RESULTS.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
