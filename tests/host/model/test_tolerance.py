"""The sure band: draws as stated, a hand-made case, errors that shrink, nothing that raises."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from random_rigs import random_rigs
from steadyturn.model import tolerance
from steadyturn.model.band import find_band
from steadyturn.model.batch import bands
from steadyturn.model.batch_volts import bus_v_over
from steadyturn.model.point import operate
from steadyturn.model.tolerance import sure_band
from steadyturn.model.tolerance_band import best_pace, share_over, widest
from steadyturn.model.tolerance_draw import EMF, draw, mean_of, values, varying
from steadyturn.model.tolerance_rank import first_order
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.tolerances import TOLERANCES
from steadyturn.rig.types import PARTS, Origin, specs


@pytest.fixture(autouse=True)
def no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


def example(name: str = "lakeside-hut"):
    return read_rig(example_path(name))


def exact(rig):
    """The rig with nothing that varies."""
    origins = {}
    parts = [(name, getattr(rig, name)) for name in PARTS]
    parts += [(f"stage[{i}]", stage) for i, stage in enumerate(rig.stages, 1)]
    for name, part in parts:
        for field, spec in specs(part).items():
            value = getattr(part, field)
            if spec.type == "number" and value is not None:
                origins[f"{name}.{spec.key}"] = Origin("given", value, value, value, "", 0.0)
    return replace(rig, origins=origins)


def with_origins(rig, **changed):
    return replace(rig, origins={**rig.origins,
                                 **{key.replace("__", "."): one for key, one in changed.items()}})


def test_without_tolerances_it_is_the_band_itself() -> None:
    for name in ("lakeside-hut", "radio-tent"):
        rig = exact(example(name))
        assert not varying(rig)
        band, sure = find_band(rig, deep=False), sure_band(rig, builds=64)
        assert sure.low_tpm == pytest.approx(band.low_tpm, abs=1e-3)
        assert sure.high_tpm == pytest.approx(band.high_tpm, abs=1e-3)
        assert sure.works_share == sure.best_share == 1.0
        assert sure.low_error_tpm == sure.works_error == 0.0
        assert not sure.ranking


def test_quantiles_of_the_draws() -> None:
    rig = example()
    vary = varying(rig)
    drawn = values(vary, draw(len(vary), 4096, 7))
    for one in vary:
        low, median, high = np.percentile(drawn[one.key], [2.5, 50, 97.5])
        assert median == pytest.approx(one.value, rel=0.01, abs=0.01 * one.above)
        if one.value - one.below > one.least:
            assert low == pytest.approx(one.value - one.below, rel=0.02), one
        if one.value + one.above < one.most:
            assert high == pytest.approx(one.value + one.above, rel=0.02), one
        assert drawn[one.key].min() >= one.least
        assert drawn[one.key].max() <= one.most


def test_what_varies_and_how_far() -> None:
    rig = example()  # two motors in series
    vary = {one.key: one for one in varying(rig)}
    ohm = rig.origins["motor.terminal_ohm"]
    assert vary["motor.terminal_ohm"].above == pytest.approx(ohm.high - ohm.value)
    out = vary["converter.out_v"]  # given: what is usual
    assert out.above == pytest.approx(TOLERANCES["converter.out_v"].share * rig.converter.out_v)
    assert EMF[1] not in vary  # the nameplate is only compared
    assert "bus.capacitor_uf" not in vary
    own = with_origins(rig, motor__terminal_ohm=Origin("given", 1.34, 1.34, 1.34, "", 0.1))
    found = {one.key: one for one in varying(own)}["motor.terminal_ohm"]
    common = TOLERANCES["motor.terminal_ohm"].common
    assert found.above == found.below == pytest.approx(0.134 * mean_of(2, common))


def test_the_spread_of_the_bank_is_each_motors_own_part() -> None:
    rig = example("radio-tent")
    given = Origin("given", rig.motor.no_load_rad_s, rig.motor.no_load_rad_s,
                   rig.motor.no_load_rad_s)

    def reach(spread: float, series: int) -> float:
        bank = replace(rig.bank, spread=spread, series=series, parallel=1)
        one = replace(rig, bank=bank, origins={"motor.no_load_rpm": given})
        return next(v.above for v in varying(one) if v.key == "motor.no_load_rpm")

    whole = 0.075 * rig.motor.no_load_rad_s
    assert reach(0.05, 1) == reach(0.0, 4) == pytest.approx(whole)
    own = 0.05 * rig.motor.no_load_rad_s / np.sqrt(2)
    assert reach(0.05, 4) == pytest.approx(np.sqrt(whole**2 - own**2 + own**2 / 4))


@pytest.mark.parametrize("common", [0.0, 0.5, 0.9])
def test_motors_of_one_batch(common) -> None:
    """Motors drawn one by one, with the stated correlation: their mean varies as reckoned."""
    pick = np.random.default_rng(4)
    batch, own = pick.standard_normal((40_000, 1)), pick.standard_normal((40_000, 4))
    motors = np.sqrt(common) * batch + np.sqrt(1 - common) * own
    assert np.corrcoef(motors[:, 0], motors[:, 1])[0, 1] == pytest.approx(common, abs=0.02)
    assert np.std(motors.mean(axis=1)) == pytest.approx(mean_of(4, common), rel=0.02)


def hand_made():
    """Only the arm's comfort varies, and it alone limits: edges 60 +- 2 and 80 +- 2."""
    rig = exact(example())
    rig = replace(rig, arm=replace(rig.arm, comfort_low_tpm=60.0, comfort_high_tpm=80.0))
    return replace(rig, origins={
        **rig.origins, "arm.comfort_low_tpm": Origin("measured", 60, 58, 62),
        "arm.comfort_high_tpm": Origin("measured", 80, 78, 82)})


def test_a_case_by_hand() -> None:
    """Both edges independent and alike: each holds for the root of the share."""
    sure = sure_band(hand_made(), share=0.95)
    sigma, at_root = 2 / 1.959964, 1.954508  # normal quantile of 0.95 ** 0.5
    assert sure.low_tpm == pytest.approx(60 + sigma * at_root, abs=0.08)
    assert sure.high_tpm == pytest.approx(80 - sigma * at_root, abs=0.08)
    assert sure.high_tpm - sure.low_tpm == pytest.approx(20 - 2 * sigma * at_root, abs=0.02)
    assert sure.works_share == 1.0
    first, second = sure.ranking
    assert {first.key, second.key} == {"arm.comfort_low_tpm", "arm.comfort_high_tpm"}
    low = first if first.key == "arm.comfort_low_tpm" else second
    assert low.width_share == pytest.approx(0.5, abs=0.02)
    assert (low.low_share, low.high_share) == pytest.approx((1.0, 0.0), abs=0.03)
    # known, the other edge may stand at its 95 % point alone
    wider = 2 * sigma * at_root - sigma * 1.644854
    assert low.wider_tpm == pytest.approx(wider, abs=0.1)


def test_a_larger_share_has_a_narrower_band() -> None:
    rig = example()
    found = [sure_band(rig, share=share, builds=1024, deep=False)
             for share in (0.5, 0.8, 0.95, 0.99)]
    widths = [one.high_tpm - one.low_tpm if one.low_tpm else 0.0 for one in found]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > widths[-1]


def test_the_error_shrinks_and_is_honest() -> None:
    rig = example("radio-tent")
    few, many = (sure_band(rig, share=0.8, builds=n, deep=False) for n in (256, 8192))
    assert many.works_error < 0.5 * few.works_error
    assert many.high_error_tpm < 0.5 * few.high_error_tpm
    others = [sure_band(rig, share=0.8, builds=256, seed=seed, deep=False).works_share
              for seed in range(1, 9)]
    assert np.std(others) < 4 * few.works_error
    assert few.works_share == pytest.approx(many.works_share, abs=5 * few.works_error)


def test_the_same_seed_gives_the_same() -> None:
    one, two = (sure_band(example(), builds=256, seed=3) for _ in range(2))
    assert one.ranking == two.ranking
    assert (one.low_tpm, one.high_tpm) == (two.low_tpm, two.high_tpm)
    assert sure_band(example(), builds=256, seed=4, deep=False).low_tpm != one.low_tpm


def test_its_edges_are_edges() -> None:
    """A little outside fewer builds work, inside enough, counted from the bands themselves."""
    rig = example()
    sure = sure_band(rig, share=0.9, builds=2048)
    vary = varying(rig)
    found = bands(rig, values(vary, tolerance._normal(len(vary), 256, tolerance.SEED)),
                  target=False)

    def share(low: float, high: float) -> float:
        return float(((found.low_tpm <= low) & (found.high_tpm >= high)).mean())

    assert share(sure.low_tpm, sure.high_tpm) >= 0.9
    assert share(sure.low_tpm - 0.2, sure.high_tpm + 0.2) < 0.9
    inside = (sure.low_tpm + sure.high_tpm) / 2
    at = int(np.argmin(np.abs(np.array(sure.fan.pace_tpm) - inside)))
    assert sure.fan.works_share[at] >= 0.9


def test_the_fan_holds_the_rig_itself() -> None:
    rig = example()
    fan = sure_band(rig, builds=512).fan
    pace, bus_v = np.array(fan.pace_tpm), np.array(fan.bus_v)
    known = np.isfinite(bus_v).all(axis=0)
    assert known.sum() > 10
    assert (np.diff(bus_v[:, known], axis=0) >= 0).all()
    own = operate(rig, pace[known]).bus_v
    assert ((own > bus_v[0, known]) & (own < bus_v[-1, known])).mean() > 0.9
    alone = bus_v_over(rig, {}, pace[known])[0]
    both = np.isfinite(alone) & np.isfinite(own)
    assert alone[both] == pytest.approx(own[both], rel=5e-3)


def test_widest_pair_against_all_pairs() -> None:
    pick = np.random.default_rng(2)
    for _ in range(20):
        low, high = pick.uniform(0, 5, 30), pick.uniform(4, 9, 30)
        low[:3] = high[:3] = np.nan
        found, best = widest(low, high, 0.7), None
        for a in low[3:]:
            for b in high[3:]:
                if np.mean((low <= a) & (high >= b)) >= 0.7 and b > a and (
                        best is None or b - a > best[1] - best[0]):
                    best = (a, b)
        assert (found is None) == (best is None)
        if best:
            assert found[1] - found[0] == pytest.approx(best[1] - best[0])
        tpm, most = best_pace(low, high)
        assert share_over(low, high, np.array([tpm]))[0] == pytest.approx(most)
        assert most >= share_over(low, high, np.linspace(0, 9, 50)).max()


def test_first_order_of_chance_is_none() -> None:
    normal = draw(6, 4096, 1)
    noise = np.random.default_rng(5).standard_normal(4096)
    assert first_order(normal, noise).max() < 0.01
    assert first_order(normal, np.ones(4096)).max() == 0.0
    both = first_order(normal, normal[:, 0] * normal[:, 1])  # only together
    assert both.max() < 0.02


def test_random_rigs_give_an_answer() -> None:
    for rig in random_rigs(12, 300):
        sure = sure_band(rig, builds=64)
        assert 0 <= sure.works_share <= 1
        assert (sure.low_tpm is None) == (sure.high_tpm is None)
        assert sure.best_share <= sure.works_share + 1e-12


@pytest.mark.parametrize("wrong", [{"share": 0.49}, {"share": 1.0}, {"share": float("nan")},
                                   {"builds": 0}, {"builds": 1 << 30}])
def test_wrong_arguments(wrong) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        sure_band(example(), **wrong)
