"""A thousand damaged rig files: no traceback, no value accepted outside its range.

Each starts from an example and is damaged in its bytes or in its structure, seeded.
"""

import math
import random
import re
import tomllib

import pytest
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.file import read, read_rig_text
from steadyturn.rig.rules import faults, remarks
from steadyturn.rig.types import PARTS, EfficiencyPoint, Stage, specs

TEXTS = [(FOLDER / f"{n}.toml").read_text(encoding="utf-8") for n in example_names()]
ODD_VALUES = [
    "nan", "inf", "-inf", "-1", "0", "1e308", "1e-308", "9" * 400, "true", "false", '"12"', '""',
    '"2,3"', "[]", "[1]", "{}", "{ measured = 1 }", "{ assumed = nan }", "2026-03-01", "12.5",
    "{ measured = 2, low = 1, high = 3 }", "{ assumed = 2, low = 3 }", "0x40", "1_000", "07:30:00",
    '{ measured = 2, low = "a", high = 3, on = 2026-03-01 }', "'''x\ny'''", '"\\u0000"', "-0.0",
    "{ assumed = 1, low = 1, high = 1, note = 3 }", "1979-05-27T07:32:00Z", "'none'", "2.3 ohm",
]
ODD_BYTES = [b"\x00", b"\xff", b"\xc3\x28", b"\r", b"\n", b'"', b"'", b"[", b"]", b"{", b"}", b"=",
             b"#", b".", b",", b"\\", b"\t", b" ", b"9", b"e", b"-", b"_", b"\xef\xbb\xbf"]


def bytes_damaged(text, rng):
    raw = bytearray(text.encode())
    for _ in range(rng.choice([1, 1, 1, 2, 5, 20])):
        at = rng.randrange(len(raw))
        kind = rng.randrange(4)
        if kind == 0:
            raw[at] = rng.randrange(256)
        elif kind == 1:
            raw[at:at] = rng.choice(ODD_BYTES)
        elif kind == 2:
            del raw[at : at + rng.choice([1, 1, 3, 40])]
        else:
            end = min(len(raw), at + rng.randrange(1, 60))
            to = rng.randrange(len(raw))
            raw[to:to] = raw[at:end]
    return bytes(raw)


def lines_damaged(text, rng):
    rows = text.split("\n")
    pairs = [i for i, row in enumerate(rows) if re.match(r"\w+ *=", row)]
    for _ in range(rng.choice([1, 1, 2, 4])):
        at = rng.choice(pairs)
        key = rows[at].split("=")[0].strip()
        other = rows[rng.choice(pairs)]
        rows[at] = rng.choice([
            f"{key} = {rng.choice(ODD_VALUES)}",
            f"{key} = {rng.uniform(-5, 5) * 10 ** rng.randrange(9)}",
            f"{key[:-1]} = 1", f"{key}x = 1", f"{key} {key} = 1", "", other, f"{key} =",
            f"[{key}]", f"[[{key}]]", f"{key}.{key} = 1", f"stage = {rng.choice(ODD_VALUES)}",
            rows[at] + "\n" + rows[at], f"[{rng.choice([*PARTS, 'stage', 'rig', 'x'])}]",
        ])
    return "\n".join(rows).encode()


def numbers(rig):
    """Every value of a rig with its Spec, in the file's unit."""
    rows = [(getattr(rig, name), cls) for name, cls in PARTS.items()]
    rows += [(stage, Stage) for stage in rig.stages]
    rows += [(point, EfficiencyPoint) for point in rig.converter.points]
    for part, cls in rows:
        for field, spec in specs(cls).items():
            yield spec, getattr(part, field)


def assert_in_range(rig):
    """By the stated ranges alone, without the reader's own functions."""
    for spec, value in numbers(rig):
        if value is None:
            assert spec.optional
        elif spec.type in ("number", "whole"):
            assert not isinstance(value, bool)
            assert isinstance(value, int if spec.type == "whole" else float | int)
            assert math.isfinite(value)
            slack = 1e-9 * max(1, abs(value))
            assert spec.low * spec.scale - slack <= value <= spec.high * spec.scale + slack
        elif spec.type == "choice":
            assert value in spec.choices
        elif spec.type == "text":
            assert isinstance(value, str)
            assert len(value) <= spec.high
        else:
            assert isinstance(value, bool)
    for origin in rig.origins.values():
        assert origin.low <= origin.value <= origin.high
    assert rig.stages
    assert not faults(rig)


def damaged(seed):
    rng = random.Random(seed)
    text = rng.choice(TEXTS)
    return bytes_damaged(text, rng) if seed % 2 else lines_damaged(text, rng)


def judge(raw, path):
    """Reads a damaged file; says whether it was accepted."""
    path.write_bytes(raw)
    problems = ()
    try:
        rig = read(path).rig
    except WrongInput as wrong:
        problems = wrong.problems
    else:
        assert_in_range(rig)
        remarks(rig)
        return True
    assert problems
    for problem in problems:
        where = problem.where.removeprefix(str(path))
        assert re.fullmatch(r":\d+", where), problem
        assert 1 <= int(where[1:]) <= raw.count(b"\n") + 1
        assert problem.right
        assert len(str(problem)) < 700 + len(str(path))
        assert str(problem).isprintable()
    return False


@pytest.mark.parametrize("share", range(4))
def test_a_thousand_damaged_files(share, tmp_path):
    accepted = sum(judge(damaged(1000 + 250 * share + i), tmp_path / "r.toml") for i in range(250))
    # damage in a comment or a name leaves a good file; most is not of that kind
    assert 0 < accepted < 125


@pytest.mark.soak
@pytest.mark.parametrize("share", range(10))
def test_twenty_thousand_damaged_files(share, tmp_path):
    for seed in range(10_000 + 2_000 * share, 12_000 + 2_000 * share):
        judge(damaged(seed), tmp_path / "r.toml")


@pytest.mark.parametrize("name", example_names())
def test_every_value_out_of_range_is_refused_on_its_line(name):
    """Each number of each example, one at a time, just outside its stated range."""
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    by_key = {(n, s.key): s for n, c in [*PARTS.items(), ("stage", Stage)]
              for s in specs(c).values()}
    rows = text.split("\n")
    section = ""
    tried = 0
    for i, row in enumerate(rows):
        if row.startswith("["):
            section = row.split("#")[0].strip().strip("[]")
        spec = by_key.get((section, row.split("=")[0].strip()))
        if spec is None or spec.type not in ("number", "whole"):
            continue
        beside = 1 if spec.type == "whole" else 1e-6 * max(1.0, abs(spec.high))
        for outside in (spec.low - beside, spec.high + beside):
            value = int(outside) if spec.type == "whole" else outside
            changed = "\n".join([*rows[:i], f"{spec.key} = {value!r}", *rows[i + 1 :]])
            tomllib.loads(changed)
            with pytest.raises(WrongInput) as wrong:
                read_rig_text(changed, "r.toml")
            assert f"r.toml:{i + 1}" in [p.where for p in wrong.value.problems]
            tried += 1
    assert tried >= 20
