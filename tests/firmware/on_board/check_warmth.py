"""The winding's warmth in integers against floating point, what it does to the pace, and
what a boot begins with."""

import bench
import check
import micropython
import sys

from asking import again, board, stored
from steadyturn_fw import pages
from steadyturn_fw.estimate import Estimate
from steadyturn_fw.now import Now

FAST = sys.maxsize > 1 << 40
# two motors of 7 + 15 K/W and 10 J/K; 0.35 W of brushes and bearings each at 65 turns/min
WARM = {"warm_s": 220, "warm_ck_per_w": 1100, "warm_case_ck_per_w": 750,
        "warm_rest_uw_per_tpm": 10800, "supply_ma": 0, "capacitor_uf": 0}


def model(seconds, amps, tpm, s, rise=0.0):
    """Rise after a time, K; the resistance of each second is that of its warmth."""
    for _ in range(seconds):
        ohm = s.source_mohm / 1000 * (1 + 0.00393 * rise)
        goal = amps * amps * ohm * s.warm_ck_per_w / 100
        goal += tpm * s.warm_rest_uw_per_tpm / 1e6 * s.warm_case_ck_per_w / 100
        rise += (goal - rise) / s.warm_s
    return rise


def turn(estimate, now, seconds, dtpm, ma, rise):
    """Volts of a machine as warm as `rise` tells, second by second; the last pace."""
    for second in range(seconds):
        k = rise(second)
        emf = dtpm * 120000 // 10000 * (1 - 0.002 * k)
        now.bus_mv = int(emf - ma * 2.5 * (1 + 0.00393 * k) - 550 * ma / (ma + 20) + 0.5)
        now.bus_ma = ma
        now.volts = now.amps = True
        for _ in range(50):
            estimate.update(now)


def test_against_floating_point():
    s = bench.Settings(**WARM)
    for seconds in (60, 600) if FAST else (60,):
        estimate, now = Estimate(s), Now()
        right = 0.0
        for _ in range(seconds):
            # volts of a cold machine: they matter to the warmth by the pace alone
            turn(estimate, now, 1, 650, 600, lambda t: 0)
            right = model(1, 0.6, now.pace_dtpm / 10, s, right)
        found = estimate.warmth.rise / 1024000
        check.near(found, right, 0.01 * right + 0.05, "K after %d s" % seconds)
        check.true(right > (8 if seconds == 600 else 2), "something to tell")
        check.near(estimate.ohm * 1000 + estimate.mohm, 2500 * (1 + 0.00393 * found), 1, "ohm")
        check.near(estimate.emf_uv, 120000 * (1 - 0.002 * found), 8, "EMF")


def test_pace_of_a_machine_that_warms_up():
    seconds = 600 if FAST else 120
    errors = []
    for changed in (WARM, {"supply_ma": 0, "capacitor_uf": 0}):
        s = bench.Settings(**changed)
        full = bench.Settings(**WARM)
        estimate, now = Estimate(s), Now()
        warm = [0.0]
        for second in range(seconds):
            warm.append(model(1, 0.6, 65, full, warm[second]))
        turn(estimate, now, seconds, 650, 600, lambda t: warm[t])
        errors.append(abs(now.pace_dtpm - 650))
    check.true(errors[0] <= 2, "with: %r" % errors)
    check.true(errors[1] >= (10 if FAST else 4), "without: %r" % errors)


def test_extremes_stay_small():
    for mohm in (1, 500000):
        for emf in (1000, 2000000):
            s = bench.Settings(
                source_mohm=mohm, emf_uv_per_tpm=emf, warm_s=1, warm_ck_per_w=30000,
                warm_case_ck_per_w=20000, warm_rest_uw_per_tpm=100000,
            )
            estimate, now = Estimate(s), Now()
            for ma in (0, 65535):
                now.bus_mv, now.bus_ma = 65535, ma
                now.volts = now.amps = True
                for _ in range(300):
                    estimate.update(now)
                    check.true(0 <= now.pace_dtpm <= 65535, "pace")
            check.true(0 <= estimate.warmth.rise <= 200000 << 10, "rise")
            check.true(estimate.emf_uv >= 600 * emf // 1000, "EMF")
            check.true(mohm <= estimate.ohm * 1000 + estimate.mohm <= 2 * mohm, "ohm")
    small = 1 << 30
    # each product of warmth.py at its largest
    for what, most in (
        ("square", 32767 * 32767), ("squares", 32767 * 32767 // 1000 * 1000),
        ("copper", 32767 * 32767 // 1000 * 894), ("milli", 32767 * 32767 // 1000 * 999),
        ("wound", 30000 * 30000), ("case", 30000 * 20000), ("rest", 9000 * 100000),
        ("goal", 200000 << 10), ("more", 200000 * 393), ("ohm", 500 * 78600 + 999 * 78600),
        ("less", 2000 * 40000 + 999 * 40000), ("volts", 107000 * 10000),
    ):
        check.true(most < small, what)


def test_a_boot_begins_with_half_of_what_was():
    b = board(**WARM)
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 600)
    b.run(60000 if FAST else 30000)
    b.loop.writing.flush()
    rise = b.loop.estimate.warmth.rise_k()
    check.true(rise >= 1, "warm: %d K" % rise)
    check.equal(stored(b)[-1][pages.AT_RISE], rise, "in the page")
    c = again(**WARM)
    check.near(c.loop.estimate.warmth.rise / 1024000, rise / 2, 0.01, "half")
    check.true(c.loop.estimate.emf_uv < 120000, "in force at once")
    plain = again()
    check.equal(plain.loop.estimate.warmth, None, "a rig without")
    plain.run(200)
    plain.loop.writing.flush()
    check.equal(stored(plain)[-1][pages.AT_RISE], 0, "tells none")


def test_nothing_is_allocated():
    estimate, now = Estimate(bench.Settings(**WARM)), Now()
    now.bus_mv, now.bus_ma = 6500, 500
    now.volts = now.amps = True
    estimate.update(now)
    micropython.heap_lock()
    try:
        for _ in range(120):
            estimate.update(now)
    finally:
        micropython.heap_unlock()


check.run(globals())
