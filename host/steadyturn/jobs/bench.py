"""A bare motor or the built machine from readings taken by hand: its constants, with intervals,
into the file that `size` or everything else reads."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from steadyturn.bench import converter, file
from steadyturn.bench.constants import MOTOR, Constant, with_nameplate
from steadyturn.bench.readings import Readings
from steadyturn.bench.result import Result, analyse
from steadyturn.bench.setup import Setup, of_rig
from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.bench_write import Measured, with_measured
from steadyturn.jobs.new import refuse_existing, write_whole
from steadyturn.model.motor import emf_constant
from steadyturn.rig.examples import FOLDER as EXAMPLES
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.spec import Origin, Spec, specs
from steadyturn.rig.toml_text import is_parts_file, read_text
from steadyturn.rig.types import Converter, Motor, Rig, Stage
from steadyturn.sizing import parts_file

_SPEC = {s.key: s for s in specs(Motor).values()}
# its name, where it is in the file, what is written there
_Section = tuple[str, tuple[str | int, ...], list[tuple[Spec, Measured]]]
OHM = (0.8, 4.5, 25.0)  # ends of the typical classes (sizing/typical.toml), their middle
_LOSSES = {s.key: s for s in specs(Converter).values()}


@dataclass(frozen=True)
class Wires:
    """What the number of a motor's wires says. brushed: this tool is for it."""

    wires: int
    brushed: bool
    kind: str
    why: str


@dataclass(frozen=True)
class BenchAnswer:
    """subject: of what; file: where it was written, "" nowhere; written: keys, assumed: written
    too, for want of a reading; replaced: some of the keys stood there; kept: keys that the file
    has from an earlier, narrower reading; before: what was believed before the readings ("class"
    or "nameplate"); tells: keys that are written, or would be; losses: of the converter."""

    subject: str
    machine: bool
    on: str
    readings_file: str
    before: str
    result: Result | None
    losses: converter.Losses | None
    file: str
    written: tuple[str, ...]
    assumed: tuple[str, ...]
    replaced: bool
    kept: tuple[str, ...]
    tells: tuple[str, ...]
    next: tuple[str, ...]
    readings: Readings = field(metadata={"json": False})


@dataclass(frozen=True)
class NewReadings:
    file: str
    next: tuple[str, ...]


def wires(number: int) -> Wires:
    """Two wires: a brushed motor. Others are named and refused by who asks."""
    if number == 2:
        return Wires(2, True, "brushed", "")
    if number == 3:
        return Wires(3, False, "brushless", "Its three windings give alternating volts in turn; "
                     "ohms, EMF and rectifier act together in another way than the model has.")
    if number >= 4:
        return Wires(number, False, "stepper", "It has two or more windings of many poles, whose "
                     "volts alternate fifty times a turn and whose inductance, not its ohms, "
                     "limits the current. The model has none of that.")
    raise WrongInput(Problem("--wires", "", str(number), "2 or more.",
                             "Count the wires that leave the motor."))


def new_readings(path: Path, *, force: bool = False) -> NewReadings:
    """A commented file of readings to fill in; WrongInput where it may not be written."""
    refuse_existing(path, force)
    text = (Path(file.__file__).parent / "new_readings.toml").read_text(encoding="utf-8")
    write_whole(path, text, force=force)
    return NewReadings(str(path), (f"steadyturn bench --motor NAME --readings {path}",
                                   f"steadyturn bench RIG --readings {path}"))


def bench_motor(name: str, readings: Readings | Path, parts: Path | None, *,
                nameplate: bool = False, write: bool = True) -> BenchAnswer:
    """A bare motor; with `parts` its entry there is set, or added. nameplate: what that entry
    says of k, ohms and currents is believed before the readings."""
    source, taken = _taken(readings)
    check_name(name)
    own = [kind for kind, _ in taken.items if kind == "in_out"]
    if own:
        raise WrongInput(Problem(source, "in_out", "", "readings of a converter belong to a "
                                 "machine.", "steadyturn bench RIG --readings FILE"))
    text = "" if parts is None or not parts.exists() else read_text(parts, "parts file",
                                                                    parts_file.NEW)
    index, item = _entry(text, name, parts)
    motor: tuple[Constant, ...] = MOTOR
    if nameplate:
        if item is None:
            raise WrongInput(Problem("--nameplate", "", name, "no parts file has this motor yet.",
                                     "Write its nameplate there first, and name it by --parts."))
        motor = _before(item.part, dict(item.origins))
    result = analyse(taken, Setup(ratio=taken.bench.gear), motor)
    on = _date(taken)
    rows, kept = _better(_measured(result), item.origins if item else {})
    written: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    old = text
    if parts is not None and write and not result.doubt:
        if index is None:
            assumed = _assumed(result)
            text = _with_entry(text, name, assumed)
        place = index if index is not None else _count(text) - 1
        text = with_measured(text, ("motor", place), rows, on, str(parts))
        parts_file.read_drawer_text(text, str(parts), beside=_typical())
        write_whole(parts, text, force=True)
        written = tuple(one.key for _, one in rows)
    where = str(parts) if written else ""
    return BenchAnswer(name, False, on, source, "nameplate" if nameplate else "class", result,
                       None, where, written, assumed, _replaced(old, text), kept,
                       () if result.doubt else tuple(one.key for _, one in rows),
                       _next_motor(parts, written, name, source), taken)


def bench_rig(path: Path, readings: Readings | Path, *, nameplate: bool = False,
              write: bool = True) -> BenchAnswer:
    """The built machine; what the readings tell goes into its rig file as measured."""
    source, taken = _taken(readings)
    text = read_text(path)
    rig = read_rig_text(text, str(path))
    taken = replace(taken, bench=replace(taken.bench, gear=1.0))
    steady = [item for item in taken.items if item[0] != "in_out"]
    result = None
    rows: list[tuple[Spec, Measured]] = []
    kept: tuple[str, ...] = ()
    if steady:
        believed = _before(rig.motor, dict(rig.origins)) if nameplate else MOTOR
        result = analyse(taken, of_rig(rig), believed)
        rows, kept = _better(_measured(result), rig.origins)
    lost = converter.losses(taken, rig.converter.kind)
    if not steady and lost is None:
        raise WrongInput(Problem(source, "in_out", "", "a converter needs three loads or more "
                                 "(a linear one has no such constants)."))
    on = _date(taken)
    sections: list[_Section] = []
    if result is None or not result.doubt:
        sections = [("motor", ("motor",), rows), *_train(rig, result)]
        if lost is not None and not rig.converter.points:
            sections.insert(1, ("converter", ("converter",), [
                (_LOSSES[key], Measured(key, v, low, high)) for key, v, low, high in
                zip(converter.KEYS, lost.value, lost.low, lost.high, strict=True)]))
    tells = tuple(f"{name}.{one.key}" for name, _, own in sections for _, one in own)
    written = tells if write else ()
    changed = text
    if written:
        for _, section, own in sections:
            changed = with_measured(changed, section, own, on, str(path))
        read_rig_text(changed, str(path))  # only what reads back is written
        write_whole(path, changed, force=True)
    return BenchAnswer(rig.name, True, on, source, "nameplate" if nameplate else "class", result,
                       lost, str(path) if written else "", written, (),
                       bool(written) and _replaced(text, changed), kept, tells,
                       (f"steadyturn pace {path}", f"steadyturn check {path}"), taken)


def only_parts_file() -> Path | None:
    """The parts file of this folder, where there is just one."""
    found = [p for p in sorted(Path.cwd().glob("*.toml")) if p.is_file() and is_parts_file(p)]
    return found[0].relative_to(Path.cwd()) if len(found) == 1 else None


# ----------------------------------------------------------------------- pieces


def _taken(readings: Readings | Path) -> tuple[str, Readings]:
    if isinstance(readings, Readings):
        return "the readings", readings
    return str(readings), file.read_readings(readings)


def _date(taken: Readings) -> str:
    if not taken.bench.on:
        return datetime.date.today().isoformat()
    try:
        return datetime.date.fromisoformat(taken.bench.on).isoformat()
    except ValueError:
        raise WrongInput(Problem("the readings", "bench.on", taken.bench.on, "a date.",
                                 'Write on = "2026-03-01"')) from None


def check_rig(path: Path, *, write: bool) -> None:
    """WrongInput where results cannot go into this rig file; to be asked before readings are."""
    if write and path.resolve().parent == EXAMPLES.resolve():
        raise WrongInput(Problem("RIG", "", path.stem, "this example ships with the program and "
                                 "is not changed.", "--no-write only shows; or copy it first: "
                                 f"cp {path} my.toml"))


def check_name(name: str) -> None:
    """WrongInput for a name that no parts file may have."""
    if not (0 < len(name) <= 48 and name.isascii() and name.isprintable()) or set(name) & {
            '"', "\\"}:
        raise WrongInput(Problem("--motor", "", name, "a name of at most 48 plain characters.",
                                 'For example --motor "printer motor"'))


def _entry(text: str, name: str, parts: Path | None) -> tuple[int | None, parts_file.Item | None]:
    """Place of the motor in the parts file, and what it says; None: it is not there."""
    if not text.strip():
        return None, None
    drawer = parts_file.read_drawer_text(text, str(parts), beside=_typical())
    for index, item in enumerate(drawer.motors):
        if item.name == name:
            return index, item
    return None, None


def _typical() -> parts_file.Drawer:
    return parts_file.read_drawer_text(parts_file.TYPICAL.read_text(encoding="utf-8"), "typical")


def _count(text: str) -> int:
    return sum(line.replace(" ", "").startswith("[[motor]]") for line in text.splitlines())


def _with_entry(text: str, name: str, assumed: tuple[str, ...]) -> str:
    head = text if text.strip() else (
        "# What is at hand, for 'steadyturn size'; --typical adds converters to choose from.\n")
    more = "" if not assumed else (
        f"terminal_ohm = {{ assumed = {OHM[1]:g}, low = {OHM[0]:g}, high = {OHM[2]:g}, "
        'note = "no reading told it yet" }\n')
    return head.rstrip("\n") + f'\n\n[[motor]]\nname = "{name}"\ncount = 1\n{more}'


def _before(motor: Motor, origins: dict[str, Origin]) -> tuple[Constant, ...]:
    own = {field_: origins[f"motor.{spec.key}"] for field_, spec in specs(Motor).items()
           if f"motor.{spec.key}" in origins}
    if "emf_v_s" not in own and "no_load_rad_s" in own:
        speed = own["no_load_rad_s"]
        k = emf_constant(motor)
        own["emf_v_s"] = Origin(speed.kind, k, k * speed.value / speed.high,
                                k * speed.value / speed.low)
    return with_nameplate(MOTOR, motor, emf_constant(motor), own)


def _measured(result: Result) -> list[tuple[Spec, Measured]]:
    return [(_SPEC[v.key], Measured(v.key, v.value, v.low, v.high)) for v in result.values
            if v.told and v.key in _SPEC and _SPEC[v.key].low <= v.value <= _SPEC[v.key].high]


def _better(rows: list[tuple[Spec, Measured]], origins: Mapping[str, Origin],
            ) -> tuple[list[tuple[Spec, Measured]], tuple[str, ...]]:
    """The rows to write, and the keys whose measured value in the file stays: it is narrower and
    does not contradict the new one."""
    found, kept = [], []
    for spec, one in rows:
        old = origins.get(f"motor.{spec.key}")
        if old is not None and old.kind == "measured":
            low, high = old.low / spec.scale, old.high / spec.scale
            if low <= one.value <= high and high - low <= 1.001 * (one.high - one.low):
                kept.append(spec.key)
                continue
        found.append((spec, one))
    return found, tuple(kept)


def _assumed(result: Result) -> tuple[str, ...]:
    """What a new entry needs and these readings do not tell; Failed where that is k, which
    differs too much between motors to be assumed."""
    told = {v.key for v in result.values if v.told}
    if "emf_v_per_krpm" not in told:
        raise Failed("These readings do not tell emf_v_per_krpm, and a new entry in a parts file "
                     "needs it.", "Open-circuit readings at a counted speed tell it; --no-write "
                     "shows what is known so far.")
    return () if "terminal_ohm" in told else ("terminal_ohm",)


def _replaced(before: str, after: str) -> bool:
    return after.count("# until ") > before.count("# until ")


def _train(rig: Rig, result: Result | None) -> list[_Section]:
    """The train's efficiency, the same share to each stage."""
    train = result.values[-1] if result is not None else None
    if train is None or not train.told or not rig.stages:
        return []
    root = 1 / len(rig.stages)
    spec = specs(Stage)["efficiency"]
    one = Measured(spec.key, min(train.value, 1.0) ** root, train.low**root,
                   min(train.high, 1.0) ** root)
    return [(f"stage[{i + 1}]", ("stage", i), [(spec, one)]) for i in range(len(rig.stages))]


def _next_motor(parts: Path | None, written: tuple[str, ...], name: str,
                readings: str) -> tuple[str, ...]:
    if not written:
        quoted = f'"{name}"' if not name.isalnum() else name
        return (f"steadyturn bench --motor {quoted} --readings {readings} --parts "
                f"{parts or 'drawer.toml'}",)
    return (f"steadyturn size {parts} --typical",)
