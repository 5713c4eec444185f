"""Pictures as files: endings, what they say of themselves, when they are out of date."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from steadyturn.errors import Failed, WrongInput
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


@pytest.mark.parametrize("suffix", plot_files.SUFFIXES)
@pytest.mark.parametrize("error", [KeyboardInterrupt, OSError(28, "No space left on device")])
def test_all_or_nothing(tmp_path, monkeypatch, suffix, error):
    """Stopped halfway, or with a full disk: what was there stays, and nothing beside it."""
    from matplotlib.figure import Figure

    path = tmp_path / f"a{suffix}"
    path.write_bytes(b"old")

    def half(self, target, **_):
        target.write_bytes(b"half")
        raise error

    monkeypatch.setattr(Figure, "savefig", half)
    with pytest.raises((KeyboardInterrupt, OSError)) as caught:
        plot_files.write(path, figure)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
    if isinstance(error, OSError):
        assert caught.value.filename == str(path)


@pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX")
def test_links_stay_and_pipes_are_refused(tmp_path):
    (tmp_path / "a.png").symlink_to(tmp_path / "real.png")
    plot_files.write(tmp_path / "a.png", figure)
    assert (tmp_path / "a.png").is_symlink()
    assert (tmp_path / "real.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "real.png").stat().st_mode & 0o777 == 0o644
    os.mkfifo(tmp_path / "b.png")
    (tmp_path / "c.png").symlink_to("/dev/full")
    for name in "bc":
        with pytest.raises(WrongInput, match="a pipe"):
            plot_files.check(tmp_path / f"{name}.png")


def test_a_matplotlib_that_does_not_start_is_said(tmp_path, monkeypatch):
    class Refuses:
        def find_spec(self, name, *_):
            if name == "matplotlib":
                raise ValueError("Key backend: 'nonesuch' is not a valid value for backend")

    monkeypatch.delitem(sys.modules, "matplotlib", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Refuses(), *sys.meta_path])
    with pytest.raises(Failed, match="MPLBACKEND"):
        plot_files.check(tmp_path / "a.png")


def test_folders_that_cannot_be_written(tmp_path):
    """A home that is none costs no words, and a place for the picture that is none no work."""
    (tmp_path / "file").touch()
    home = {"HOME": str(tmp_path / "file"), "PYTHONPATH": os.pathsep.join(sys.path)}
    said = subprocess.run(
        [sys.executable, "-c",
         "import sys; from pathlib import Path; from steadyturn.report.plot_files import check; "
         "check(Path(sys.argv[1])); import matplotlib; print(matplotlib.get_cachedir())",
         str(tmp_path / "x.png")], env=home, capture_output=True, text=True, check=True)
    assert said.stderr == ""
    assert "steadyturn-plots-" in said.stdout
    assert not Path(said.stdout.strip()).exists()  # gone with the program


def test_a_place_where_nothing_may_be_written(tmp_path, monkeypatch):
    monkeypatch.setattr("os.access", lambda *_, **__: False)
    with pytest.raises(WrongInput, match="nothing may be written"):
        plot_files.check(tmp_path / "x.png")
