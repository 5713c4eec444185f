"""The circuit of a rig: its parts with values, schematic, places on a breadboard, wires."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

from steadyturn import extras
from steadyturn.circuit.checks import Finding, findings
from steadyturn.circuit.table import Part
from steadyturn.circuit.values import design
from steadyturn.drawings import breadboard, parts_list, placer, schematic
from steadyturn.drawings.board_side import pins_of
from steadyturn.drawings.breadboard import Built
from steadyturn.drawings.breadboard_picture import picture
from steadyturn.drawings.headers import wiring_picture
from steadyturn.drawings.sheet_svg import svg_text
from steadyturn.errors import Failed
from steadyturn.jobs import out_folder
from steadyturn.model.band import find_band
from steadyturn.report import wiring_page
from steadyturn.report.pace_empty import clash_line
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

LIST = "steadyturn-wiring.json"  # names and checksums of the files that were written
AWAY = {"json": False}


@dataclass(frozen=True)
class PartLine:
    """One designator. nets: pin -> net. price_eur: apiece, a rough guide without a source."""

    ref: str
    quantity: int
    kind: str
    value: str
    rating: str
    nets: dict[str, str]
    role: str
    substitute: str
    changes: str
    price_eur: float


@dataclass(frozen=True)
class Wired:
    """place: of the load switch; socket: "a" or "c"; parts_count: pieces; price_eur: of all, a
    rough guide. unplaced: parts of the rig's options, which have no place on the breadboard.
    calculated: what circuit.checks says of it. no_pace: why no pace of a hand works, "" where
    one does."""

    file: str
    rig: str
    place: str
    socket: str
    board: str
    parts: tuple[PartLine, ...]
    parts_count: int
    price_eur: float
    wires_count: int
    unplaced: tuple[str, ...]
    calculated: tuple[Finding, ...]
    no_pace: str
    described: Rig = field(metadata=AWAY)
    table: tuple[Part, ...] = field(metadata=AWAY)
    built: Built = field(metadata=AWAY)


@dataclass(frozen=True)
class Written:
    """folder, files: what was written; kept: older files of ours that somebody changed and that
    were left alone; no_schematic: why there is none, "" where there is one."""

    folder: str
    files: tuple[str, ...]
    kept: tuple[str, ...]
    no_schematic: str
    result: Wired


def wiring(path: Path, *, socket: str = "a") -> Wired:
    """WrongInput for a bad rig file, Failed where no part's value fits."""
    rig = read_rig(path)
    try:
        table = schematic.parts_of(rig, socket)
    except ValueError as none:
        raise Failed(f"No circuit for this rig: {none}.",
                     "Look at [protection] and the volts of the rig.") from none
    built = breadboard.build(rig, table, placer.stored())
    band = find_band(rig, deep=False)
    no_pace = "" if band.feasible else clash_line(band) or "no pace works"
    calculated = findings(rig, design(rig, band.low_tpm, band.high_tpm))
    lines = tuple(PartLine(p.ref, p.count, p.kind, p.value, p.rating, pins_of(p), p.role,
                           p.substitute, p.changes, p.price) for p in table)
    return Wired(str(path), rig.name, rig.switch.place, socket, rig.board.kind, lines,
                 sum(p.count for p in table), sum(p.count * p.price for p in table),
                 len(built.wires), tuple(built.free), calculated, no_pace, rig,
                  table, built)


def write(result: Wired, folder: Path, *, force: bool = False) -> Written:
    """Write schematic, wiring, parts list and a page of all into `folder`, which is made where it
    is missing. WrongInput where it holds files of these names that are not ours."""
    mine = out_folder.ours(folder, LIST, "wiring")
    files, missing = _contents(result)
    out_folder.refuse(folder, list(files), mine, force=force)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        out_folder.whole(folder / name, text.encode())
    sums = {name: out_folder.checksum(text.encode()) for name, text in files.items()}
    kept = out_folder.tidy(folder, {n: s for n, s in mine.items() if n not in sums})
    sums |= {name: mine[name] for name in kept}
    out_folder.record(folder, LIST, result.rig, sums)
    return Written(str(folder), (*files, LIST), tuple(kept), missing, result)


def _contents(result: Wired) -> tuple[dict[str, str], str]:
    rig, table, built = result.described, result.table, result.built
    missing = "" if find_spec("schemdraw") else (
        "the schematic needs schemdraw: " + extras.install("drawings"))
    sheets = [] if missing else [(sheet.name, svg_text(sheet))
                                 for sheet in schematic.sheets(rig, table)]
    board = wiring_picture(rig, table, built)
    holes = picture(built, table, f"{rig.name}: breadboard")
    named = {f"schematic-{at}-{name}.svg": svg for at, (name, svg) in enumerate(sheets, 1)}
    page = wiring_page.page(result, list(named.items()), board, holes)
    files = {"wiring.html": page, "parts.csv": parts_list.csv_text({rig.name: table}),
             "board.svg": board, "breadboard.svg": holes}
    return files | named, missing
