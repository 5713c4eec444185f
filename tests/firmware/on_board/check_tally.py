"""Totals: exact to the microjoule against whole-number arithmetic without limits."""

import bench
import check

from steadyturn_fw import pages
from steadyturn_fw.now import Now
from steadyturn_fw.tally import Losses, Tally, Total


def chance(seed):
    while True:
        seed = (seed * 1664525 + 1013904223) & 0xFFFFFFFF
        yield seed >> 8


def test_input_energy_charge_and_turns_are_exact():
    for most_mv, most_ma in ((8000, 900), (65535, 32767)):
        tally, now = Tally(bench.Settings()), Now()
        now.validity = pages.VALID
        rolls = chance(5)
        nanojoule = microcoulomb = turns = 0
        for i in range(3000):
            now.bus_mv = next(rolls) % (most_mv + 1)
            now.bus_ma = next(rolls) % (most_ma + 1)
            now.raw_dtpm = next(rolls) % 2000
            now.ms = 200 if i % 100 == 0 else 19 + next(rolls) % 3
            tally.add(now)
            nanojoule += now.bus_mv * now.bus_ma * now.ms
            microcoulomb += now.bus_ma * now.ms
            turns += now.raw_dtpm * now.ms
        check.equal(tally.energy_in.total.units(), nanojoule // 1000, "uJ")
        check.equal(tally.charge.units(), microcoulomb, "uC")
        check.equal(tally.turns.units(), turns // 600, "thousandths of a turn")


def test_total_of_a_lifetime():
    # 1 W for ten years is 3e14 uJ: 48 bits bear 2.8e14, and a phone's 3 W for three
    total = Total(3)
    total.words[0] = 0xFFFF
    total.words[1] = 0xFFFF
    total.add(1)
    check.equal(total.units(), 1 << 32, "carry through two words")
    total.add((1 << 29) - 1)
    total.add((1 << 29) - 1)
    check.equal(total.small, 2 * ((1 << 29) - 1) - (1 << 30) + 2, "carried, not waiting")
    check.equal(total.units(), (1 << 32) + (1 << 30) - 2, "the largest steps")
    page = bytearray(12)
    total.put(page, 2, 6)
    check.equal(pages.get(page, 2, 6), total.units(), "into a page")
    other = Total(3)
    other.take(page, 2, 6)
    check.equal(other.units(), total.units(), "and back")
    other.take(page, 2, 5)
    check.equal(other.units(), total.units() & (1 << 40) - 1, "40 bits")


def test_only_positive_current_counts():
    tally, now = Tally(bench.Settings()), Now()
    now.bus_mv, now.bus_ma = 5000, -40
    for _ in range(100):
        tally.add(now)
    check.equal((tally.energy_in.total.units(), tally.charge.units()), (0, 0), "nothing")


def test_bound_counts_no_turns():
    tally, now = Tally(bench.Settings()), Now()
    now.raw_dtpm = 600
    now.validity = pages.BOUND
    for _ in range(50):
        tally.add(now)
    check.equal(tally.turns.units(), 0, "unknown is not counted")
    now.validity = pages.VALID
    for _ in range(50):
        tally.add(now)
    check.equal(tally.turns.units(), 1000, "60 a minute for a second: one turn")


def losses_w(coil, in_v, in_a, s):
    """Output at the socket by floating point: the converter's and the path's equations."""
    w, v, ohm = s.loss_uw / 1e6, s.loss_mv / 1e3, s.loss_mohm / 1e3
    out_v, path = s.out_mv / 1e3, s.path_mohm / 1e3
    if coil == "linear":
        amps = in_a - w / in_v
        return out_v * amps - amps * amps * path
    amps = in_a
    for _ in range(200):
        i = {"in": in_a, "out": amps, "larger": max(in_a, amps)}[coil]
        out = in_v * in_a - (w + v * i + ohm * i * i)
        amps = out / out_v
    return out - amps * amps * path


def test_output_by_the_losses():
    for coil in ("in", "out", "larger", "linear"):
        s = bench.Settings(coil=coil)
        for in_v, in_a in ((6.0, 0.3), (6.5, 0.5), (9.0, 0.35), (7.5, 1.2), (4.2, 0.8)):
            if coil == "linear" and in_v < 5.2:
                continue
            losses = Losses(s)
            mv, ma = int(in_v * 1000), int(in_a * 1000)
            for _ in range(20):  # the iteration goes on from tick to tick
                losses.update(mv, ma, *divmod(mv * ma, 1000))
            got = losses.out_mw + losses.out_uw / 1000
            right = 1000 * losses_w(coil, in_v, in_a, s)
            check.near(got, right, 2 + right / 1000, "%s at %s V %s A" % (coil, in_v, in_a))


def test_no_input_no_output():
    for coil in ("in", "out", "larger", "linear"):
        losses = Losses(bench.Settings(coil=coil))
        losses.update(6000, 500, *divmod(3000000, 1000))
        losses.update(6000, 0, *divmod(0, 1000))
        losses.update(6000, 0, *divmod(0, 1000))
        check.equal((losses.out_mw, losses.out_uw), (0, 0), coil)


def test_extremes_of_the_settings():
    for coil in ("in", "out", "larger", "linear"):
        for out_mv in (800, 60000):
            s = bench.Settings(
                coil=coil, out_mv=out_mv, loss_uw=5000000, loss_mv=3000, loss_mohm=10000,
                path_mohm=5000,
            )
            tally, now = Tally(s), Now()
            now.connected = True
            for mv, ma in ((65535, 32767), (0, 32767), (65535, 1), (65535, 32767)):
                now.bus_mv, now.bus_ma, now.ms = mv, ma, 200
                tally.add(now)
                check.true(0 <= tally.losses.out_mw <= 2200000, coil)


def test_percents():
    tally, now = Tally(bench.Settings(percent_mj=1000, path_mohm=0)), Now()
    now.connected = True
    now.bus_mv, now.bus_ma = 6000, 500
    for _ in range(500):
        tally.add(now)
    joules = tally.energy_out.total.units() // 1000000
    check.near(tally.percents, joules, 1, "one a joule")
    page = bytearray(pages.PAGE_BYTES)
    tally.put(page)
    again = Tally(bench.Settings(percent_mj=1000))
    again.take(page)
    check.equal(again.energy_out.total.units(), tally.energy_out.total.units(), "carried on")
    check.equal(again.part_mj, tally.energy_out.total.units() // 1000 % 1000, "part of a percent")


def test_without_settings():
    tally = Tally(None)
    page = bytearray(pages.PAGE_BYTES)
    tally.put(page)
    tally.take(page)
    check.equal(tally.energy_in.total.units(), 0, "it can be written all the same")


def test_measured_output_is_exact_and_small_at_the_extremes():
    # the largest output there is to read (32.76 V, 32.767 A) over the largest path
    for path in (0, 300, 5000):
        tally, now = Tally(bench.Settings(path_mohm=path, out_shunt_uohm=1000000)), Now()
        now.connected = now.out_known = True
        now.bus_mv, now.bus_ma = 65535, 32767
        rolls = chance(3)
        joules = 0
        for i in range(1000):
            now.out_mv = 32760 if i < 10 else next(rolls) % 32761
            now.out_ma = 32767 if i < 10 else next(rolls) % 3000 - 200
            now.ms = 200 if i < 10 else 20
            tally.add(now)
            ma = max(0, now.out_ma)
            lost = ma * ma // 1000 * path + ma * ma % 1000 * path // 1000
            lost = min(lost, (1 << 29) - 1)
            joules += max(0, now.out_mv * ma - lost) * now.ms
        found = tally.energy_out.total.units()
        check.near(found, joules // 1000, 1 + found // 20000, "path %d" % path)
    check.true((1 << 29) + 999 * tally.losses.path_mohm < 1 << 30, "path")
    check.true(65535 * 999 + 1000 < 1 << 30 and 65535 * 32 < 1 << 30, "power")


check.run(globals())
