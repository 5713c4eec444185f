"""The pictures that stand in the repository show what today's code draws."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from steadyturn.jobs import drawings

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize("name", drawings.PICTURES)
def test_picture_is_current(name):
    # after a change of the model or of the plot: python -m steadyturn.jobs.drawings
    assert not drawings.out_of_date(ROOT / name, drawings.PICTURES[name]())
    assert (ROOT / name).stat().st_size < 120_000
    assert name in (ROOT / "README.md").read_text(encoding="utf-8")


def test_a_change_is_seen_and_only_then_written(tmp_path, monkeypatch):
    def figure(end=2.0):
        from matplotlib.figure import Figure

        made = Figure(figsize=(2, 2))
        axis = made.subplots()
        axis.plot([0, 1], [0, end])
        axis.set_ylim(0, 5)
        return made

    monkeypatch.setattr(drawings.files, "FILES", {})
    monkeypatch.setattr(drawings, "PAGE", tmp_path / "page.md")
    (tmp_path / "page.md").write_text(drawings.reference_text(), encoding="utf-8")
    monkeypatch.setattr(drawings, "PICTURES", {"some/where/a.png": figure})
    path = tmp_path / "some/where/a.png"
    assert drawings.write(tmp_path) == [path]
    os.utime(path, (1, 1))
    assert drawings.write(tmp_path) == []
    assert path.stat().st_mtime == 1
    monkeypatch.setattr(drawings, "PICTURES", {"some/where/a.png": lambda: figure(2.1)})
    assert "2.1" in drawings.out_of_date(path, figure(2.1))
    assert drawings.write(tmp_path) == [path]


def test_a_picture_that_is_not_there_or_says_nothing(tmp_path):
    from matplotlib.figure import Figure

    assert drawings.out_of_date(tmp_path / "a.png", Figure())
    Figure(figsize=(1, 1)).savefig(tmp_path / "b.png")
    assert drawings.out_of_date(tmp_path / "b.png", Figure())
