"""The pace estimate against the equation in floating point, its validity and its trend."""

import bench
import check

from steadyturn_fw import pages
from steadyturn_fw.cue import SILENT_TICKS
from steadyturn_fw.estimate import Estimate
from steadyturn_fw.now import Now


def steady(estimate, now, mv, ma, ticks=100):
    now.bus_mv, now.bus_ma = mv, ma
    now.volts = now.amps = True
    for _ in range(ticks):
        estimate.update(now)


def test_equation():
    s = bench.Settings(supply_adc_pin=-1)
    for mv, ma in ((3000, 30), (5000, 200), (6500, 500), (9000, 1500), (11000, 1999)):
        estimate, now = Estimate(s), Now()
        steady(estimate, now, mv, ma)
        motor = ma + s.supply_ma
        emf = mv + motor * s.source_mohm / 1000 + s.drop_mv * motor / (motor + s.drop_knee_ma)
        check.near(now.pace_dtpm, emf * 10000 / s.emf_uv_per_tpm, 1.5, "%d mV" % mv)
        check.equal(now.validity, pages.VALID, "current flows")


def test_extremes_stay_small():
    for emf in (1000, 2000000):
        for mohm in (1, 500000):
            s = bench.Settings(
                emf_uv_per_tpm=emf, source_mohm=mohm, drop_mv=5000, drop_knee_ma=1,
                capacitor_uf=100000, supply_ma=2000,
            )
            estimate, now = Estimate(s), Now()
            for mv in (0, 65535, 0, 30000):
                for ma in (-65535, 0, 65535):
                    steady(estimate, now, mv, ma, 2)
                    check.true(0 <= now.pace_dtpm <= 65535, "pace")
                    check.true(0 <= now.ahead_dtpm < 1 << 24, "ahead")


def test_charging_current_counts():
    s = bench.Settings(supply_adc_pin=-1, supply_ma=0)
    estimate, now = Estimate(s), Now()
    steady(estimate, now, 4000, 0)
    check.equal(now.validity, pages.BOUND, "nothing flows")
    # 1 mF that rises by 5 V a second takes 5 mA; by 20 V a second 20 mA
    steady(estimate, now, 4100, 0, 1)
    check.equal(now.motor_ma, 5, "5 mA")
    steady(estimate, now, 4500, 0, 1)
    check.equal((now.motor_ma, now.validity), (20, pages.VALID), "20 mA")
    # falling, the capacitor feeds the load and the motors give less than is drawn
    steady(estimate, now, 4000, 100, 1)
    check.equal(now.motor_ma, 75, "100 less 25 mA")


def test_bound_after_the_diode_lets_go():
    s = bench.Settings()
    estimate, now = Estimate(s), Now()
    now.supply_mv = 4800
    steady(estimate, now, 4700, 0, 60)
    check.equal(now.validity, pages.BOUND, "below the reservoir the board draws nothing")
    check.true(now.silent_ticks >= 59, "silent")
    steady(estimate, now, 5500, 0, 60)
    check.equal(now.validity, pages.VALID, "above it the board's own 20 mA flow")
    check.equal(now.silent_ticks, 0, "not silent")


def test_an_even_hand_without_current_is_no_rest():
    s = bench.Settings(supply_ma=0)
    for volts, silent in (
        (lambda i: 6000, False),  # turned evenly: the capacitor neither fills nor sinks
        (lambda i: 6000 + i // 4, False),  # ever faster, too slowly for any current to be seen
        (lambda i: 6000 - 90 * (i % 170 > 150), False),  # a dip
        (lambda i: 6000 - i * 2 // 3, True),  # let go: 1 mF through 180 kohm
    ):
        estimate, now = Estimate(s), Now()
        now.ms = 20
        steady(estimate, now, 6000, 0, 60)
        most = 0
        for i in range(600):
            steady(estimate, now, volts(i), 0, 1)
            most = max(most, now.silent_ticks)
        check.equal(now.validity, pages.BOUND, "no current")
        check.equal(most > SILENT_TICKS, silent, "silent")
        if silent:
            steady(estimate, now, volts(600) + 200, 0, 1)
            check.true(now.silent_ticks <= 1, "turned again")


def test_volts_only_and_nothing():
    estimate, now = Estimate(bench.Settings()), Now()
    now.bus_mv, now.volts, now.amps = 6000, True, False
    for _ in range(100):
        estimate.update(now)
    check.equal((now.validity, now.pace_dtpm), (pages.VOLTS_ONLY, 500), "by volts alone")
    now.volts = False
    for _ in range(150):
        estimate.update(now)
    check.equal((now.validity, now.pace_dtpm), (pages.NO_SENSOR, 0), "unknown")


def test_trend_looks_ahead():
    s = bench.Settings(supply_adc_pin=-1, capacitor_uf=0)
    estimate, now = Estimate(s), Now()
    now.volts = now.amps = True
    now.bus_ma = 100
    # 10 turns a minute faster each second: 120 mV/tpm * 10 = 1.2 V a second
    for i in range(200):
        now.bus_mv = 3000 + 24 * i
        estimate.update(now)
    lead = now.ahead_dtpm - now.raw_dtpm
    check.near(lead, 16, 8, "dtpm ahead: 0.3 s of 100 dtpm/s less the filter's lag")
    check.near(now.raw_dtpm - now.pace_dtpm, 15, 3, "the filtered pace lags by 0.15 s")


def test_first_reading_is_no_rise_from_rest():
    estimate, now = Estimate(bench.Settings()), Now()
    steady(estimate, now, 7000, 400, 1)
    check.true(now.pace_dtpm > 600, "a board that wakes while the handle turns knows the pace")


check.run(globals())
