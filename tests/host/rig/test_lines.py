"""The key scanner against tomllib: the same paths, on the right lines, whatever the form."""

import tomllib

import pytest
import tomlkit
from hypothesis import example, given, settings
from hypothesis import strategies as st
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.lines import scan


def paths(value, at=()):
    """Every path of a tomllib tree: keys, and indices of arrays."""
    if isinstance(value, dict):
        inner = value.items()
    elif isinstance(value, list):
        inner = enumerate(value)
    else:
        inner = ()
    found = set()
    for key, below in inner:
        found |= {(*at, key)} | paths(below, (*at, key))
    return found


# Documents are built statement by statement, so that every form TOML has comes up.
BARE = st.sampled_from(["a", "b", "kind", "x-1", "7", "_"])
BASIC = st.sampled_from(['"q"', '"a.b"', '"#"', '"\\u00e9\\t"', '""', '"]"', '"="', "' lit#'",
                         "'\\'"])
KEY = st.one_of(BARE, BASIC)
DOTTED = st.lists(KEY, min_size=1, max_size=3).flatmap(
    lambda keys: st.sampled_from([".", " . ", ". "]).map(lambda dot: dot.join(keys)))
SCALAR = st.sampled_from([
    "1", "-2.5e3", "0x1F", "inf", "nan", "true", "1979-05-27", "1979-05-27 07:32:00", "07:32:00",
    '"plain"', '"# no comment"', '"\\"]}\\\\"', "'it'", '""', "''",
    '"""two\nlines # = [x]"""', "'''a\n[table]\nb = 1'''", '"""a\\"""b"""', '"""ends in two"""""',
    '"""\\\n   folded"""', "'''q'''''",
])
GAP = st.sampled_from(["", " ", "\n", " # c ]\n  "])


def _array(inner):
    return st.tuples(st.lists(st.tuples(GAP, inner, GAP), max_size=3), st.booleans()).map(
        lambda t: "[" + ",".join(a + v + b for a, v, b in t[0])
        + ("," if t[0] and t[1] else "") + "]")


def _table(inner):
    return st.lists(st.tuples(DOTTED, inner), max_size=3).map(
        lambda rows: "{" + ", ".join(f"{k} = {v}" for k, v in rows) + "}")


VALUE = st.recursive(SCALAR, lambda inner: st.one_of(_array(inner), _table(inner)), max_leaves=6)
PAIR = st.tuples(DOTTED, VALUE).map(lambda t: f"{t[0]} = {t[1]}")
HEADER = st.tuples(DOTTED, st.booleans()).map(
    lambda t: f"[[{t[0]}]]" if t[1] else f"[ {t[0]} ]")
STATEMENT = st.one_of(PAIR, HEADER, st.sampled_from(["", "# comment [a] b = 1", "\t"]))
DOCUMENT = st.tuples(
    st.lists(st.tuples(STATEMENT, st.sampled_from(["", "  # end"])), max_size=9),
    st.sampled_from(["\n", "\r\n"]),
).map(lambda t: t[1].join(s + c for s, c in t[0]))


def agrees(text):
    """Of sound TOML the scanner's paths are tomllib's; of other text nothing is asked
    but that it does not fail. Says whether it was sound."""
    found = scan(text)
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    assert set(found.lines) == paths(tree)
    assert found.duplicates == []
    return True


@settings(max_examples=250, deadline=None, derandomize=True)
@given(DOCUMENT)
@example("[[a]]\n[a.b]\nc=1\n[[a]]\n[a.b]\nc=2\n")
@example("a = [{b = 1}, {c.d = 2}]")
@example('a = """""""\nb = 1')
@example('"" = 1\n[\'\'.x]')
def test_paths_equal_those_of_tomllib(text):
    agrees(text)


@pytest.mark.soak
@pytest.mark.timeout(900)
@settings(max_examples=20_000, deadline=None)
@given(DOCUMENT)
def test_paths_equal_those_of_tomllib_in_many_documents(text):
    agrees(text)


def test_most_of_the_documents_tried_are_sound():
    sound = []

    @settings(max_examples=60, deadline=None, derandomize=True, database=None)
    @given(DOCUMENT)
    def count(text):
        sound.append(agrees(text))

    count()
    assert sum(sound) > len(sound) / 2


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.dictionaries(st.text(max_size=4), st.recursive(
    st.one_of(st.integers(-9, 9), st.booleans(), st.text(max_size=6)),
    lambda inner: st.one_of(st.lists(inner, max_size=3),
                            st.dictionaries(st.text(max_size=4), inner, max_size=3)),
    max_leaves=8), max_size=4))
def test_paths_equal_for_documents_of_another_writer(tree):
    text = tomlkit.dumps(tree)
    assert set(scan(text).lines) == paths(tomllib.loads(text))


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(alphabet='ab=.[]{}"\'\\\n #,1u', max_size=60))
def test_never_fails_and_never_differs_on_noise(text):
    agrees(text)


@pytest.mark.parametrize("name", example_names())
def test_lines_of_the_examples_hold_their_keys(name):
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    rows = text.split("\n")
    found = scan(text)
    assert set(found.lines) == paths(tomllib.loads(text))
    for path, line in found.lines.items():
        key = [p for p in path if isinstance(p, str)][-1]
        assert key in rows[line - 1]


def test_lines_are_those_of_the_key():
    text = '# one\na = """\n\n"""\n[t]\nb = [\n 1,\n 2]\n[[s]]\nc.d = 1\n[[s]]\n'
    assert scan(text).lines == {
        ("a",): 2, ("t",): 5, ("t", "b"): 6, ("t", "b", 0): 7, ("t", "b", 1): 8,
        ("s",): 9, ("s", 0): 9, ("s", 0, "c"): 10, ("s", 0, "c", "d"): 10, ("s", 1): 11,
    }


@pytest.mark.parametrize(("text", "again"), [
    ("a = 1\nb = 2\na = 3\n", 3), ("[t]\nx = 1\n[u]\n[t]\n", 4), ("a.b = 1\na.b = 2", 2),
    ("[t]\nx = 1\n[t.x]\n", 3), ("t = {a = 1, a = 2}", 1),
])
def test_duplicates_carry_their_line(text, again):
    assert [line for _, _, line in scan(text).duplicates] == [again]
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)


def test_deep_and_long_texts_end():
    assert scan("a = " + "[" * 5000) is not None
    assert scan("a = " + "[" * 5000 + "]" * 5000 + "\nb = 1").lines[("b",)] == 2
    assert len(scan("k = 1\n" * 5000).duplicates) == 4999
