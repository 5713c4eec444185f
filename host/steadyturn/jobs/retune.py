"""Move a machine to another motor, bank, ratio or converter: the rig file, then the board's
settings, as `flash` writes them; and back again."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from steadyturn.board.connect import Direct, connect
from steadyturn.board.ports import candidates
from steadyturn.board.update import Progress
from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs import kept_file
from steadyturn.jobs.flash import Flashed, bring_up
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.jobs.retune_compare import Compared, compare
from steadyturn.jobs.retune_parts import Source, find
from steadyturn.jobs.retune_text import Wanted, changed_text
from steadyturn.model.accounts import NOT_SHOWN
from steadyturn.model.band import Band, find_band
from steadyturn.model.gears import ratio
from steadyturn.model.motor import emf_constant
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import RPM, Rig
from steadyturn.sessions.use_band import UseFound

PRINTED = ("A card or bring-up sheet that was printed has the old figures: 'steadyturn card' and "
           "'steadyturn bringup' make new ones.")
WALKS = ("restore", "forward")  # kinds that go from one kept file to another
MOTORS = (1, 12)  # in series, and in parallel, as rig.types.Bank


@dataclass(frozen=True)
class Swap:
    """what: motor, series, parallel, ratio, converter or band; where: the new one comes from."""

    what: str
    before: str
    after: str
    where: str


@dataclass(frozen=True)
class Retuned:
    """kind: retune, restore, forward or from_use. outcome: same (the rig file and the board are so
    already), impossible (no board can be set to that), too_little (outings show nothing to
    change), declined, dry_run, prepared (the rig file alone) or written. compared: None where the
    rig file before cannot be read. hazards: of the new machine. kept: where the rig file from
    before is, "" where none was written; came_from: of a restored one. board_absent: none was
    found; board_unasked: none was looked for. flashed: what happened on the board, None where
    there was none; use: what outings showed, None where they were not asked.
    """

    kind: str
    file: str
    rig: str
    outcome: str
    swaps: tuple[Swap, ...]
    compared: Compared | None
    notes: tuple[str, ...] = ()
    kept: str = ""
    came_from: str = ""
    hazards: tuple[Hazard, ...] = ()
    board_absent: bool = False
    board_unasked: bool = False
    flashed: Flashed | None = None
    use: UseFound | None = None
    text: str = field(default="", metadata=NOT_SHOWN)

    @property
    def dangerous(self) -> bool:
        """Whether `check` refuses the new machine."""
        return any(one.refuses for one in self.hazards)


Confirm = Callable[[Retuned], bool]


@dataclass(frozen=True, kw_only=True)
class Way:
    """How it is to be done; fields as of jobs.flash.flash. prepare: the rig file alone, a board
    that is there is left as it is."""

    confirm: Confirm
    port: str | Direct | None = None
    prepare: bool = False
    progress: Progress | None = None
    dry_run: bool = False
    library: Path | None = None
    looks: Callable[[str], None] | None = None


def retune(
    path: Path, way: Way, *, motor: str | None = None, converter: str | None = None,
    series: int | None = None, parallel: int | None = None, gear_ratio: str | None = None,
    parts: Path | None = None,
) -> Retuned:
    """Change what is named and leave the rest. motor, converter: names or files; parts: the
    person's parts file; gear_ratio: "25" or "60/12x60/12".

    confirm is called once, with all that would change; nothing is written before. Raises
    WrongInput (files, names, numbers) and Failed (the board, a file that changed meanwhile).
    """
    for option, count in (("--series", series), ("--parallel", parallel)):
        if count is not None and not MOTORS[0] <= count <= MOTORS[1]:
            raise WrongInput(Problem(option, "", str(count), "1 to 12 motors."))
    text = read_text(path)
    rig = read_rig_text(text, str(path))
    _may_write(path, way)
    wanted = Wanted(None if motor is None else find("motor", motor, parts),
                    None if converter is None else find("converter", converter, parts),
                    series, parallel, gear_ratio)
    if wanted.nothing:
        raise WrongInput(Problem("retune", "", "", "nothing is to be changed: name a --motor, "
                                 "--converter, --series, --parallel or --ratio.",
                                 "--restore goes back, --from-use asks the outings."))
    new_text = changed_text(text, rig, wanted, today(), str(path))
    new = read_changed(new_text, path)
    plan = Retuned("retune", str(path), new.name, "same", swaps(rig, new, wanted),
                   None, _notes(rig, new))
    if new_text == text:
        return plan
    return carry_out(plan, rig, new, text, new_text, way)


def carry_out(plan: Retuned, old: Rig | None, new: Rig, text: str | None, new_text: str,
              way: Way) -> Retuned:
    """Compare, ask, write the rig file, bring the board up to date. text: of the rig file now,
    None for none; old: its rig, None where it cannot be read."""
    band = find_band(new, deep=False)
    if old is not None:
        plan = dataclasses.replace(plan, compared=compare(old, new, band))
    plan = dataclasses.replace(plan, text=new_text, hazards=hazards_of(new, band))
    if not band.feasible or (plan.compared is not None and plan.compared.unsettable):
        return dataclasses.replace(plan, outcome="impossible")
    path = Path(plan.file)
    if way.prepare or (way.port is None and not candidates()):
        plan = dataclasses.replace(plan, board_absent=not way.prepare, board_unasked=way.prepare)
        if way.dry_run:
            return dataclasses.replace(plan, outcome="dry_run")
        if not way.confirm(plan):
            return dataclasses.replace(plan, outcome="declined")
        kept = kept_file.put(path, new_text, text, walking=plan.kind in WALKS)
        return dataclasses.replace(plan, outcome="prepared",
                                   kept=str(kept) if text is not None else "")
    return _on_board(plan, new, band, text, way)


def _on_board(plan: Retuned, new: Rig, band: Band, text: str | None, way: Way) -> Retuned:
    from steadyturn.settings.build import build

    path, put, once, start = Path(plan.file), list[Path](), list[bool](), time.monotonic()

    def asked(flashed: Flashed) -> bool:
        """The rig file first: whatever happens to the board then, `flash` ends it."""
        once.append(True)
        if not way.confirm(dataclasses.replace(plan, flashed=flashed)):
            return False
        put.append(kept_file.put(path, plan.text, text, walking=plan.kind in WALKS))
        return True

    settings = build(new, band)
    with _said(path, once, put), connect(way.port) as board:
        if way.looks is not None:
            way.looks(board.name)
        flashed = bring_up(
            board, new, band, settings, confirm=asked, progress=way.progress,
            dry_run=way.dry_run, always_ask=True, named=isinstance(way.port, str),
            library=way.library, text=lambda: plan.text.replace("\r\n", "\n"))
    outcome = "written" if put else flashed.outcome
    flashed = dataclasses.replace(flashed, seconds=time.monotonic() - start)
    return dataclasses.replace(plan, outcome=outcome, flashed=flashed,
                               kept=str(put[0]) if put and text is not None else "")


@contextlib.contextmanager
def _said(path: Path, asked: list[bool], put: list[Path]) -> Iterator[None]:
    """A failure after the rig file was written also says how both are left; one before the
    question, that it goes without the board."""
    try:
        yield
    except (Failed, KeyboardInterrupt) as failed:
        if not put:
            if isinstance(failed, Failed) and not asked:
                raise Failed(failed.what, f"{failed.how} --prepare changes the rig file "
                             "alone.".strip()) from failed
            raise
        what = failed.what if isinstance(failed, Failed) else "Stopped by you."
        how = failed.how if isinstance(failed, Failed) else ""
        raise Failed(
            what, f"{how} {path} says the new machine already, the board runs what it had or the "
            f"new settings, whole: 'steadyturn flash {path}' ends it, 'steadyturn retune {path} "
            "--restore' goes back.".strip()) from failed


def _may_write(path: Path, way: Way) -> None:
    if not way.dry_run:
        kept_file.refuse_unwritable(path)


def today() -> str:
    return datetime.date.today().isoformat()


def read_changed(text: str, path: Path) -> Rig:
    """The rig of the new text; its problems are those of the change."""
    try:
        return read_rig_text(text, str(path))
    except WrongInput as wrong:
        raise WrongInput(*(
            Problem(f"{path} with this change", p.key, p.value, p.right, p.how)
            for p in wrong.problems)) from None


# ------------------------------------------------------------------------------ in words


def swaps(old: Rig, new: Rig, wanted: Wanted | None = None) -> tuple[Swap, ...]:
    """What differs between two machines, of what `retune` changes."""
    wanted = wanted or Wanted()
    found = []
    if old.motor != new.motor:
        own = (old.motor.name, new.motor.name)
        if own[0] == own[1]:
            own = (_constants(old), _constants(new))
        found.append(Swap("motor", *own, _where(wanted.motor)))
    for key in ("series", "parallel"):
        before, after = getattr(old.bank, key), getattr(new.bank, key)
        if before != after:
            found.append(Swap(f"motors in {key}", str(before), str(after), ""))
    if ratio(old.stages) != ratio(new.stages) or len(old.stages) != len(new.stages):
        found.append(Swap("gear ratio", train(old), train(new), ""))
    if old.converter != new.converter:
        found.append(Swap("converter", _converter(old), wanted.converter.name if wanted.converter
                          else _converter(new), _where(wanted.converter)))
    if old.band != new.band:
        found.append(Swap("[band]", kept_words(old), kept_words(new), ""))
    return tuple(found)


def _constants(rig: Rig) -> str:
    motor = rig.motor
    per_krpm = emf_constant(motor) * 1000 * RPM
    return f"{motor.name} ({motor.terminal_ohm:.3g} ohm, {per_krpm:.3g} V/krpm)"


def _where(source: Source | None) -> str:
    return "" if source is None else source.where


def _converter(rig: Rig) -> str:
    part = rig.converter
    return f"{part.kind.replace('_', '-')}, {part.start_v:g} to {part.max_in_v:g} V"


def train(rig: Rig) -> str:
    """The ratio, with the teeth where they are known.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> train(read_rig(example_path("lakeside-hut")))
    '25 (60/12 x 60/12)'
    """
    teeth = " x ".join(f"{s.driver_teeth}/{s.driven_teeth}" for s in rig.stages)
    whole = f"{ratio(rig.stages):.4g}"
    return f"{whole} ({teeth})" if teeth and "None" not in teeth else whole


def kept_words(rig: Rig) -> str:
    """[band] in words, "all that works" where it says nothing."""
    band = rig.band
    said = [f"{name} {tpm:g}" for name, tpm in
            (("low", band.low_tpm), ("target", band.target_tpm), ("high", band.high_tpm))
            if tpm is not None]
    return ", ".join(said) or "all that works"


def _notes(old: Rig, new: Rig) -> tuple[str, ...]:
    """What the change does beside what was asked for."""
    found = []
    if old.band != new.band:
        found.append("[band] is dropped: what outings showed was the old machine's.")
    if old.motor != new.motor and old.origins.get("bank.spread_percent") != (
            new.origins.get("bank.spread_percent")):
        found.append("The spread of the old motors is dropped; a usual one is assumed.")
    if old.gears != new.gears:
        found.append("Case and shaft in [gears] are no longer those of the old motor.")
    found.append(PRINTED)
    if old.note:
        found.append("The note in [rig] still speaks of the old machine: look at it.")
    return tuple(found)
