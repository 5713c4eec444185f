"""The lamp of a virtual board plays on while a flash erase holds the program up."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from steadyturn.model.band import Band
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin import flash
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

ERASE_S = 0.4  # at worst


class Reader(Steady):
    """Turns steadily and keeps all that the lamp shows."""

    def __init__(self, pace_tpm: float) -> None:
        super().__init__(pace_tpm)
        self.seen: list[tuple[float, float]] = []

    def see(self, t_s: float, light: float) -> None:
        self.seen.append((t_s, light))


@pytest.mark.parametrize("board", ["pico", "esp32_s3"])
def test_an_erase_lengthens_no_flash(
    board: str, hut: Rig, hut_band: Band, firmware_files: dict[str, bytes], tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(flash, "ERASE_US", int(ERASE_S * 1e6))
    assert hut_band.low_tpm is not None
    rig = replace(hut, board=replace(hut.board, kind=board))
    hand = Reader(hut_band.low_tpm * 0.85)  # faster: a flash of 0.12 s on the beat
    with Twin(rig, image=tmp_path / "a.img", person=hand) as twin:
        twin.prepare(encode(build(rig, hut_band)), firmware_files)
        twin.record_flash()
        twin.run(100)
        log = twin.flash_log
    assert log is not None
    erases = [o.t_s for o in log if o.data is None and o.t_s > 10]
    assert len(erases) >= 2
    lit = [(a[0], b[0] - a[0]) for a, b in pairwise(hand.seen) if a[1] and not b[1]]
    lit = [(at, s) for at, s in lit if at > 10]
    assert len(lit) > 80
    for at, s in lit:
        assert s == pytest.approx(0.12, abs=0.021), f"at {at:.3f} s"
    gaps = [b[0] - a[0] for a, b in pairwise(lit)]
    assert max(gaps) - min(gaps) < 0.045  # the beat goes on, to a tick
    # and it is hardware that plays: changes in the midst of an erase
    inside = [t for t, _ in hand.seen for e in erases if e + 0.02 < t < e + ERASE_S - 0.02]
    assert inside
