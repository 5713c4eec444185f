"""The readings of a bench, asked for one by one; what comes out is the text of a readings file,
so that a guided bench and one from a file are the same thing, and nothing typed is lost."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from steadyturn.bench import file
from steadyturn.bench.planner import RESISTORS, Proposal
from steadyturn.bench.readings import Readings
from steadyturn.bench.result import analyse
from steadyturn.bench.setup import Setup, of_rig
from steadyturn.errors import WrongInput
from steadyturn.jobs.new import write_whole
from steadyturn.rig.file import read_rig

MOST_MORE = 12  # readings proposed one after the other
MOST_NAMES = 99


@dataclass(frozen=True)
class Ask:
    """code: which question; count: readings of this kind so far; wrong: why the last answer
    cannot be used, "" after a good one; for code "more": proposal, and how far the reading before
    it is off, 0 where it goes with the others."""

    code: str
    count: int = 0
    wrong: str = ""
    proposal: Proposal | None = None
    sigmas_off: float = 0.0


# code -> (numbers in an answer, keys they go to)
_KEYS = {
    "locked": ("resistor_v", "motor_v"), "open": ("volts", "turns", "seconds"),
    "open_rpm": ("volts", "rpm"), "loaded": ("volts", "turns", "seconds"),
    "loaded_rpm": ("volts", "rpm"), "run": ("volts", "amps"),
    "in_out": ("in_v", "in_a", "out_v", "out_a"),
}


class Guide:
    """blocks: of the readings file so far. machine: a rig's handle is counted."""

    def __init__(self, rig: Path | None = None) -> None:
        self.setup = Setup() if rig is None else of_rig(read_rig(rig))
        self.machine = rig is not None
        self.head = {"bench": {"room_c": "20"}, "meter": {"counts": "2000", "percent": "0.8"}}
        self.blocks: list[tuple[str, dict[str, str]]] = []
        self.drill = False
        self.at = "motors"
        self.resistor = ""
        self.at_hand: tuple[float, ...] = RESISTORS

    def text(self) -> str:
        lines = ["# Readings of a bench; 'steadyturn bench --readings THIS FILE' uses them again.",
                 ""]
        for section, keys in self.head.items():
            lines += [f"[{section}]", *(f"{k} = {v}" for k, v in keys.items()), ""]
        for kind, keys in self.blocks:
            lines += [f"[[{kind}]]", *(f"{k} = {v}" for k, v in keys.items()), ""]
        return "\n".join(lines)

    def readings(self) -> Readings:
        return file.read_readings_text(self.text(), "the readings")

    def questions(self) -> Iterator[Ask]:
        """Asks; the answer to each goes to `answer` before the next is taken."""
        yield from self._one("counts", "meter", "counts")
        yield from self._one("percent", "meter", "percent")
        yield from self._one("room", "bench", "room_c")
        while True:
            yield from self._resistor("locked_ohm")
            if not self.resistor:
                break
            yield from self._rows("locked", "locked")
        yield from self._place() if self.machine else self._speed()
        yield from self._rows("open", "open_rpm" if self.drill else "open")
        while True:
            yield from self._resistor("loaded_ohm")
            if not self.resistor:
                break
            yield from self._rows("loaded", "loaded_rpm" if self.drill else "loaded")
        kind = "in_out" if self.machine else "run"
        yield from self._rows(kind, kind)
        if any(kind != "in_out" for kind, _ in self.blocks):
            yield from self._at_hand()
            yield from self._more()

    answer = ""

    # --------------------------------------------------------------------- pieces

    def _one(self, code: str, section: str, key: str) -> Iterator[Ask]:
        """One number with a default; Enter keeps it."""
        wrong = ""
        while True:
            yield Ask(code, wrong=wrong)
            said = _numbers(self.answer)
            if not self.answer.strip():
                return
            if said is None or len(said) != 1:
                wrong = "one number, or Enter."
                continue
            before, self.head[section][key] = self.head[section].get(key, ""), said[0]
            wrong = self._refused()
            if not wrong:
                return
            self.head[section][key] = before

    def _resistor(self, code: str) -> Iterator[Ask]:
        wrong = ""
        while True:
            kind = code.removesuffix("_ohm")
            yield Ask(code, sum(k == kind for k, _ in self.blocks), wrong)
            said = _numbers(self.answer)
            self.resistor = ""
            if not self.answer.strip():
                return
            if said is not None and len(said) == 1 and 0.05 <= float(said[0]) <= 100_000:
                self.resistor = said[0]
                return
            wrong = "its ohms, one number (0.05 to 100000), or Enter to go on."

    def _speed(self) -> Iterator[Ask]:
        wrong = ""
        while True:
            yield Ask("speed", wrong=wrong)
            said = self.answer.strip().lower()
            if said in ("d", "drill"):
                self.drill = True
                return
            numbers = _numbers(said)
            if not said or (numbers is not None and len(numbers) == 1
                            and 0.05 <= float(numbers[0]) <= 200):
                if said and numbers and not self.machine:
                    self.head["bench"]["gear_ratio"] = numbers[0]
                return
            wrong = "d for a drill, or the gear's ratio as one number (0.05 to 200)."

    def _place(self) -> Iterator[Ask]:
        """Where the meter stands on a built machine."""
        wrong = ""
        while True:
            yield Ask("place", wrong=wrong)
            said = self.answer.strip().lower()
            if said in ("", "b", "bus", "m", "motors"):
                self.at = "motors" if said.startswith("m") else "bus"
                return
            wrong = "m for the motors' wires, b for the bus."

    def _rows(self, kind: str, code: str, most: int = 100) -> Iterator[Ask]:
        """Readings of one kind, a line each, until Enter."""
        wrong, count = "", 0
        while count < most:
            yield Ask(code, count, wrong)
            if not self.answer.strip():
                return
            wrong = self._add(kind, code)
            count += not wrong

    def _add(self, kind: str, code: str) -> str:
        said, keys = _numbers(self.answer), _KEYS[code]
        if said is None or len(said) != len(keys):
            return f"{len(keys)} numbers with spaces between them, or Enter."
        block = dict(zip(keys, said, strict=True))
        if kind in ("locked", "loaded"):
            block = {"resistor_ohm": self.resistor, **block}
        if kind in ("open", "loaded") and self.at != "motors":
            block["at"] = f'"{self.at}"'
        self.blocks.append((kind, block))
        wrong = self._refused()
        if wrong:
            self.blocks.pop()
        return wrong

    def _at_hand(self) -> Iterator[Ask]:
        """Resistors that are there beside those used, so that no other is proposed."""
        wrong = ""
        while True:
            yield Ask("at_hand", wrong=wrong)
            if not self.answer.strip():
                return
            said = _numbers(self.answer)
            if said is not None and all(0.05 <= float(ohm) <= 100_000 for ohm in said):
                used = [keys["resistor_ohm"] for _, keys in self.blocks if "resistor_ohm" in keys]
                self.at_hand = tuple(sorted({float(ohm) for ohm in (*said, *used)}))
                return
            wrong = "their ohms with spaces between them (0.05 to 100000), or Enter."

    def _more(self) -> Iterator[Ask]:
        """What would narrow the answer most, as long as it is wanted."""
        for _ in range(MOST_MORE):
            taken = self.readings()
            setup = self.setup
            if not self.machine:
                setup = replace(setup, ratio=taken.bench.gear)
            known = analyse(taken, setup, supply=not self.machine, resistors=self.at_hand)
            offered, last = known.next, len(taken.items) - 1
            off = next((s.sigmas for s in known.suspects if s.index == last), 0.0)
            if not offered or offered[0].narrower_percent < 1:
                return
            best = offered[0]
            self.resistor = f"{best.resistor_ohm:g}" if best.resistor_ohm else ""
            code = best.kind + ("_rpm" if self.drill and best.kind in ("open", "loaded") else "")
            wrong = ""
            while True:
                yield Ask("more", len(self.blocks), wrong, best, abs(off))
                if not self.answer.strip():
                    return
                wrong = self._add(best.kind, code)
                if not wrong:
                    break

    def _refused(self) -> str:
        """Why the file as it stands cannot be read; "" where it can."""
        try:
            file.read_readings_text(self.text(), "the readings")
        except WrongInput as wrong:
            problem = next((p for p in wrong.problems if "no reading" not in p.right), None)
            if problem is not None:
                key = problem.key.rpartition(".")[2]
                return f"{key} = {problem.value}: {problem.right}"
        return ""


def keys_of(ask: Ask, drill: bool) -> tuple[str, ...]:
    """What an answer's numbers are, in their order."""
    if ask.proposal is not None:
        code = ask.proposal.kind
        return _KEYS[code + ("_rpm" if drill and code in ("open", "loaded") else "")]
    return _KEYS.get(ask.code, ())


def path_of(subject: str) -> Path:
    """A new file of this folder, named after what is measured."""
    stem = re.sub(r"[^a-z0-9]+", "-", subject.lower()).strip("-") or "motor"
    for number in range(1, MOST_NAMES + 1):
        path = Path(f"{stem}-readings{'' if number == 1 else f'-{number}'}.toml")
        if not path.exists():
            break
    return path


def save(guide: Guide, path: Path) -> Path:
    """The readings in a new file."""
    write_whole(path, guide.text(), force=False)
    return path


def _numbers(line: str) -> list[str] | None:
    """The numbers of a line as a file may have them, None for anything else."""
    found = []
    for word in re.split(r"[\s;]+", line.strip()):
        plain = word.replace(",", ".")
        if not re.fullmatch(r"\d+(\.\d+)?|\.\d+", plain):
            return None
        whole, dot, rest = plain.partition(".")
        found.append(f"{int(whole or 0)}{dot}{rest}")
    return found
