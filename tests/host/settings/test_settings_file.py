"""The settings file: what is written is read, what breaks a range is refused, nothing crashes."""

import json
import random
import string
import zlib

import pytest
from steadyturn.errors import WrongInput
from steadyturn.settings import file
from steadyturn_fw import fields, pages

MANY = 1000


def good():
    """Settings with every whole number in the middle of its range and in order."""
    made = {name: (low + high) // 2 for name, low, high, _ in fields.WHOLE}
    made.update({name: choices[0] for name, choices, _ in fields.CHOICE})
    made.update({name: "plain text"[:most] for name, most, _ in fields.TEXT})
    made.update(rest_dtpm=100, low_dtpm=500, target_dtpm=600, high_dtpm=700, over_dtpm=900,
                release_mv=3000, window_low_mv=3100, connect_mv=5000, window_high_mv=9000,
                over_mv=9500, forbid_mv=3100, fade_mv=4000)
    return made


def wrap(body: bytes) -> bytes:
    return b'{"crc": "%08x", "settings":\n%s\n}\n' % (zlib.crc32(body), body)


def breaks_a_range(settings) -> bool:
    """The stated rules, written here a second time."""
    whole = {n: (low, high) for n, low, high, _ in fields.WHOLE}
    whole |= {n: (low, high) for n, low, high, _ in fields.MAY_MISS if n in settings}
    choice = {n: c for n, c, _ in fields.CHOICE}
    text = {n: most for n, most, _ in fields.TEXT}
    if set(settings) != {*whole, *choice, *text}:
        return True
    for name, (low, high) in whole.items():
        if type(settings[name]) is not int or not low <= settings[name] <= high:
            return True
    for name, choices in choice.items():
        if settings[name] not in choices:
            return True
    for name, most in text.items():
        value = settings[name]
        if type(value) is not str or len(value) > most:
            return True
        if not all(31 < ord(c) < 127 for c in value):
            return True
    return any(settings[a] > settings[b] for a, b in fields.ORDER)


def test_what_is_written_is_read():
    raw = file.encode(good())
    assert file.decode(raw) == good()
    assert file.encode(file.decode(raw)) == raw
    assert raw.count(b"\n") == 3
    assert len(raw) < file.MOST_BYTES


def test_a_correction_s_date_may_be_there_or_not():
    dated = good() | {name: high for name, _, high, _ in fields.MAY_MISS}
    assert file.decode(file.encode(dated)) == dated
    assert b"corrected_day" not in file.encode(good())
    assert len(file.encode(dated)) < file.MOST_BYTES
    assert file.read_any(file.encode(dated | {"bus_corrected_day": 7})) == dated | {
        "bus_corrected_day": 7}
    with pytest.raises(WrongInput) as refused:
        file.encode(dated | {"bus_corrected_day": 0})
    assert [p.key for p in refused.value.problems] == ["bus_corrected_day"]


def test_the_crc_is_that_of_the_firmware():
    raw = file.encode(good())
    head, body, *_ = raw.split(b"\n")
    crc = pages.Crc()
    crc.feed(body, 0, len(body))
    assert json.loads(head + b"0}")["crc"] == f"{crc.high:04x}{crc.low:04x}"


def test_every_problem_is_named_at_once():
    wrong = good()
    wrong.update(shunt_uohm=1, chip="ina999", rig="café", low_dtpm=650, extra=1)
    del wrong["gap_ms"]
    with pytest.raises(WrongInput) as refused:
        file.encode(wrong)
    keys = {p.key for p in refused.value.problems}
    assert keys == {"shunt_uohm", "chip", "rig", "low_dtpm", "extra", "gap_ms"}
    assert all(p.right and p.how for p in refused.value.problems)


def test_a_near_miss_is_suggested():
    wrong = good()
    wrong["over_mw"] = wrong.pop("over_mv")
    found = {p.key: p.right for p in file.problems(wrong)}
    assert "over_mv" in found["over_mw"]


@pytest.mark.parametrize("value", [True, 1.0, "1", None, [], 2**70, -(2**70), float("nan")])
def test_only_whole_numbers_count_as_such(value):
    wrong = good() | {"i2c_id": value}
    assert [p.key for p in file.problems(wrong)] == ["i2c_id"]
    body = json.dumps(wrong).encode()
    with pytest.raises(WrongInput):
        file.decode(wrap(body))


@pytest.mark.parametrize("raw", [
    b"", b"\n\n\n", b"{}", b"\xff\xfe\n\n}\n", wrap(b"[" * 4000), wrap(b"[]"), wrap(b"7"),
    wrap(b"not json"), wrap(b"\xff\xff"), b"x" * 5000, wrap(b"[" * 100_000),
])
def test_what_is_no_settings_file_is_refused(raw):
    with pytest.raises(WrongInput) as refused:
        file.decode(raw)
    assert len(refused.value.problems) == 1


def mutate(r: random.Random, raw: bytes) -> bytes:
    """Damage of every kind: bits and bytes, lengths, and edits with a right CRC."""
    kind = r.randrange(8)
    if kind == 0:
        at = r.randrange(len(raw))
        return raw[:at] + bytes([raw[at] ^ 1 << r.randrange(8)]) + raw[at + 1:]
    if kind == 1:
        return raw[: r.randrange(len(raw))]
    if kind == 2:
        at = r.randrange(len(raw))
        return raw[:at] + r.randbytes(r.randrange(1, 9)) + raw[at:]
    settings = json.loads(raw.split(b"\n")[1])
    name = r.choice(sorted(settings))
    if kind == 3:
        del settings[name]
    elif kind == 4:
        settings["".join(r.choices(string.ascii_lowercase, k=6))] = 1
    elif kind == 5:
        settings[name] = r.choice([None, True, 1.5, "", "x" * 60, [], {}, "ä", -1, 2**40])
    elif kind == 6 and isinstance(settings[name], int):
        settings[name] += r.choice([-1, 1]) * 10 ** r.randrange(6)
    else:
        low, high = next(((lo, hi) for n, lo, hi, _ in fields.WHOLE if n == name), (0, 1))
        settings[name] = r.choice([low - 1, low, high, high + 1])
    return wrap(json.dumps(settings).encode())


def test_a_thousand_mutations_are_accepted_only_in_range():
    r = random.Random(20)
    raw = file.encode(good())
    accepted = refused = named = 0
    for _ in range(MANY):
        damaged = mutate(r, raw)
        try:
            settings = file.decode(damaged)
        except WrongInput as wrong:
            refused += 1
            named += bool(wrong.problems and str(wrong))
        else:
            accepted += 1
            assert not breaks_a_range(settings)
    assert accepted + refused == MANY
    assert named == refused
    assert accepted > 20  # some damage stays within every range: the test could tell
    assert refused > 500


def test_any_version_is_read_for_looking_back():
    whole = good()
    old = {**{k: v for k, v in whole.items() if k != "dwell_ms"}, "version": 1, "gone": 7}
    raw = wrap(json.dumps(old).encode())
    with pytest.raises(WrongInput):
        file.decode(raw)
    assert file.read_any(raw) == {k: v for k, v in old.items() if k != "gone"}
    assert file.read_any(file.encode(whole)) == whole
    for broken in (b"", b"{", raw[:-9], raw.replace(b'"gone": 7', b'"gone": 8'), b"\xff" * 3000,
                   wrap(b"[]")):
        assert file.read_any(broken) == {}
    wild = {**old, "low_dtpm": "6", "rig": 5, "chip": "none", "high_dtpm": 10**9, "label": "a\n"}
    found = file.read_any(wrap(json.dumps(wild).encode()))
    assert not {"low_dtpm", "rig", "chip", "high_dtpm", "label"} & found.keys()
    assert found["target_dtpm"] == whole["target_dtpm"]
