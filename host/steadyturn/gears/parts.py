"""All printed parts of a train, by name, with how often each is needed and what it is for."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.gears import frame, handle, wheels
from steadyturn.gears.given import Given
from steadyturn.gears.shapes import Printer
from steadyturn.gears.trains import AWAY, Train

FINE_MM = 0.001  # what no printer shows


@dataclass(frozen=True)
class Part:
    """vertices [mm] and triangles of one part as it lies on the printer; fits its bed (straight
    or along the diagonal). size_mm and plastic_cm3: None where no body was made."""

    name: str
    count: int
    what: str
    size_mm: tuple[float, float, float] | None
    plastic_cm3: float | None
    fits: bool
    vertices: NDArray[np.float64] = field(metadata=AWAY)
    triangles: NDArray[np.int64] = field(metadata=AWAY)


def parts(train: Train, given: Given, only: Collection[str] | None = None) -> tuple[Part, ...]:
    """All of them (or those named in `only`), the coupon first. Failed where manifold3d is
    missing."""
    return tuple(_part(given, name, count, what, make())
                 for name, count, what, make in recipes(train, given)
                 if only is None or name in only)


def listed(train: Train, given: Given) -> tuple[Part, ...]:
    """The same without bodies, which needs no library: names, counts and uses."""
    none = np.zeros((0, 3))
    return tuple(Part(name, count, what, None, None, True, none, none.astype(np.int64))
                 for name, count, what, _ in recipes(train, given))


Recipe = tuple[str, int, str, Callable[[], Any]]


def recipes(train: Train, given: Given) -> list[Recipe]:
    """Name, count, use and maker of each part."""
    printer = Printer(given.grows_mm, given.foot_mm)
    boss = wheels.boss_fits(train, given)
    first, last = train.stages[0], train.stages[-1]
    fixed = "grub screw M3" if boss else "pressed on, a drop of glue"
    rows: list[Recipe] = [
        ("coupon", 1, "first of all: measure it, write grows_mm; trial bores for the shaft",
         partial(handle.coupon, given)),
        ("wheel-1", 1, f"{first.driver_teeth} teeth, on the handle's axle",
         partial(wheels.first_wheel, train, given, printer)),
    ]
    for n, stage in enumerate(train.stages[1:], start=1):
        rows.append((f"wheel-{n + 1}", 1, f"{stage.driver_teeth} teeth and the "
                     f"{train.stages[n - 1].driven_teeth} before them",
                     partial(wheels.compound, train, n, given, printer)))
    rows += [
        ("pinion", given.motors, f"{last.driven_teeth} teeth, on a motor's shaft ({fixed})",
         partial(wheels.motor_pinion, train, given, printer, boss=boss)),
        ("plate", 1, "columns up; slots let each motor move into mesh",
         partial(frame.plate, train, given, printer)),
        ("cover", 1, "the guard over all meshes: do not leave it off",
         partial(frame.cover, train, given, printer)),
        ("spacers", 1, "rings below and above the wheels, the longest on the handle's axle",
         partial(frame.spacers, train, given, printer)),
        ("holder", 1, "on two columns: for a table clamp, or a strap",
         partial(frame.holder, train, given, printer)),
        ("arm", 1, f"{given.arm_mm:.0f} mm, on the first wheel's hexagon",
         partial(handle.arm, train, given, printer)),
        ("spindle", 1, "of the knob, on its M6 bolt",
         partial(handle.spindle, printer)),
        ("sleeve", 1, "the grip, turns on the spindle", partial(handle.sleeve, printer)),
    ]
    return rows


def _part(given: Given, name: str, count: int, what: str, solid: Any) -> Part:
    vertices, triangles = mesh_of(solid)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    size = high - low
    vertices = vertices - [low[0], low[1], low[2]]
    long, short = sorted(size[:2], reverse=True)
    bed = given.bed_mm
    # along the diagonal: the part's box turned by 45 degrees
    fits = long <= bed or (long + short) / np.sqrt(2) <= bed
    return Part(name=name, count=count, what=what,
                size_mm=(float(size[0]), float(size[1]), float(size[2])),
                plastic_cm3=_volume_mm3(vertices, triangles) / 1000, fits=bool(fits),
                vertices=vertices, triangles=triangles)


def _volume_mm3(vertices: NDArray[np.float64], triangles: NDArray[np.int64]) -> float:
    """Volume inside a closed body: the sum of the tetrahedra its faces make with the origin."""
    a, b, c = vertices[triangles].transpose(1, 0, 2)
    return float((a * np.cross(b, c)).sum() / 6)


def mesh_of(solid: Any) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Vertices to a ten-thousandth of a mm and triangles, in an order that depends on the shape
    alone."""
    solid = solid.simplify(FINE_MM)
    mesh = solid.to_mesh64() if hasattr(solid, "to_mesh64") else solid.to_mesh()
    points = np.asarray(mesh.vert_properties, dtype=float)[:, :3]
    faces = np.asarray(mesh.tri_verts, dtype=np.int64)
    points = np.round(_parted(points, faces), 4) + 0.0
    unique, back = np.unique(points, axis=0, return_inverse=True)
    faces = back.reshape(-1)[faces]
    flat = ((faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2])
            | (faces[:, 0] == faces[:, 2]))
    faces = faces[~flat]
    first = faces.argmin(axis=1)
    rows = np.arange(len(faces))[:, None]
    faces = faces[rows, (first[:, None] + np.arange(3)) % 3]
    return unique, faces[np.lexsort(faces.T[::-1])]


def _parted(points: NDArray[np.float64], faces: NDArray[np.int64]) -> NDArray[np.float64]:
    """The points, those that fall on one another moved apart. A body may touch itself in a
    point, which is then there twice; files of triangles know points by their place alone, and
    would tie the two into an edge of four faces."""
    points = points.copy()
    for _ in range(8):
        _, back, count = np.unique(np.round(points, 4), axis=0, return_inverse=True,
                                   return_counts=True)
        back = back.reshape(-1)
        twice = np.flatnonzero(count[back] > 1)
        if not len(twice):
            break
        order = twice[np.argsort(back[twice], kind="stable")]
        later = order[1:][back[order][1:] == back[order][:-1]]  # all but the first of each place
        for point in later.tolist():
            corners = faces[(faces == point).any(axis=1)]
            if not len(corners):
                continue
            way = points[corners].mean(axis=(0, 1)) - points[point]
            points[point] += way * min(1.0, 2 * FINE_MM / max(float(np.linalg.norm(way)), 1e-9))
    return points
