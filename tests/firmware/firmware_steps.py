"""What a tick costs the interpreter, from the marks of on_board/count_steps.py.

Counted are WebAssembly instructions and bytecodes of the 32-bit build, exactly; what stands for
hardware there is taken off. A board's microseconds follow from three pieces of code whose time
on an RP2040 at 125 MHz is known (cycle-counted with MicroPython 1.26.1; a real board's published
timings agree within 1-8 %): a step of `while n: n -= 1` 2.4 us, of `for _ in range` 3.3, a call
with ten small-integer operations 25.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from statistics import mean

from firmware_interpreters import SCRIPTS, run

ANCHORS_US = {"while": 2.4, "for": 3.3, "calls": 25 + 2.4}
# one call each: two bytes at 400 kHz (120 us of it on the wire), an ADC reading; the others
# are a register written and the way there: from memory
HARDWARE_US = {"i": 132.0, "a": 4.0, "v": 1.5, "w": 4.0}
PARTS = {
    "C": "clock", "S": "sensor", "E": "pace", "P": "protection", "Q": "cue", "T": "totals",
    "N": "percent", "B": "button", "L": "lamp", "J": "journal", "U": "edge",
}
GLUE = "between"


@dataclass
class Part:
    steps: int = 0
    codes: int = 0
    calls: dict[str, int] = field(default_factory=dict)

    def plus(self, other: Part) -> Part:
        calls = {k: self.calls.get(k, 0) + other.calls.get(k, 0)
                 for k in {*self.calls, *other.calls}}
        return Part(self.steps + other.steps, self.codes + other.codes, calls)


@dataclass
class Tick:
    chip: str
    state: str
    kind: str  # steady, sample: the end of one, page: the end of one
    parts: dict[str, Part]

    @property
    def whole(self) -> Part:
        total = Part()
        for part in self.parts.values():
            total = total.plus(part)
        return total


def per_step(lines: dict[str, list[list[int]]], name: str) -> float:
    few, many = (lines[f"{name} {n}"][1][0] for n in (100, 1100))
    return (many - few) / 1000


@dataclass
class Steps:
    ticks: list[Tick]
    ns: dict[str, float]  # of an instruction, by anchor
    link: dict[str, int]  # instructions, by what came over the link

    @property
    def ns_mean(self) -> float:
        return mean(self.ns.values())

    def us(self, part: Part) -> float:
        hardware = sum(n * HARDWARE_US[kind] for kind, n in part.calls.items())
        return part.steps * self.ns_mean / 1000 + hardware


@cache
def measured() -> Steps:
    lines: dict[str, list[list[int]]] = {}
    told = []
    output = run("wasm", SCRIPTS / "count_steps.py", METER="1")
    for line in output.splitlines():
        assert line.startswith("["), output[-3000:]
        what, ids, marks = json.loads(line)
        if len(what.split()) == 4:
            told.append((what, ids, marks))
        else:
            lines[what] = marks
    ns = {name: us * 1000 / per_step(lines, name) for name, us in ANCHORS_US.items()}
    begun, inside, after, end = lines["part"]
    mark = [after[i] - inside[i] for i in (0, 1)]
    # what a part's stand-in costs outside its marks, these too
    outside = [end[i] - begun[i] - mark[i] for i in (0, 1)]
    around = {}
    for kind in HARDWARE_US:
        at, there, back, end = lines[f"hardware {kind}"]
        # the way to a stand-in and back is Python's on a board too, but shorter: all is taken off
        empty = lines["hardware n"][1]
        around[kind] = [there[i] - at[i] + end[i] - back[i] - empty[i] for i in (0, 1)]
    ticks = []
    before = (0, 0)
    for what, ids, marks in told:
        chip, state, index, seq = what.split()
        kind = "steady"
        if (int(index), int(seq)) != before:
            kind = "page" if int(seq) != before[1] else "sample"
        new = not ticks or (ticks[-1].chip, ticks[-1].state) != (chip, state)
        before = int(index), int(seq)
        if not new:
            ticks.append(Tick(chip, state, kind, split(ids, marks, mark, outside, around)))
        else:  # the first of a state shows only where its pages stand
            ticks.append(Tick(chip, state, "first", {}))
    link = {what[5:]: marks[-1][0] - mark[0] for what, marks in lines.items()
            if what.startswith("link ")}
    return Steps([t for t in ticks if t.kind != "first"], ns, link)


def split(
    ids: str, marks: list[list[int]], mark: list[int], outside: list[int],
    around: dict[str, list[int]],
) -> dict[str, Part]:
    """Each part's own share. marks: of the tick's begin, of each letter of ids, of its end."""
    assert len(ids) == len(marks) - 2, (ids, len(marks))
    found: dict[str, Part] = {}
    inside: list[str] = []
    last = marks[0]
    for letter, at in zip([*ids, ""], marks[1:], strict=True):
        spent = [at[i] - last[i] for i in (0, 1)]
        last = at
        if inside and inside[-1] in HARDWARE_US:
            assert letter == "."
            inside.pop()
            continue
        part = found.setdefault(PARTS[inside[-1]] if inside else GLUE, Part())
        part.steps += spent[0] - mark[0]
        part.codes += spent[1] - mark[1]
        if letter in HARDWARE_US:
            part.steps -= around[letter][0] - mark[0]
            part.codes -= around[letter][1] - mark[1]
            part.calls[letter] = part.calls.get(letter, 0) + 1
        if letter == ".":
            inside.pop()
        elif letter:
            inside.append(letter)
            if letter in PARTS:
                found[GLUE].steps -= outside[0] - mark[0] * 2
                found[GLUE].codes -= outside[1] - mark[1] * 2
    return found
