"""Printed parts as bodies: closed, of one piece, with the volume and the bores they should
have; files that other programs read and that are the same every time."""

from __future__ import annotations

import hashlib
import io
import zipfile
from math import pi
from random import Random
from xml.etree import ElementTree

import numpy as np
import pytest
from gear_tasks import task
from steadyturn.gears import mesh_files
from steadyturn.gears.outline import area_mm2, outline
from steadyturn.gears.teeth import Gear
from steadyturn.gears.trains import of_teeth

trimesh = pytest.importorskip("trimesh", reason="the extra 'print' is not installed")
pytest.importorskip("manifold3d", reason="the extra 'print' is not installed")

from crossings import crossings  # noqa: E402
from steadyturn.gears import frame, layers, shapes, wheels  # noqa: E402
from steadyturn.gears.parts import parts  # noqa: E402

PIECES = {"spacers"}  # of several bodies


def mesh(part):
    return trimesh.Trimesh(part.vertices, part.triangles, process=False)


def check(part) -> None:
    body = mesh(part)
    assert body.is_watertight, part.name
    assert body.is_winding_consistent, part.name
    assert body.volume > 0, part.name
    assert body.volume / 1000 == pytest.approx(part.plastic_cm3, rel=1e-9), part.name
    engine = shapes.kernel()
    again = engine.Manifold(engine.Mesh(
        vert_properties=part.vertices.astype(np.float32),
        tri_verts=part.triangles.astype(np.uint32)))
    assert again.status() == engine.Error.NoError, part.name
    assert again.volume() == pytest.approx(body.volume, rel=1e-4)
    if part.name not in PIECES:
        assert len(body.split(only_watertight=False)) == 1, part.name
    assert body.bounds[0] == pytest.approx([0, 0, 0], abs=1e-9)
    assert crossings(part.vertices, part.triangles) == [], part.name


def test_a_body_through_itself_is_seen(usual) -> None:
    """The check can fail: two pinions through each other are no sound body."""
    part = usual[2]["pinion"]
    points = np.concatenate([part.vertices, part.vertices + np.array([3.0, 1.0, 2.0])])
    faces = np.concatenate([part.triangles, part.triangles + len(part.vertices)])
    assert len(crossings(points, faces)) > 100


def made(teeth=((60, 12), (60, 12)), only=None, **printing):
    asked = task(**printing)
    train = of_teeth(teeth, asked)
    return train, asked.given, {p.name: p for p in parts(train, asked.given, only)}


@pytest.fixture(scope="module")
def usual():
    return made()


def test_every_part_is_a_sound_body(usual) -> None:
    for part in usual[2].values():
        check(part)


def random_case(seed: int) -> None:
    dice = Random(seed)
    while True:
        printing = {
            "can_m": dice.uniform(0.02, 0.045), "shaft_m": dice.choice((2.0, 2.3, 3.17)) / 1000,
            "grows_m": dice.uniform(-0.0002, 0.0003), "foot_m": dice.choice((0.0, 0.0003)),
            "bearing": dice.choice(("none", "625", "608")),
            "shaft_flat_m": dice.choice((None, 0.0015)),
            "motors": dice.randint(1, 3), "radius_m": dice.uniform(0.05, 0.2),
            "material": dice.choice(("pla", "petg", "nylon")),
            "axle_m": dice.choice((None, None, 0.005, 0.01)),
        }
        count = dice.choice((1, 2, 2, 3))
        if dice.random() < 0.2:
            printing |= {"motors": 1, "layout": "reverted"}
            count = 2
        if dice.random() < 0.2:
            printing |= {"shaft_hex_m": 0.0025, "shaft_m": None, "shaft_flat_m": None}
        if printing["bearing"] != "none":
            printing["axle_m"] = None
        teeth = tuple((dice.randint(24, 80), dice.randint(8, 16)) for _ in range(count))
        try:
            for part in made(teeth, ratio=20.0, **printing)[2].values():
                check(part)
            return
        except ValueError:  # no such train
            continue


@pytest.mark.parametrize("seed", range(1))
def test_parts_of_random_rigs(seed: int) -> None:
    random_case(seed)


@pytest.mark.soak
@pytest.mark.timeout(3000)
def test_parts_of_many_random_rigs() -> None:
    for seed in range(100, 200):
        random_case(seed)


def test_a_reverted_train_hides_its_bolts_head() -> None:
    """The handle's wheel turns in the cover alone; the plate has no hole for its axle but the
    motor's mount there."""
    train, given, found = made(((51, 10), (86, 11)), only=("wheel-1", "plate", "cover"),
                               ratio=40.0, motors=1, layout="reverted")
    for part in found.values():
        check(part)
    body = mesh(found["wheel-1"])
    section = body.section(plane_origin=[0, 0, 2.0], plane_normal=[0, 0, 1])
    radii = np.hypot(*(section.vertices[:, :2] - body.bounds.mean(axis=0)[:2]).T)
    across, _ = wheels.head_mm(given)
    assert radii.min() == pytest.approx(across / 2, abs=across * 0.09)  # a corner is farther out
    assert train.layout.motors == (train.layout.axles[0],)


def test_volume_of_teeth_is_area_times_width() -> None:
    gear = Gear(teeth=24, module_mm=2.0, thinning_mm=0.1)
    given = task().given
    body = layers.body(wheels.toothed(gear, 10.0, given, shapes.Printer()))
    drawn = wheels.printed_outline(gear, given)
    assert body.volume() == pytest.approx(area_mm2(drawn) * 10, rel=1e-4)
    # and the few points of the print are near enough to the whole shape
    assert body.volume() == pytest.approx(area_mm2(outline(gear, flank=200, fillet=100)) * 10,
                                          rel=2e-3)


def test_printed_tooth_has_the_span_of_the_formula() -> None:
    """Calipers over three teeth of the body's section: the widest chord along the base tangent."""
    from steadyturn.gears.teeth import span_mm

    gear = Gear(teeth=24, module_mm=2.0, thinning_mm=0.1)
    points = outline(gear, flank=200)
    turn = 2 * pi / 24
    # teeth -1, 0, 1 between two parallel jaws, which lie across the middle tooth
    angle = np.arctan2(points[:, 1], points[:, 0])
    three = points[(np.abs(angle) < 1.5 * turn) & (np.hypot(*points.T) > gear.base_mm)]
    assert np.ptp(three[:, 1]) == pytest.approx(span_mm(gear, 3), abs=0.01)


def test_what_the_printer_adds_is_taken_off(usual) -> None:
    plain = usual[2]
    grown = made(only=("wheel-1", "coupon", "spacers"), grows_m=0.0002, foot_m=0.0)[2]
    assert grown["wheel-1"].size_mm[0] == pytest.approx(plain["wheel-1"].size_mm[0] - 0.4,
                                                        abs=0.02)
    assert grown["coupon"].size_mm == plain["coupon"].size_mm
    # bores become wider: less plastic in a ring than its walls alone would lose
    assert grown["spacers"].plastic_cm3 < plain["spacers"].plastic_cm3


def test_bores_have_their_diameters(usual) -> None:
    train, given, found = usual
    for name in ("wheel-1", "wheel-2"):
        body = mesh(found[name])
        height = body.bounds[1][2] - 1.0
        section = body.section(plane_origin=[0, 0, height], plane_normal=[0, 0, 1])
        middle = body.bounds.mean(axis=0)[:2]
        radii = np.hypot(*(section.vertices[:, :2] - middle).T)
        assert radii.min() == pytest.approx(given.axle_mm / 2 + wheels.RUNS_MM, abs=0.02)
    assert train.stages[0].driver_teeth == 60


def test_columns_stand_clear_of_the_wheels(usual) -> None:
    from steadyturn.gears.layout import COLUMN_MM, circles

    train, _, _ = usual
    pairs = tuple(s.pair for s in train.stages)
    for x, y in frame.columns(train):
        for (cx, cy), tip in circles(pairs, train.layout.axles, train.layout.motors):
            assert np.hypot(x - cx, y - cy) > tip + COLUMN_MM + 1.0


def test_a_flat_on_the_shaft_is_in_the_pinion(usual) -> None:
    plain, flat = usual[2], made(only=("pinion",), shaft_flat_m=0.0025)[2]
    assert flat["pinion"].plastic_cm3 > plain["pinion"].plastic_cm3


def test_a_hexagonal_shaft_has_its_bore() -> None:
    """Across the flats of the printed bore, the flat under the grub screw, and in the coupon."""
    _, given, found = made(only=("pinion", "coupon"), shaft_hex_m=0.003)
    assert given.shaft_mm == pytest.approx(3.4641, abs=1e-4)
    for part in found.values():
        check(part)
    body = mesh(found["pinion"])
    middle = body.bounds.mean(axis=0)
    section = body.section(plane_origin=[0, 0, body.bounds[1][2] / 3], plane_normal=[0, 0, 1])
    at = section.vertices[:, :2] - middle[:2]
    hole = at[np.hypot(*at.T) < 2.2]
    assert len(hole) >= 6
    across = 3.0 + 2 * (wheels.PRESS_MM + (0.05 if "grub" in found["pinion"].what else 0.0))
    assert np.ptp(hole[:, 1]) == pytest.approx(across, abs=2e-3)  # flats look to +y and -y
    assert np.ptp(hole[:, 0]) == pytest.approx(across * 2 / np.sqrt(3), abs=2e-3)


def test_stl_reads_back(usual) -> None:
    part = usual[2]["pinion"]
    data = mesh_files.stl(part.vertices, part.triangles, "Lakeside hut; pinion; m 1.25")
    assert data[:80].startswith(b"Lakeside hut; pinion")
    back = trimesh.load(io.BytesIO(data), file_type="stl")
    assert back.is_watertight
    assert back.volume == pytest.approx(mesh(part).volume, rel=1e-4)


def test_three_mf_is_well_formed(usual) -> None:
    part = usual[2]["pinion"]
    data = mesh_files.three_mf([("pin & ion", part.vertices, part.triangles, [(0, 0), (30, 0)])],
                               {"Title": "a <b>"})
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert file.namelist()[0] == "[Content_Types].xml"
        model = ElementTree.fromstring(file.read("3D/3dmodel.model"))
    space = {"m": "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"}
    assert model.get("unit") == "millimeter"
    assert len(model.findall(".//m:vertex", space)) == len(part.vertices)
    assert len(model.findall(".//m:triangle", space)) == len(part.triangles)
    assert len(model.findall(".//m:item", space)) == 2
    assert model.find("m:metadata", space).text == "a <b>"


def test_same_input_same_bytes(usual) -> None:
    again = made(only=("wheel-2", "plate", "sleeve"))[2]
    for name in again:
        part = usual[2][name]
        one, two = (hashlib.sha256(mesh_files.stl(p.vertices, p.triangles, name)).hexdigest()
                    for p in (part, again[name]))
        assert one == two, name


def test_without_the_library_it_is_told(monkeypatch) -> None:
    import sys

    from steadyturn.errors import Failed

    monkeypatch.setitem(sys.modules, "manifold3d", None)
    with pytest.raises(Failed, match="manifold3d is missing"):
        shapes.kernel()


def test_spacers_fill_what_the_wheels_leave(usual) -> None:
    """Below, the wheel, above: together the height between plate and cover, less the play."""
    train, given, _ = usual
    rings = frame.spacer_heights(train, given)
    one, two = train.stages
    inside = frame.height_mm(train)
    first = rings[0] + one.width_mm + 1.0 - 0.2 + 8.0  # its shoulder, the cover's bearing
    second = rings[1] + two.width_mm + 1.0 + one.width_mm + rings[2]
    assert 0.1 < inside - first <= 0.5
    assert 0.1 < inside - second <= 0.5
