"""What one outing tells: the constants that were put in, and nothing where nothing tells; any
pages at all are survived, because a library is decoded with it."""

from __future__ import annotations

from math import exp, isfinite

import numpy as np
import pytest
from model_outings import Maker, wander
from page_maker import make_page
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn.sessions.lesson import read, text
from steadyturn.sessions.lessons import lessons
from steadyturn_fw import pages as layout

TURNED = layout.FLAG_PACE_MEASURED
BOTH = TURNED | layout.FLAG_OUT_MEASURED
BITS = (11, 12, 10, 4, 4, 3, 1, 2)  # of a sample's fields


def told(maker, **changes):
    pages = maker.pages()
    settings = {**maker.settings, **changes}
    found = lessons(pages, settings, review(pages, settings))
    assert read(text(found)) == found
    return {one.name: one for one in found}


def turned(flags=TURNED, **more):
    maker = Maker()
    paces = wander(90, maker.target, seed=4)
    return maker.boot_of(paces, connected=np.arange(len(paces)) >= 150, flags=flags,
                         events=[(150, layout.EV_CONNECTED, 9000)], **more)


def test_a_turn_sensor_tells_emf_and_resistance():
    from steadyturn.model import bank

    maker = turned()
    found = told(maker)
    emf, ohm = found["emf_v_per_tpm"], found["source_ohm"]
    true = bank.source_ohm(maker.rig) + maker.rig.sensor.shunt_ohm
    assert exp(emf.log[0]) == pytest.approx(bank.emf_v_per_tpm(maker.rig), rel=2 * emf.common_sd)
    assert exp(ohm.log[0]) == pytest.approx(true, rel=2 * ohm.common_sd)
    more = told(turned(ohms=1.2))["source_ohm"]
    # 1.2 times the motors' share of it, whatever the drops' law gets wrong in both
    assert exp(more.log[0]) - exp(ohm.log[0]) == pytest.approx(0.2 * true, rel=0.25)


def test_nothing_tells_without_a_sensor_for_it_or_without_settings():
    assert told(turned(flags=0)) == {}
    maker = turned()
    pages = maker.pages()
    assert lessons(pages, {}, review(pages, {})) == ()
    maker = Maker()
    maker.boot_of(wander(90, maker.target, seed=4), connected=True, flags=TURNED)
    assert "source_ohm" not in told(maker)  # always one current: EMF and R go together


def test_losses_are_those_of_the_law_by_which_the_pages_were_made():
    maker = Maker()
    maker.boot_of(wander(120, maker.target, seed=4), flags=layout.FLAG_OUT_MEASURED)
    losses = told(maker)["losses"]
    assert exp(losses.log[0]) == pytest.approx(1.0, rel=0.05)
    assert 0.02 < losses.common_sd < 0.2


@pytest.mark.parametrize("seed", range(3))
def test_any_pages_and_settings_are_survived(seed):
    rng = np.random.default_rng(seed)
    for _ in range(20):
        raw = b""
        for seq in range(1, 6):
            burst = rng.random() < 0.5
            samples = [tuple(int(rng.integers(0, 1 << bits)) for bits in BITS)
                       if rng.random() < 0.95 else None for _ in range(layout.SAMPLES)]
            if rng.random() < 0.3:
                samples = samples[:1] * layout.SAMPLES
            raw += make_page(
                seq, t0_ms=4600 * seq, samples=samples,
                flags=layout.FLAG_BURST if burst else int(rng.choice([0, TURNED, BOTH])),
                shifts=(int(rng.integers(0, 6)), int(rng.integers(0, 6))),
                version=layout.VERSION_WIDER if burst else layout.VERSION,
                events=[(layout.EV_LOAD_STEP, int(rng.integers(0, 46)), n ^ 1) for n in range(2)])
        pages = decode(raw)
        settings = dict(Maker().settings)
        for name in ("capacitor_uf", "drop_mv", "drop_knee_ma", "supply_ma", "loss_uw"):
            settings[name] = int(rng.choice([0, 1, settings[name], 20_000]))
        for one in lessons(pages, settings, review(pages, settings)):
            assert all(map(isfinite, (*one.log, *one.sd, *one.evidence)))
