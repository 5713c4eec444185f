"""Any pages of a right CRC and any settings within their ranges: a review of them raises nothing
and says nothing that is no number."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import fields as dataclass_fields
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from steadyturn.jobs.review import Review
from steadyturn.jobs.review_reckon import Reckoned, reckon
from steadyturn.report import review as brief
from steadyturn.report import review_more
from steadyturn.report.objects import to_json
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn_fw import fields
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "sessions"))
from page_maker import make_page

RIGS = ("lakeside-hut", "night-ferry", "radio-tent", "toy-motor", "dangerous-barn")
TOTALS = ("energy_in", "energy_out", "charge", "turns", "on", "band", "connected", "connections",
          "faults", "peak_mv", "peak_ma")


def any_pages(rng, count):
    """Boots of pages in a row, some missing; totals that grow, and at times do not."""
    raw, t_ms, boot = b"", 0, 1
    totals = dict.fromkeys(TOTALS, 0)
    calm = rng.random() < 0.5
    middle = [int(n) for n in rng.integers(1, [4096, 4096, 400])]
    for seq in range(1, count + 1):
        if rng.random() < 0.1:
            boot, t_ms = boot + int(rng.integers(1, 3)), 0
        samples = []
        for _ in range(rng.integers(0, 24)):
            if rng.random() < 0.02:
                samples.append(None)
            elif calm:  # near one point, so that things settle
                near = [max(0, m + int(rng.integers(-20, 20))) for m in middle]
                samples.append((*near, 2, 1, layout.HOLD, 1, layout.VALID))
            else:
                samples.append(tuple(int(rng.integers(0, high)) for high in
                                     (4096, 4096, 1024, 300, 300, 8, 2, 4)))
        events = [tuple(int(rng.integers(low, high)) for low, high in
                        ((0, 20), (-9, 400), (0, 3000))) for _ in range(rng.integers(0, 4))]
        for name in TOTALS:
            totals[name] = int(totals[name] + rng.integers(0, 10**int(rng.integers(1, 8))))
        if rng.random() < 0.03:
            totals = dict.fromkeys(TOTALS, 0)
        flags = int(rng.choice([0, 1, 2, 4, 8, 16, 128, 129]))
        page = make_page(seq, boot=boot, t0_ms=t_ms, samples=samples, events=events, flags=flags,
                         totals={name: n % (1 << 16 if name.startswith("peak") or name in {
                             "connections", "faults"} else 1 << 31) for name, n in totals.items()},
                         shifts=(int(rng.integers(0, 4)), int(rng.integers(0, 3))))
        t_ms += len(samples) * layout.SAMPLE_MS
        if rng.random() > 0.03:
            raw += page
    return raw


def any_settings(rng):
    if rng.random() < 0.1:
        return {}
    found = {name: int(rng.integers(low, high + 1)) for name, low, high, _ in fields.WHOLE}
    found |= {name: str(rng.choice(choices)) for name, choices, _ in fields.CHOICE}
    found |= {"rig": "any", "label": "any"}
    for lower, higher in fields.ORDER:
        if found[lower] > found[higher]:
            found[lower], found[higher] = found[higher], found[lower]
    keep = rng.random() < 0.7  # an older version had fewer of them
    return found if keep else {k: v for k, v in found.items() if rng.random() < 0.8}


def whole(pages, figures, told, settings):
    """A Review of these, as the job makes it of a library."""
    rest = {f.name: getattr(told, f.name) for f in dataclass_fields(Reckoned)}
    band = None
    if {"low_dtpm", "target_dtpm", "high_dtpm"} <= settings.keys():
        band = tuple(settings[f"{edge}_dtpm"] / 10 for edge in ("low", "target", "high"))
    made = {name: None for name in Review.__dataclass_fields__} | rest | {
        "board": "ab", "library": Path("x"), "scope": "last_pull", "pulled_s": 1.8e9,
        "latest_brought_none": False, "latest_rested": False, "other_rig": None, "choices": (),
        "unfinished": False, "other_boards": (), "outings": (), "learned": (),
        "rig_source": "library", "band_tpm": band, "figures": figures, "pages": pages,
        "percent_j": settings.get("percent_mj", 0) / 1000 or None}
    return Review(**made)


def try_one(seed):
    rng = np.random.default_rng(seed)
    pages = decode(any_pages(rng, int(rng.integers(0, 60))))
    settings = any_settings(rng)
    figures = review(pages, settings)
    rig = None if rng.random() < 0.25 else read_rig(example_path(str(rng.choice(RIGS))))
    earlier = [SimpleNamespace(rig=settings.get("rig"), **{
        name: float(rng.integers(0, 10**6)) for name in (
            "energy_out_j", "energy_in_j", "turns", "turning_s", "connected_s", "band_s",
            "connections", "faults")}) for _ in range(rng.integers(0, 9))]
    told = reckon(pages, figures, settings, {}, rig, earlier)
    got = whole(pages, figures, told, settings)
    for text in (brief.text(got), review_more.text(got)):
        assert not re.search(r"\b(nan|inf|None)\b", text), text
    assert len(brief.text(got).splitlines()) <= 6
    json.loads(to_json(got), parse_constant=pytest.fail)
    for estimate in told.estimates:
        if np.isfinite([estimate.low, estimate.value, estimate.high]).all():
            assert estimate.low <= estimate.value <= estimate.high, estimate
    assert len(told.findings) <= 3


@pytest.mark.parametrize("seed", range(6))
def test_any_pages(seed):
    try_one(seed)


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_any_pages_long():
    for seed in range(6, 1500):
        try_one(seed)
