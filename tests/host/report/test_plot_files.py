"""Pictures as files: endings, what they say of themselves, when they are out of date."""

from __future__ import annotations

import pytest
from steadyturn.errors import WrongInput
from steadyturn.report import plot_files


def figure(top=4.0, words="collapse", points=400):
    from matplotlib.figure import Figure

    made = Figure(figsize=(4, 3))
    axis = made.subplots()
    xs = [top * i / (points - 1) for i in range(points)]
    axis.plot(xs, [x * x if i else float("nan") for i, x in enumerate(xs)])
    axis.annotate(words, (1, 1))
    axis.set_ylabel("bus, V")
    axis.set_ylim(0, 20)
    axis.set_xlim(0, top)
    made.suptitle("a <hut> & more")
    return made


@pytest.mark.parametrize("suffix", plot_files.SUFFIXES)
def test_a_picture_says_what_it_shows(tmp_path, suffix):
    path = tmp_path / f"a{suffix}"
    plot_files.write(path, figure)
    said = plot_files.stored(path)
    assert said["title"] == "a <hut> & more"
    assert said["panels"][0]["words"] == ["collapse", "bus, V"]
    line = said["panels"][0]["lines"][0]
    assert len(line) == plot_files.KEPT
    assert line[0] == [0, None]
    assert line[-1] == [4, 16]
    assert not plot_files.differ(said, plot_files.content(plot_files.drawn(figure)))


@pytest.mark.parametrize("change", [{"top": 4.1}, {"words": "collapses"}, {"points": 3}])
def test_and_a_change_is_seen(change):
    before = plot_files.content(figure())
    assert plot_files.differ(before, plot_files.content(figure(**change)))
    assert not plot_files.differ(before, plot_files.content(figure(top=4.0001)))


@pytest.mark.parametrize("suffix", plot_files.SUFFIXES)
def test_a_picture_by_another_hand_says_nothing(tmp_path, suffix):
    figure().savefig(tmp_path / f"b{suffix}")
    assert plot_files.stored(tmp_path / f"b{suffix}") is None


@pytest.mark.parametrize("name", ["a.gif", "a", "a.png.txt", "nowhere/a.png"])
def test_wrong_names(tmp_path, name):
    with pytest.raises(WrongInput, match="--map") as caught:
        plot_files.write(tmp_path / name, figure, option="--map")
    assert not list(tmp_path.iterdir())
    assert ".png or .svg" in str(caught.value) or "does not exist" in str(caught.value)
