"""The bench's fit against lmfit 1.3.4 on the same readings: frozen/lmfit.json has the readings
with their errors, what is believed beforehand and what lmfit made of them by equations of its own
(frozen/make_lmfit.py)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from steadyturn.bench import readings as kinds
from steadyturn.bench.fit import fit
from steadyturn.bench.meter import full_scale
from steadyturn.bench.readings import Readings
from steadyturn.bench.result import constants_for
from steadyturn.bench.rows import make
from steadyturn.bench.setup import Setup
from steadyturn.rig.types import RPM

FILE = Path(__file__).with_name("frozen") / "lmfit.json"
NAMES = ("k", "ohm", "drop", "knee", "idle", "drag")
METER = kinds.Meter(counts=6000, percent=0.008)


def taken() -> list[tuple[str, object]]:
    """Readings of a motor of 0.024 V s, 3.1 ohm and 0.25 V of brushes, as somebody wrote them
    down."""
    held = [(4.7, 2.612, 1.872), (4.7, 2.655, 1.829), (4.7, 2.571, 1.903), (4.7, 2.640, 1.871),
            (47.0, 3.966, 0.497), (47.0, 3.971, 0.506), (220.0, 4.171, 0.309)]
    items: list[tuple[str, object]] = [
        ("locked", kinds.Locked(resistor_ohm=r, resistor_v=v, motor_v=m)) for r, v, m in held]
    items += [("open", kinds.Open(volts=v, turns=n, seconds=20.0)) for v, n in (
        (2.53, 336.0), (4.99, 661.0), (7.18, 955.0))]
    items += [("loaded", kinds.Loaded(volts=v, resistor_ohm=r, turns=n, seconds=20.0))
              for v, r, n in ((3.99, 10.0, 727.0), (5.55, 22.0, 871.0))]
    return items + [("run", kinds.Run(volts=v, amps=a)) for v, a in (
        (3.02, 0.0812), (6.01, 0.0846), (9.03, 0.0871), (6.03, 0.0851))]


def frozen_inputs() -> dict:
    """What lmfit is given: the readings with one sigma of each, and the priors."""
    readings = Readings(kinds.Bench(), METER, tuple(taken()), ("",) * len(taken()))
    rows = make(readings, Setup())
    found = fit(rows, constants_for(Setup()), robust=False)
    listed = []
    for (kind, one), sigma in zip(readings.items, found.sigma.tolist(), strict=True):
        volts = one.motor_v if kind == "locked" else one.volts
        row = {"kind": kind, "volts": volts, "sigma": sigma,
               "volt_range": f"{full_scale(METER, volts):g} V range"}
        if kind in ("locked", "loaded"):
            over = one.resistor_v if kind == "locked" else volts
            row |= {"over_v": over, "over_range": f"{full_scale(METER, over):g} V range",
                    "ohm": one.resistor_ohm, "resistor": f"{one.resistor_ohm:g} ohm resistor"}
        if kind in ("open", "loaded"):
            row["rad_s"] = one.turns / one.seconds * 60 * RPM
        if kind == "run":
            row |= {"amps": one.amps, "amp_range": f"{full_scale(METER, one.amps, 'A'):g} A range"}
        listed.append(row)
    constants = {n: [float(m), c.sigma] for n, m, c in zip(
        NAMES, found.start, constants_for(Setup()), strict=False)}
    return {"readings": listed, "priors": {"constants": constants, "shared": dict(zip(
        rows.shared, rows.shared_sigma.tolist(), strict=True))}}


def test_lmfit_agrees_on_the_same_readings() -> None:
    said = json.loads(FILE.read_text(encoding="utf-8"))
    assert said["lmfit"]["version"] == "1.3.4"
    given = frozen_inputs()
    assert given["priors"]["shared"] == pytest.approx(said["priors"]["shared"])
    for mine, theirs in zip(given["readings"], said["readings"], strict=True):
        assert mine.pop("sigma") == pytest.approx(theirs.pop("sigma"), rel=1e-3)
        assert mine == theirs
    readings = Readings(kinds.Bench(), METER, tuple(taken()), ("",) * len(taken()))
    for robust in (True, False):
        found = fit(make(readings, Setup()), constants_for(Setup()), robust=robust)
        assert not found.out
        for place, name in enumerate(NAMES):
            log_value, error = said["lmfit"]["constants"][name]
            assert abs(found.center[place] - log_value) < 0.03 * error, name
            assert np.sqrt(found.covariance[place, place]) == pytest.approx(error, rel=0.03), name
