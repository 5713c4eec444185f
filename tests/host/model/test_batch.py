"""Bands of many builds at once: the same as one by one, for every kind of rig."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from random_rigs import random_rig, random_rigs
from steadyturn.model.band import find_band
from steadyturn.model.batch import LIMIT_NAMES, bands
from steadyturn.model.batch_edges import FINE
from steadyturn.model.batch_open import most_v
from steadyturn.model.change import with_value
from steadyturn.model.hazards import ratings
from steadyturn.model.limits import constraints
from steadyturn.model.pair import Pair
from steadyturn.model.thermal import settled_c
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import EfficiencyPoint, Kept

EXACT = 1e-3  # turns/min


@pytest.fixture(autouse=True)
def no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


def example(name: str):
    return read_rig(example_path(name))


def binding(band) -> tuple[str, str]:
    low = next(x.name for x in band.limits if x.side == "low" and x.pace_tpm <= band.target_tpm)
    high = next(x.name for x in band.limits if x.side == "high" and x.pace_tpm >= band.target_tpm)
    return low, high


def check(rig, found, i=0) -> None:
    """Build i of `found` is what find_band says of `rig`."""
    band = find_band(rig, deep=False)
    low, high = found.low_tpm[i], found.high_tpm[i]
    assert band.feasible == bool(np.isfinite(low)), rig
    names = LIMIT_NAMES[found.low_limit[i]], LIMIT_NAMES[found.high_limit[i]]
    if not band.feasible:
        assert np.isnan(high), rig
        assert np.isnan(found.target_tpm[i]), rig
        return
    # a winding that runs away: find_band's repetition ends a little below
    runaway = 0.01 if names[0] in ("holding", "start", "mount_temperature") else 0.0
    assert band.low_tpm - EXACT <= low <= band.low_tpm + EXACT + runaway, rig
    assert high == pytest.approx(band.high_tpm, abs=EXACT), rig
    assert names == binding(band) or (names[0] == "holding" and names[1] == binding(band)[1]), rig
    at = band.at_target
    assert found.arm_w[i] == pytest.approx(float(at.arm_w), rel=1e-5), rig
    assert found.out_w[i] == pytest.approx(float(at.out_w), abs=1e-9), rig
    inside = 0.15 * (high - low) - 2 * EXACT
    assert low + inside <= found.target_tpm[i] <= high - inside


@pytest.mark.parametrize("first", [0, 1000, 2000])
def test_the_same_as_one_by_one(first) -> None:
    for i, rig in enumerate(random_rigs(7, first)):
        found = bands(rig, {})
        if np.isfinite(found.low_tpm[0]) or i == 0:  # find_band is slow
            check(rig, found)


@pytest.mark.parametrize("kept", [
    Kept(low_tpm=55.0, target_tpm=56.0, high_tpm=80.0),
    *(pytest.param(one, marks=pytest.mark.soak) for one in (
        Kept(low_tpm=58.0), Kept(target_tpm=63.0)))])
def test_a_band_that_outings_narrowed_is_the_same_in_both(kept) -> None:
    rig = replace(example("lakeside-hut"), band=kept)
    whole, band = find_band(example("lakeside-hut"), deep=False), find_band(rig, deep=False)
    assert band.low_tpm == pytest.approx(max(whole.low_tpm, kept.low_tpm or 0.0), abs=1e-4)
    assert band.high_tpm == pytest.approx(min(whole.high_tpm, kept.high_tpm or 999.0), abs=1e-4)
    if kept.target_tpm is not None:
        room = 0.15 * (band.high_tpm - band.low_tpm)
        assert band.target_tpm == pytest.approx(max(kept.target_tpm, band.low_tpm + room),
                                                abs=1e-4)
    check(rig, bands(rig, {}))


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_the_same_as_one_by_one_for_many() -> None:
    for rig in random_rigs(400, 3000):
        check(rig, bands(rig, {}))


@pytest.mark.parametrize("name", ["lakeside-hut", "radio-tent", "night-ferry", "toy-motor",
                                  "dangerous-barn"])
def test_examples(name) -> None:
    check(example(name), bands(example(name), {}))


def test_each_build_has_its_own_values() -> None:
    rig = example("lakeside-hut")
    pick = np.random.default_rng(3)
    drawn = {
        "motor.terminal_ohm": pick.uniform(0.8, 2.0, 5), "load.draw_a": pick.uniform(0.3, 0.7, 5),
        "motor.emf_v_per_krpm": rig.motor.emf_v_s * pick.uniform(0.8, 1.2, 5),
        "stage[2].efficiency": pick.uniform(0.7, 0.9, 5),
        "converter.start_v": pick.uniform(3.3, 5, 5), "air.hot_c": 35.0,
        "supply.power_mw": pick.uniform(0.05, 0.3, 5), "crank.friction_nm": np.array([0.07]),
        "bank.series": np.array([1, 2, 2, 3, 2]),
    }
    found = bands(rig, drawn)
    for i in range(5):
        one = rig
        for key, value in drawn.items():
            one = with_value(one, key, float(np.broadcast_to(value, 5)[i]))
        check(one, found, i)


def test_train_and_nameplate() -> None:
    rig = random_rig(1)  # k from the nameplate
    ratio = np.array([0.8, 1.0, 1.3]) * rig.stages[0].ratio * rig.stages[1].ratio
    found = bands(rig, {"train.ratio": ratio, "train.efficiency": 0.7,
                        "motor.no_load_a": np.array([0.05, 0.1, 0.2])})
    for i, amps in enumerate((0.05, 0.1, 0.2)):
        stage = replace(rig.stages[0], ratio=float(ratio[i]), efficiency=0.7)
        check(replace(rig, stages=(stage,), motor=replace(rig.motor, no_load_a=amps)), found, i)


def test_converter_given_by_points() -> None:
    rig = example("lakeside-hut")
    points = tuple(EfficiencyPoint(in_v=v, out_a=a, efficiency=e)
                   for v, a, e in ((4, 0.3, 0.85), (6, 0.5, 0.88), (9, 0.8, 0.84)))
    rig = replace(rig, converter=replace(rig.converter, points=points))
    check(rig, bands(rig, {}))


def test_rough_is_near() -> None:
    for rig in random_rigs(60, 100):
        fine, rough = bands(rig, {}), bands(rig, {}, fine=False)
        if np.isfinite(rough.low_tpm[0]) or fine.high_tpm[0] - fine.low_tpm[0] > 0.5:
            assert rough.low_tpm == pytest.approx(fine.low_tpm, abs=0.5), rig
            assert rough.high_tpm == pytest.approx(fine.high_tpm, abs=0.5), rig


def test_chunks_do_not_show() -> None:
    rig = example("radio-tent")
    chunk = FINE.chunk
    ohm = np.linspace(0.5, 4.0, chunk + 300)
    whole = bands(rig, {"motor.terminal_ohm": ohm})
    for i in (0, chunk - 1, chunk, chunk + 299):
        one = bands(rig, {"motor.terminal_ohm": ohm[i:i + 1]})
        assert one.low_tpm[0] == pytest.approx(whole.low_tpm[i], abs=1e-9, nan_ok=True)


def test_names_and_ratings_are_those_of_the_limits() -> None:
    for rig in random_rigs(40):
        listed = [one.name for one in constraints(rig)]
        assert set(listed) <= set(LIMIT_NAMES)
        order = [LIMIT_NAMES.index(name) for name in listed if "open_circuit" not in name]
        assert order == sorted(order)
        for rating, (name, volts) in zip(ratings(rig), most_v(rig), strict=True):
            assert rating.name == name
            for at in np.array([2.0, 6.0, 15.0, 40.0, 90.0, 200.0]):
                holds = float(rating.seen(np.array(at))) <= rating.rating_v
                assert holds == (at <= float(volts)), (rating.name, at, rig)


def test_a_clash_is_named() -> None:
    found = bands(example("toy-motor"), {})
    assert LIMIT_NAMES[found.low_limit[0]] == "start"
    assert LIMIT_NAMES[found.high_limit[0]] == "comfort_high"


@pytest.mark.parametrize("values", [
    {"motor.terminal_ohm": [1.0, np.nan]}, {"motor.terminal_ohm": [1.0, np.inf]},
    {"motor.terminal_ohm": [1.0, 2.0], "load.draw_a": [1.0, 2.0, 3.0]},
    {"motor.terminal_ohm": [[1.0]]}, {"motor.terminal_ohm": []},
])
def test_wrong_values(values) -> None:
    with pytest.raises(ValueError, match=r"motor\.terminal_ohm|load\.draw_a"):
        bands(example("lakeside-hut"), values)


def test_a_key_that_is_none() -> None:
    with pytest.raises(KeyError):
        bands(example("lakeside-hut"), {"motor.colour": [1.0]})


def test_absurd_numbers_are_no_band_and_no_warning() -> None:
    rig = example("lakeside-hut")
    for key in ("motor.terminal_ohm", "motor.emf_v_per_krpm", "load.draw_a", "converter.start_v",
                "converter.loss_ohm", "train.ratio", "bank.series", "air.hot_c"):
        found = bands(rig, {key: np.array([1e308, -1e308, 1e-308, 0.0, -1.0])})
        assert not (found.low_tpm >= found.high_tpm).any()


@pytest.mark.parametrize("k_w", [7.0, 40.0, 80.0])
def test_where_the_winding_runs_away(k_w) -> None:
    """The low edge of a machine whose winding hardly cools: settled for as long as it takes,
    it runs just above, and just below it does not."""
    rig = example("night-ferry")
    motor = replace(rig.motor, winding_case_k_w=k_w, case_air_k_w=30.0, max_winding_c=200.0)
    rig = replace(rig, motor=motor, bank=replace(rig.bank, mount_max_c=200.0))
    low = float(bands(rig, {}).low_tpm[0])
    pace = low + np.array([-0.02, 0.02])
    winding, _ = settled_c(rig, pace, rig.air.hot_c, rounds=1200)
    found = Pair(rig, pace, winding).found
    assert found is not None
    assert found.there.tolist() == [False, True]
    assert low - 0.01 < find_band(rig, deep=False).low_tpm <= low + EXACT


def test_candidates_wide_apart() -> None:
    """Very different machines of one kind, among them some whose hot and cold edges cross."""
    rig, pick = example("lakeside-hut"), np.random.default_rng(1)
    n = 3000
    drawn = {
        "motor.emf_v_per_krpm": rig.motor.emf_v_s * pick.uniform(0.4, 2.5, n),
        "motor.terminal_ohm": pick.uniform(0.5, 8, n),
        "motor.no_load_a": pick.uniform(0.03, 0.3, n),
        "bank.series": pick.integers(1, 5, n), "bank.parallel": pick.integers(1, 4, n),
        "train.ratio": pick.uniform(5, 60, n), "train.efficiency": pick.uniform(0.6, 0.85, n),
        "converter.max_in_v": pick.uniform(12, 30, n),
    }
    fine, rough = bands(rig, drawn), bands(rig, drawn, fine=False)
    works, nearly = np.isfinite(fine.low_tpm), np.isfinite(rough.low_tpm)
    assert 0.3 < works.mean() < 0.7
    assert (works != nearly).mean() < 0.005
    both = works & nearly
    off = np.maximum(np.abs(fine.low_tpm - rough.low_tpm), np.abs(fine.high_tpm - rough.high_tpm))
    assert np.percentile(off[both], 95) < 0.3
    # those that limits of either side end, in the hot and in the cold machine
    heavy = [LIMIT_NAMES.index(name) for name in ("arm_power", "arm_force", "mount_temperature")]
    some = np.nonzero(works & np.isin(fine.high_limit, heavy))[0][:6]
    for i in [*some.tolist(), *np.nonzero(works)[0][:3].tolist()]:
        one = rig
        for key, column in drawn.items():
            if not key.startswith("train"):
                one = with_value(one, key, column[i].item())
        stage = replace(rig.stages[0], driver_teeth=None, driven_teeth=None,
                        ratio=float(drawn["train.ratio"][i]),
                        efficiency=float(drawn["train.efficiency"][i]))
        check(replace(one, stages=(stage,)), fine, i)
