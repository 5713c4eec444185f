"""Published machines recovered by the bench from their own readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares
from steadyturn.bench import readings as kinds
from steadyturn.bench.constants import MOTOR
from steadyturn.bench.readings import Readings
from steadyturn.bench.residuals import evaluate
from steadyturn.bench.result import analyse, constants_for
from steadyturn.bench.rows import make
from steadyturn.bench.setup import Setup
from steadyturn.rig.types import RPM

BOOK = 5e-3  # three figures are printed
EXACT = kinds.Meter(counts=100_000, percent=1e-5, amp_percent=1e-5, digits=0, lead_ohm=0)
STILL = kinds.Bench(room_within_k=0, position=1e-4, hand=1e-4, watch_s=0)
# the books' machines have no brush drop: it is believed to be next to nothing
NO_BRUSH = tuple(replace(c, start=1e-6, sigma=0.1) if c.name == "brush_drop_v" else c
                 for c in MOTOR)


def found(items, constants=NO_BRUSH, bench=STILL):
    readings = Readings(bench, EXACT, tuple(items), ("",) * len(items))
    return {v.name: v for v in analyse(readings, Setup(), constants).values}


def at(rad_s, share=1e-4):
    return {"rpm": rad_s / RPM, "rpm_share": share}


def test_e1_fitzgerald_7_9() -> None:
    """Fitzgerald/Kingsley/Umans, Electric Machinery 6e, example 7.9 p.389: 1.03 ohm; 50 V,
    1.25 A, 2100 rpm at no load. K 0.2215, no-load loss 60.89 W."""
    no_drag = tuple(replace(c, start=1e-12, sigma=0.1) if c.name == "drag_nm_s" else
                    replace(c, sigma=3.0) if c.name == "no_load_a" else c for c in NO_BRUSH)
    by = found([
        ("locked", kinds.Locked(resistor_ohm=1.0, resistor=1e-5, resistor_v=5.0, motor_v=5.15)),
        ("run", kinds.Run(volts=50.0, amps=1.25, **at(2100 * RPM)))], no_drag)
    k = by["emf_v_s"].value / (1000 * RPM)
    assert k == pytest.approx(0.2215, rel=1e-3)
    assert by["terminal_ohm"].value == pytest.approx(1.03, rel=BOOK)
    assert k * by["no_load_a"].value * 2100 * RPM == pytest.approx(60.89, rel=2 * BOOK)


def test_e3_hambley_16_2() -> None:
    """Hambley, Electrical Engineering, example 16.2c p.720: B l = 0.3 and 0.05 ohm; at 7.78
    (rad/s here) it induces 2.333 V and gives 2 V and 6.667 A, so into 0.3 ohm."""
    by = found([("open", kinds.Open(volts=2.3333, **at(7.7778))),
                ("loaded", kinds.Loaded(volts=2.0, resistor_ohm=0.3, resistor=1e-5,
                                        **at(7.7778)))])
    assert by["emf_v_s"].value / (1000 * RPM) == pytest.approx(0.3, rel=1e-3)
    assert by["terminal_ohm"].value == pytest.approx(0.05, rel=1e-2)


def test_e12_burman_4_2() -> None:
    """Burman, Special Electrical Machines, example 4.2: 1 N m at 5 A is K 0.2, and 28 V turn it
    at 1336.9 rpm with nothing on its shaft."""
    free = tuple(replace(c, start=1e-6, sigma=0.1) if c.name == "no_load_a" else c
                 for c in NO_BRUSH)
    by = found([("stall", kinds.Stall(torque_nm=1.0, amps=5.0, torque_share=0.002))], free)
    k = by["emf_v_s"].value / (1000 * RPM)
    assert k == pytest.approx(0.2, rel=BOOK)
    assert 28 / k / RPM == pytest.approx(1336.9, rel=BOOK)


def test_e15_pittman_9233() -> None:
    """Ametek Pittman 9233S013's sheet: KT 3.73e-2 N m/A, KE 3.90 V/krpm, motor constant 1.88e-2,
    friction 4.2e-3 N m, damping 2.3e-6 N m s. R = (KT / Km)^2 = 3.94 ohm and I0 = 0.113 A were
    reckoned from it. Its readings are those that its own constants give, by its own lines."""
    k, ohm, friction, damping = 3.73e-2, (3.73 / 1.88) ** 2, 4.2e-3, 2.3e-6
    items = [("locked", kinds.Locked(resistor_ohm=r, resistor=1e-5, resistor_v=a * r,
                                     motor_v=a * ohm)) for r, a in ((4.7, 0.5), (47.0, 0.1))]
    items += [("open", kinds.Open(volts=k * w, **at(w))) for w in (100.0, 200.0)]
    for volts in (6.0, 12.0, 24.0):
        # k I = friction + damping w and k w = V - I R
        w = (volts - friction * ohm / k) / (k + damping * ohm / k)
        items.append(("run", kinds.Run(volts=volts, amps=(friction + damping * w) / k)))
    by = found(items)
    assert by["emf_v_s"].value == pytest.approx(3.90, rel=BOOK)
    assert by["terminal_ohm"].value == pytest.approx(3.94, rel=BOOK)
    assert by["no_load_a"].value == pytest.approx(0.113, rel=0.03)
    assert by["drag_nm_s"].low < 2.3 < by["drag_nm_s"].high


def test_re40_from_its_no_load_and_stall_lines() -> None:
    """maxon RE 40, 48 V winding, values at nominal voltage on its sheet: no load 7590 rpm and
    68.6 mA, stall 2560 mN m at 42.4 A; from these lines alone its characteristics: 1.13 ohm,
    60.3 mN m/A, 158 rpm/V."""
    by = found([
        ("run", kinds.Run(volts=48.0, amps=0.0686, **at(7590 * RPM))),
        ("locked", kinds.Locked(resistor_ohm=1.0, resistor=1e-5, resistor_v=42.4, motor_v=48.0)),
        ("stall", kinds.Stall(torque_nm=2.56, amps=42.4, torque_share=0.01))])
    k = by["emf_v_s"].value / (1000 * RPM)
    assert k == pytest.approx(60.3e-3, rel=BOOK)
    assert 1 / k / RPM == pytest.approx(158, rel=BOOK)
    assert by["terminal_ohm"].value == pytest.approx(1.13, rel=BOOK)
    friction = by["no_load_a"].value * k + by["drag_nm_s"].value * 1e-6 * 7590 * RPM
    assert friction == pytest.approx(60.3e-3 * 0.0686, rel=0.02)


def test_scipy_agrees_on_the_same_rows() -> None:
    """scipy.optimize.least_squares (trust region) on the same residuals and priors ends at the
    same constants as the fit's own search."""
    rng = np.random.default_rng(5)
    items = []
    for ohm, supply in ((4.7, 4.5),) * 4 + ((100.0, 4.5),) * 4:
        amps = (supply - 0.2) / (ohm + 3.0) * (1 + rng.normal(0, 0.01))
        items.append(("locked", kinds.Locked(resistor_ohm=ohm, resistor_v=amps * ohm,
                                             motor_v=amps * 3.0 + 0.2)))
    for w in (150.0, 250.0, 300.0):
        items.append(("open", kinds.Open(volts=0.02 * w * (1 + rng.normal(0, 0.005)),
                                         **at(w, 0.01))))
    items += [("run", kinds.Run(volts=v, amps=0.08 + 0.001 * v)) for v in (3.0, 6.0, 9.0)]
    readings = Readings(kinds.Bench(), kinds.Meter(), tuple(items), ("",) * len(items))
    result = analyse(readings, Setup())
    assert not result.suspects
    rows, fit = make(readings, Setup()), result.fit
    constants = constants_for(Setup())
    prior = np.array([c.sigma for c in constants])
    count = len(constants)

    def left(x):
        values, _ = evaluate(rows, np.exp(x[:count]), x[count:] * rows.shared_sigma)
        return np.concatenate([values / fit.sigma, (x[:count] - fit.start) / prior, x[count:]])

    start = np.concatenate([fit.start + 0.3, np.zeros(len(rows.shared))])
    other = least_squares(left, start, x_scale="jac", xtol=1e-12, ftol=1e-12)
    sigma = np.sqrt(np.diag(fit.covariance))[:count]
    assert np.abs((other.x[:count] - fit.center[:count]) / sigma).max() < 0.05
    jacobian = np.linalg.inv(other.jac.T @ other.jac)
    assert np.sqrt(np.diag(jacobian))[:count] == pytest.approx(sigma, rel=0.02)
