"""What outings, or the maker, narrow the band to. See rig.types."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.rig.spec import number


@dataclass(frozen=True, kw_only=True)
class Kept:
    """Where to turn within what this machine can do, as `steadyturn retune --from-use` finds it
    from outings. It only narrows the band and moves its target, never beyond a limit; it speaks
    of one machine, so that a change of motor or gears drops it."""

    low_tpm: float | None = number(
        "low_tpm", "turns/min", 5, 300, optional=True,
        how="Left out: as slow as machine and comfort allow.")
    target_tpm: float | None = number(
        "target_tpm", "turns/min", 5, 300, optional=True,
        how="The pace that the lamp leads to. Left out: what costs the arm least for each "
        "joule delivered.")
    high_tpm: float | None = number(
        "high_tpm", "turns/min", 5, 300, optional=True,
        how="Left out: as fast as machine and comfort allow.")
