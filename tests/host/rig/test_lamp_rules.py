"""Lamp kinds in a rig file: colours, the second pin, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.rules import faults

RIG = read_rig(example_path("lakeside-hut"))
COLORS = ("more_rgb", "enough_rgb", "much_rgb", "danger_rgb", "wrong_rgb")

# Machado, Oliveira & Fernandes 2009, "A physiologically-based model for simulation of color
# vision deficiency", severity 1, on linear RGB; matrices from memory.
BLIND = {
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
                   (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
                     (-0.011820, 0.042940, 0.968881)),
    "tritanopia": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602),
                   (0.004733, 0.691367, 0.303900)),
}
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def lab(rgb: int, matrix) -> np.ndarray:
    """CIE 1976 L*a*b* of a pixel (its three parts are linear in light) as that eye sees it."""
    linear = np.array([rgb >> 16, rgb >> 8 & 255, rgb & 255]) / 255
    xyz = XYZ @ np.clip(np.array(matrix) @ linear, 0, None) / XYZ.sum(axis=1)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("kind", [*BLIND, "none"])
def test_too_much_has_another_color_than_enough_for_every_eye(kind):
    matrix = BLIND.get(kind, np.eye(3))
    seen = {name: lab(getattr(RIG.board, name), matrix) for name in COLORS}
    # a difference of 2.3 is just noticed side by side (Mahy et al. 1994); here they follow another
    for enough in ("more_rgb", "enough_rgb"):
        for much in ("much_rgb", "danger_rgb"):
            assert np.linalg.norm(seen[enough] - seen[much]) > 35, (enough, much)
    for other in COLORS[:4]:
        assert np.linalg.norm(seen["wrong_rgb"] - seen[other]) > 20, other


def test_colors_are_read_as_written(tmp_path):
    path = tmp_path / "rig.toml"
    text = example_path("lakeside-hut").read_text().replace(
        'lamp = "led"', 'lamp = "rgb"\nmuch_rgb = 0xFF8000\nmore_rgb = 255')
    path.write_text(text)
    board = read_rig(path).board
    assert (board.much_rgb, board.more_rgb, board.enough_rgb) == (0xFF8000, 255, 0x00572C)
    path.write_text(text.replace("0xFF8000", "0x1FF8000"))
    with pytest.raises(WrongInput, match="0x000001 to 0xFFFFFF"):
        read_rig(path)
    path.write_text(text.replace("0xFF8000", '"#FF8000"'))
    with pytest.raises(WrongInput, match="0xCA5800"):
        read_rig(path)


def test_a_color_too_dark_to_be_told_from_dark_is_refused():
    dim = replace(RIG, board=replace(RIG.board, lamp="rgb", enough_rgb=0x0A0000, brightness=0.6))
    assert [f.keys[0] for f in faults(dim)] == ["board.enough_rgb"]
    assert "at least 13" in faults(dim)[0].how
    assert not faults(replace(dim, board=replace(dim.board, lamp="led")))
    assert not faults(replace(dim, board=replace(dim.board, brightness=1.0)))
    faint = replace(dim, board=replace(RIG.board, lamp="rgb", brightness=0.01))
    assert len(faults(faint)) == 5
    assert "at least 255" in faults(faint)[0].how or "%" in faults(faint)[0].how


def test_two_leds_need_two_pins():
    two = replace(RIG, board=replace(RIG.board, lamp="two_led"))
    assert not faults(two)
    bare = replace(two, board=replace(two.board, pins={"lamp2_pin": -1}))
    assert [f.keys[0] for f in faults(bare)] == ["board.pins.lamp2_pin"]
