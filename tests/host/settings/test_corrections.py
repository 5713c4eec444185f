"""Corrections in the settings: what may be written, what goes along to other settings, what can
be taken back."""

from __future__ import annotations

import dataclasses
import functools

import pytest
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings import corrections, corrections_before
from steadyturn.settings.build import build
from steadyturn.settings.corrections import NONE, Correction, carry, put, read, refusals
from steadyturn.settings.file import decode, encode

VOLTS = Correction(1_010_000, -12, "2026-11-28", 8000, 5000)
AMPS = Correction(985_000, -4, "2026-03-01", 14_000, 600)


@functools.cache
def plain():
    rig = read_rig(example_path("lakeside-hut"))
    return build(rig, find_band(rig, deep=False))


def corrected(**changed):
    return {**put(put(plain(), "bus", VOLTS), "amps", AMPS), **changed}


def with_output():
    return {**plain(), "chip": "ina3221", "out_shunt_uohm": 50_000, "over_out_mv": 5462}


def test_put_is_read_and_leaves_no_trace_when_taken_back():
    made = corrected()
    assert (read(made, "bus"), read(made, "amps")) == (VOLTS, AMPS)
    assert decode(encode(made)) == made
    assert put(put(made, "bus", NONE), "amps", NONE) == plain()
    assert read(plain(), "bus").none
    assert read(made, "bus").half_width(6.0) == pytest.approx(0.0483, abs=1e-4)


def test_only_a_chip_with_two_channels_has_an_output():
    assert corrections.fitted(plain()) == ("bus", "amps")
    assert corrections.fitted(with_output()) == corrections.QUANTITIES


@pytest.mark.parametrize(("one", "code"), [
    (Correction(1_250_000, 0), "gain"), (Correction(1_000_000, 501), "offset"),
    # 6 % less than an INA226 reads: were that wrong, it would release above the ratings
    (Correction(940_000, 0, "2026-11-28", 8000, 5000), "hides"),
    (Correction(955_000, -500, "2026-11-28", 8000, 5000), "hides"),
    (Correction(1_000_000, 0, "2026-11-28", 30_000, 0), "unsure"),
])
def test_volts_that_would_blind_the_limit_are_refused(one, code):
    found = refusals(plain(), "bus", one)
    assert [r.code for r in found] == [code]
    assert found[0].value < found[0].low or found[0].value > found[0].most


def test_a_refused_correction_releases_too_late_and_an_accepted_one_in_time():
    """What the bound is for: with what may be written the firmware still releases below the
    ratings, which stand 5 % above its limit."""
    over = plain()["over_mv"] / 1000
    sheet = corrections.sheet(plain(), "bus")
    worst = 0.0
    for gain in range(900_000, 1_100_000, 500):
        one = Correction(gain, 0, "2026-11-28", 8000, 5000)
        if not refusals(plain(), "bus", one):
            # the chip reads as low as its sheet allows, and the correction lowers that
            shown = over / (gain / 1e6)
            worst = max(worst, shown + sheet.most(shown))
    assert 1.04 < worst / over <= 1 / 0.95


def test_what_reads_high_is_corrected_but_not_where_the_device_is_the_limit():
    """2 % too high, by a sensor that is worse than its sheet: a true correction releases where the
    rig meant it. A boost passes its input to the device, whose limit has nothing to spare."""
    one = Correction(980_392, 0, "2026-11-28", 8000, 5000)
    assert not refusals(plain(), "bus", one)
    assert [r.code for r in refusals({**plain(), "coil": "in"}, "bus", one)] == ["hides"]


def test_what_only_lets_go_earlier_is_written():
    assert not refusals(plain(), "bus", Correction(1_100_000, 0, "2026-11-28", 8000, 5000))
    assert not refusals(plain(), "bus", VOLTS)
    assert not refusals(plain(), "amps", AMPS)
    assert refusals(plain(), "amps", dataclasses.replace(AMPS, within_ppm=200_000))


def test_a_cheap_meter_does_not_correct_the_output():
    cheap = Correction(1_002_000, 0, "2026-11-28", 8000, 20_000)
    assert [r.code for r in refusals(with_output(), "out_bus", cheap)] == ["coarse"]
    good = dataclasses.replace(cheap, within_ppm=1000, within_micro=3000)
    assert not refusals(with_output(), "out_bus", good)


def test_a_board_keeps_its_corrections_as_long_as_it_is_the_same_sensor():
    made, seen = carry({**plain(), "dwell_ms": 700}, corrected())
    assert made == corrected(dwell_ms=700)
    assert [(t.quantity, t.why) for t in seen] == [("bus", ""), ("amps", "")]
    made, seen = carry({**plain(), "shunt_uohm": 20_000}, corrected())
    assert (read(made, "bus"), read(made, "amps")) == (VOLTS, NONE)
    assert [(t.quantity, t.why) for t in seen] == [("bus", ""), ("amps", "shunt")]
    for changed in ({"chip": "ina219"}, {"address": 65}):
        made, seen = carry({**plain(), **changed}, corrected())
        assert made == {**plain(), **changed}
        assert {t.why for t in seen} == {"sensor"}
    assert carry(plain(), {}) == (plain(), ())


def test_a_correction_that_would_blind_a_new_limit_is_dropped():
    unsure = put(plain(), "bus", dataclasses.replace(VOLTS, within_ppm=0, within_micro=100_000))
    assert not refusals(unsure, "bus", read(unsure, "bus"))
    made, seen = carry({**plain(), "over_mv": 3000}, unsure)
    assert read(made, "bus").none
    assert [t.why for t in seen] == ["unsure"]


def test_an_adc_is_the_same_sensor_while_its_parts_are():
    adc = {**plain(), "chip": "adc"}
    old = put(put(adc, "bus", VOLTS), "amps", AMPS)
    made, seen = carry({**adc, "divider_permille": 9000}, old)
    assert (read(made, "bus"), read(made, "amps")) == (NONE, AMPS)
    assert [t.why for t in seen] == ["sensor", ""]


def test_one_step_back_and_another_and_then_none():
    first = put(plain(), "bus", VOLTS)
    before = [corrections_before.snapshot(plain()), corrections_before.snapshot(first)]
    before = corrections_before.decode(corrections_before.encode(before))
    made, left = corrections_before.back(corrected(), before)
    assert made == first
    made, left = corrections_before.back(made, left)
    assert (made, left) == (plain(), [])
    assert corrections_before.back(corrected(), []) == (plain(), [])


def test_what_is_in_force_already_or_of_another_sensor_is_passed_over():
    now = corrected()
    cut_off = [corrections_before.snapshot(put(plain(), "bus", VOLTS)),
               corrections_before.snapshot(now)]
    assert corrections_before.back(now, cut_off)[0] == put(plain(), "bus", VOLTS)
    other = corrections_before.snapshot(corrected(chip="ina219"))
    assert corrections_before.back(now, [other]) == (plain(), [other])  # its board may be back
    before = [corrections_before.snapshot(put(plain(), "bus", VOLTS)), other]
    assert corrections_before.back(now, before) == (put(plain(), "bus", VOLTS), [other])


@pytest.mark.parametrize("junk", [None, b"", b"\n\n\n", b"\xff" * 5000,
                                  corrections_before.encode([{"chip": "ina226"}])[:-9],
                                  b'{"crc": "f3b5e3ab", "before":\n[[1]]\n}\n'])
def test_a_damaged_file_of_earlier_ones_is_none(junk):
    assert corrections_before.decode(junk) == []


def test_no_more_are_kept_than_have_room():
    many = [corrections_before.snapshot(corrected(bus_offset_mv=n)) for n in range(9)]
    raw = corrections_before.encode(many)
    assert len(raw) < 4096
    assert [one["bus_offset_mv"] for one in corrections_before.decode(raw)] == [5, 6, 7, 8]
