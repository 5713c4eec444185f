"""Drawing builds of a rig: which values vary, how far, and their samples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch_frame import LOSSES
from steadyturn.model.converter import loss_constants
from steadyturn.model.guesses import STEADY_STATE_IGNORES
from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import PARTS, Origin, Rig, Spec, specs

Floats = NDArray[np.float64]

SIGMAS = 1.959963984540054  # of a normal distribution: 95 % lie within so many either way
EMF = ("motor.emf_v_per_krpm", "motor.no_load_rpm")


@dataclass(frozen=True)
class Varies:
    """One value that differs from build to build, in SI: `value` is the median, below and above
    are the distances to its 95 % points, least and most what the rig file accepts."""

    key: str
    kind: str
    value: float
    below: float
    above: float
    least: float
    most: float
    spec: Spec

    def of(self, normal: Floats) -> Floats:
        """Values for standard normal numbers: a split normal, cut at what is accepted.

        >>> from steadyturn.rig.types import Converter, specs
        >>> one = Varies("converter.out_v", "given", 5.0, 0.2, 0.1, 0.8, 60.0,
        ...              specs(Converter)["out_v"])
        >>> one.of(np.array([-SIGMAS, 0.0, SIGMAS])).round(6).tolist()
        [4.8, 5.0, 5.1]
        """
        width = np.where(normal < 0, self.below, self.above) / SIGMAS
        return np.clip(self.value + normal * width, self.least, self.most)


def mean_of(count: int, common: float) -> float:
    """By how much the mean of `count` motors of one batch varies, one motor being 1, where
    `common` is the share of the variance that they have in common.

    >>> round(mean_of(4, 0.5), 4), mean_of(1, 0.5), mean_of(9, 1.0)
    (0.7906, 1.0, 1.0)
    """
    return float(np.sqrt(common + (1 - common) / count))


def varying(rig: Rig) -> tuple[Varies, ...]:
    """Every value that differs between builds and moves the band.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = {one.key: one for one in varying(read_rig(example_path("lakeside-hut")))}
    >>> brush = hut["motor.brush_drop_v"]  # measured 0.18 V, 0.08 to 0.28
    >>> brush.kind, brush.value, round(brush.below, 6), "bus.capacitor_uf" in hut
    ('measured', 0.18, 0.1, False)
    """
    found = []
    for key, value, spec in _numbers(rig):
        if key in STEADY_STATE_IGNORES or (key == EMF[1] and rig.motor.emf_v_s is not None):
            continue
        origin = rig.origins.get(key) or Origin("given", value, value, value)
        below, above = _reach(rig, key, value, origin)
        if below > 0 or above > 0:
            found.append(Varies(key, origin.kind, value, below, above,
                                min(spec.low * spec.scale, value),
                                max(spec.high * spec.scale, value), spec))
    return tuple(found)


def _numbers(rig: Rig) -> list[tuple[str, float, Spec]]:
    """(key, value, spec) of every number that is set; a stage's keys count from 1. In place of
    a converter's points stand the losses fitted to them."""
    found: list[tuple[str, float, Spec]] = []
    parts: list[tuple[str, Any]] = [(name, getattr(rig, name)) for name in PARTS]
    parts += [(f"stage[{i}]", stage) for i, stage in enumerate(rig.stages, 1)]
    fitted = dict(zip(LOSSES, loss_constants(rig.converter), strict=True))
    for name, part in parts:
        for field, spec in specs(part).items():
            key, value = f"{name}.{spec.key}", getattr(part, field)
            if spec.type == "number" and value is not None:
                if rig.converter.points and key in fitted:
                    value = fitted[key]
                found.append((key, float(value), spec))
    return found


def _reach(rig: Rig, key: str, value: float, origin: Origin) -> tuple[float, float]:
    """Distances from the value to its 95 % points, of the mean of the bank's motors."""
    fitted = rig.converter.points and key in LOSSES
    usual = tolerance_of(key)
    count = rig.bank.series * rig.bank.parallel if key.startswith("motor.") else 1
    if origin.kind != "given" and not fitted:
        below, above = value - origin.low, origin.high - value
        own = _spread(rig, value) if key in EMF else 0.0
        # the interval is of what all motors have in common
        return (float(np.hypot(below, own / np.sqrt(count))),
                float(np.hypot(above, own / np.sqrt(count))))
    share = usual.share if origin.tolerance is None else origin.tolerance
    whole = abs(value) * share
    common = usual.common
    if key in EMF and whole > 0:
        common = 1 - min(_spread(rig, value) / whole, 1.0) ** 2
    reach = whole * mean_of(count, common)
    return reach, reach


def _spread(rig: Rig, value: float) -> float:
    """95 % point of what one motor differs from its batch, of the spread between two."""
    return abs(value) * rig.bank.spread / np.sqrt(2)


def draw(dimensions: int, count: int, seed: int) -> Floats:
    """Standard normal numbers [count, dimensions] from one scrambled Sobol sequence; count: a
    power of two.

    >>> bool(np.array_equal(draw(3, 8, 1), draw(3, 8, 1)))
    True
    """
    from scipy.special import ndtri
    from scipy.stats import qmc

    try:
        engine = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed))
    except TypeError:  # scipy before 1.15
        engine = qmc.Sobol(dimensions, scramble=True, seed=np.random.default_rng(seed))
    uniform = engine.random_base2(int(count).bit_length() - 1)
    return ndtri(np.clip(uniform, 1e-12, 1 - 1e-12))


def values(vary: tuple[Varies, ...], normal: Floats,
           known: frozenset[str] = frozenset()) -> Mapping[str, Floats]:
    """Key -> values of each build [SI], for `batch.bands`; those of `known` stay at their median.

    normal: standard normal numbers [builds, one of `vary`].

    >>> from steadyturn.rig.types import Converter, specs
    >>> out = Varies("converter.out_v", "given", 5.0, 0.2, 0.1, 0.8, 60.0,
    ...              specs(Converter)["out_v"])
    >>> values((out,), np.array([[-SIGMAS], [0.0]]))["converter.out_v"].round(6).tolist()
    [4.8, 5.0]
    >>> values((out,), np.array([[-SIGMAS]]), frozenset({out.key}))[out.key].tolist()
    [5.0]
    """
    return {one.key: np.full(len(normal), one.value) if one.key in known
            else one.of(normal[:, i]) for i, one in enumerate(vary)}
