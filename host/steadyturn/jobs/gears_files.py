"""The chosen train as files in a folder: bodies, drawings, a page, and a list of what is ours."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.gears import frame, mesh_files, turning
from steadyturn.gears.kernel import NoKernel, kernel
from steadyturn.gears.layout import COLUMN_MM, Point
from steadyturn.gears.outline import Points
from steadyturn.gears.parts import Part, listed, parts, recipes
from steadyturn.gears.trains import AWAY, Train
from steadyturn.gears.wheels import printed_outline
from steadyturn.jobs import out_folder
from steadyturn.jobs.gears import Geared
from steadyturn.report import gears as report
from steadyturn.report import gears_drawing, gears_page, gears_picture, plot_files
from steadyturn.report.style import number

LIST = "steadyturn-gears.json"  # names and checksums of the files that were written
PICTURE, PICTURE_DPI = "assembly.png", 110
SHEETS = ("train.html", "train.txt", "assembly.svg", "wheels-1to1.svg")
TOGETHER = "all-parts.3mf"


@dataclass(frozen=True)
class Wheel:
    """One wheel on a drawing. axle: 0 is the handle's; plane: 0 is foremost; driver: whether it
    drives its mesh; hexagon_mm: across the arm's seat on it, 0 where there is none."""

    axle: int
    plane: int
    driver: bool
    teeth: int
    module_mm: float
    shift: float
    width_mm: float
    tip_mm: float
    root_mm: float
    bore_mm: float
    hexagon_mm: float
    x: float
    y: float
    ratio: float
    start_rad: float
    points: Points = field(metadata=AWAY)


@dataclass(frozen=True)
class Drawing:
    """What the drawings show; wheels: each kind once, wheels_placed: all that turn."""

    title: str
    subtitle: str
    text: str
    wheels: tuple[Wheel, ...]
    wheels_placed: tuple[Wheel, ...]
    outline: tuple[Point, ...]
    columns: tuple[Point, ...]
    column_mm: float
    motors: tuple[Point, ...]
    can_mm: float
    last_axle: Point
    distances: tuple[tuple[Point, Point, str], ...]


@dataclass(frozen=True)
class Written:
    """folder, files: what was written; kept: older files of ours that somebody changed and that
    were left alone; no_picture, no_bodies: why there is no picture, nothing to print."""

    folder: str
    files: tuple[str, ...]
    kept: tuple[str, ...]
    no_picture: str
    no_bodies: str
    parts: tuple[Part, ...]
    result: Geared


def drawing_of(result: Geared, train: Train) -> Drawing:
    given = result.given
    axles = turning.axles(train)
    count = len(train.stages)
    placed = []
    for n, stage in enumerate(train.stages):
        spots = [n + 1] if n < count - 1 else list(range(count, len(axles)))
        for at, gear, driver in [(n, stage.pair.driver, True)] + [
                (spot, stage.pair.driven, False) for spot in spots]:
            axle = axles[at]
            bore = given.shaft_mm if at >= count else given.axle_mm
            placed.append(Wheel(
                axle=min(at, count), plane=n, driver=driver, teeth=gear.teeth,
                module_mm=gear.module_mm, shift=gear.shift, width_mm=stage.width_mm,
                tip_mm=gear.tip_mm, root_mm=gear.root_mm, bore_mm=bore,
                hexagon_mm=train.hexagon_mm if at == 0 else 0.0, x=axle.at[0], y=axle.at[1],
                ratio=axle.ratio, start_rad=axle.start_rad,
                points=printed_outline(gear, given)))
    kinds: dict[tuple[int, bool, int], Wheel] = {}
    for wheel in placed:
        kinds.setdefault((wheel.plane, wheel.driver, wheel.teeth), wheel)
    ends = [(p,) for p in train.layout.axles[1:]] + [train.layout.motors]
    distances = tuple((train.layout.axles[n], spot, f"{stage.centre_mm:.2f}")
                      for n, (stage, spots) in enumerate(zip(train.stages, ends, strict=True))
                      for spot in spots[:1])
    title = f"{result.rig}: {report.teeth(train)}"
    subtitle = (f"{number(train.ratio, 4)} motor turns a turn of the handle; "
                + ", ".join(f"m {number(s.module_mm)} x {number(s.width_mm)}"
                            for s in train.stages)
                + f" mm; {result.material}; plate {train.width_mm:.0f} x {train.height_mm:.0f} mm")
    return Drawing(
        title=title, subtitle=subtitle, text=parameters(result, train), wheels=tuple(
            kinds.values()), wheels_placed=tuple(placed), outline=train.layout.outline,
        columns=tuple(frame.columns(train)), column_mm=COLUMN_MM, motors=train.layout.motors,
        can_mm=given.can_mm, last_axle=train.layout.axles[-1], distances=distances)


def parameters(result: Geared, train: Train) -> str:
    """All that a file was made from, in a line."""
    meshes = "; ".join(
        f"{s.driver_teeth}/{s.driven_teeth} m {s.module_mm:g} width {s.width_mm:g} x "
        f"{s.driver_shift:+.2f} {s.driven_shift:+.2f} a {s.centre_mm:.3f} j {s.backlash_mm:.2f}"
        for s in train.stages)
    g = result.given
    return (f"{result.rig}; {meshes}; {result.material}; grows {g.grows_mm:g} foot {g.foot_mm:g} "
            f"relief {', '.join(f'{g.tip_relief_mm(s.module_mm):.3g}' for s in train.stages)}; "
            f"axle {g.axle_mm:g} shaft {g.shaft_mm:g} can {g.can_mm:g} mm")


def write(result: Geared, folder: Path, *, force: bool = False) -> Written:
    """Write all files of the chosen train into `folder`, which is made where it is missing.

    Where a library is missing, what can be written without it is. WrongInput where the folder
    holds files of these names that are not ours, Failed where the train is too weak (unless
    `force`).
    """
    train = result.chosen
    if train is None:
        raise Failed("There is no train to write.", "Ask for another ratio or more stages.")
    if not result.bears and not force:
        why = "is larger than the printer's bed" if not train.fits else \
            f"bears only {number(train.safety, 2)} of what is asked of it"
        raise Failed(f"Row {result.row} {why}: nothing was written.",
                     "Choose another row or plastic, or --force to write it all the same.")
    mine = out_folder.ours(folder, LIST, "gears")
    no_picture, no_bodies = _no_picture(), _no_bodies()
    names = [] if no_bodies else [TOGETHER] + [
        f"{name}.stl" for name, *_ in recipes(train, result.given)]
    out_folder.refuse(folder, [*SHEETS, *names, *([] if no_picture else [PICTURE])], mine,
                      force=force)
    made = (listed if no_bodies else parts)(train, result.given)
    drawing = drawing_of(result, train)
    files = _contents(result, drawing, made)
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        out_folder.whole(folder / name, data)
    sums = {name: out_folder.checksum(data) for name, data in files.items()}
    if not no_picture:
        plot_files.write(folder / PICTURE, lambda: gears_picture.draw(drawing), option="--out",
                         dpi=PICTURE_DPI)
        sums[PICTURE] = out_folder.checksum_of(folder / PICTURE)
    kept = out_folder.tidy(folder, {n: s for n, s in mine.items() if n not in sums})
    sums |= {name: mine[name] for name in kept}
    out_folder.record(folder, LIST, drawing.text, sums)
    every = (*files, *([] if no_picture else [PICTURE]), LIST)
    return Written(str(folder), every, tuple(kept), no_picture, no_bodies, made, result)


def _contents(result: Geared, drawing: Drawing,
              made: tuple[Part, ...]) -> dict[str, bytes]:
    sheets = (
        gears_page.page(result, drawing, made),
        report.sheet_text(result, made, gears_page.steps(result)),
        gears_drawing.assembly_svg(drawing), gears_drawing.wheels_svg(drawing))
    files = {name: text.encode() for name, text in zip(SHEETS, sheets, strict=True)}
    solid = [(p, p.size_mm[:2]) for p in made if p.size_mm is not None]
    if solid:
        places = mesh_files.spread([size for _, size in solid], [p.count for p, _ in solid],
                                   result.given.bed_mm)
        files[TOGETHER] = mesh_files.three_mf(
            [(p.name, p.vertices, p.triangles, at)
             for (p, _), at in zip(solid, places, strict=True)],
            {"Title": drawing.title, "Description": drawing.text, "Application": "steadyturn"})
    for part, _ in solid:
        head = f"{result.rig}; {part.name}; {drawing.text.partition('; ')[2]}"
        files[f"{part.name}.stl"] = mesh_files.stl(part.vertices, part.triangles, head)
    return files


def _no_bodies() -> str:
    """Why nothing to print can be made; "" where it can."""
    try:
        kernel()
    except NoKernel as missing:
        return missing.what
    return ""


def _no_picture() -> str:
    """Why no picture can be drawn; "" where one can."""
    try:
        plot_files.check(Path(PICTURE))
    except Failed as missing:
        return missing.what
    return ""
