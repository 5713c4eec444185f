"""Which cue when: edges, hysteresis, dwell, volts, stop, rest. states.md has the table."""

import bench
import check

from steadyturn_fw import pages
from steadyturn_fw.cue import SILENT_TICKS, Cue
from steadyturn_fw.now import Now


class Told:
    """In place of the cadence: a pace that has been there for long, and stays."""

    def update(self, now):
        self.here_dtpm = self.heading_dtpm = now.pace_dtpm


class Hand:
    """Cue with a pace that is as told, from one tick to the next unless it moves."""

    def __init__(self, moves=False, **changed):
        self.now = Now()
        self.now.validity = pages.VALID
        self.now.bus_mv = 6000
        self.cue = Cue(bench.Settings(**changed))
        if not moves:
            self.cue.cadence = Told()

    def at(self, dtpm, ms=2000, mv=None, connected=None):
        now = self.now
        now.pace_dtpm = now.ahead_dtpm = now.raw_dtpm = dtpm
        if mv is not None:
            now.bus_mv = mv
        if connected is not None:
            now.connected = connected
        for _ in range(ms // 20):
            self.cue.update(now)
        return pages.CUES[now.cue]


def test_up_and_down_through_the_band():
    hand = Hand()
    check.equal(hand.at(0), "rest", "still")
    check.equal(hand.at(300), "faster", "slow")
    check.equal(hand.at(560), "faster", "inside, but not as far as hold begins")
    check.equal(hand.at(575), "hold", "inside")
    check.equal(hand.at(555), "hold", "as long as it is inside")
    check.equal(hand.at(545), "faster", "too slow again")
    check.equal(hand.at(650), "hold", "target")
    check.equal(hand.at(795), "hold", "as long as it is inside")
    check.equal(hand.at(805), "slower", "too fast")
    check.equal(hand.at(790), "slower", "kept")
    check.equal(hand.at(775), "hold", "good again")
    check.equal(hand.at(50), "rest", "let go")


def between_changes(dwell_ms):
    """Times between changes of the cue while the pace swings through the whole band, ms."""
    hand = Hand(moves=True, dwell_ms=dwell_ms)
    hand.at(650)
    times = []
    since, before = 0, hand.now.cue
    for half in range(60):
        for _ in range(20):
            hand.at(450 if half & 1 else 900, ms=20)
            since += 20
            if hand.now.cue != before:
                before = hand.now.cue
                times.append(since)
                since = 0
    return times


def test_dwell():
    check.true(len(between_changes(600)) > 20, "the cue follows")
    check.true(min(between_changes(600)[1:]) >= 600, "but not before the dwell is over")
    check.true(min(between_changes(0)[1:]) < 400, "which is what holds it")
    hand = Hand(dwell_ms=600)
    hand.at(300)
    check.equal(hand.at(1400, ms=20), "stop", "danger is told at once")
    check.equal(hand.at(0, ms=20), "rest", "rest too")
    check.equal(hand.at(300, ms=20), "faster", "and what follows rest")


def test_pull_and_push_within_a_turn_are_no_reason():
    # at 58 turns a minute, a little inside, the handle runs 15 % slower and faster twice a turn
    hand = Hand(moves=True)
    hand.at(650)
    t = 0
    found = set()
    for tick in range(1500):
        t += 20
        swing = 87 * SINE[t * 2 * 58 * len(SINE) // 60000 % len(SINE)] // 100
        hand.at(580 + swing, ms=20)
        if tick > 100:
            found.add(pages.CUES[hand.now.cue])
    check.equal(found, {"hold"}, "only the mean counts")


SINE = (0, 38, 71, 92, 100, 92, 71, 38, 0, -38, -71, -92, -100, -92, -71, -38)


def test_hold_comes_before_the_hand_is_there():
    hand = Hand(moves=True)
    hand.at(300)
    dtpm = 300
    while hand.now.cue == pages.FASTER and dtpm < 700:
        dtpm += 2  # 10 turns a minute a second faster
        hand.at(dtpm, ms=20)
    # back inside begins at 570; 0.6 s ahead of this rise are 60
    check.near(dtpm, 510, 12, "where it is heading")


def test_stop_by_pace_and_by_volts():
    hand = Hand()
    hand.at(650)
    check.equal(hand.at(1300, ms=20), "stop", "pace")
    check.equal(hand.at(900), "stop", "until inside the band")
    check.equal(hand.at(790), "slower", "then slower, as long as past the edge")
    hand = Hand()
    hand.at(650)
    check.equal(hand.at(650, ms=20, mv=12000), "stop", "volts")
    check.equal(hand.at(650, mv=11500), "stop", "until well below")
    check.equal(hand.at(650, mv=11000), "hold", "then")


def test_released_the_pace_for_connecting_counts():
    hand = Hand()
    hand.now.least_dtpm = 600
    hand.at(300)
    check.equal(hand.at(610), "faster", "in the band, but it would not be connected")
    check.equal(hand.at(625), "hold", "it will be")
    check.equal(hand.at(615), "hold", "kept")
    check.equal(hand.at(605), "faster", "it might not")
    check.equal(hand.at(575, connected=True), "hold", "with the load the band's edge counts")


def test_volts_count_while_connected():
    hand = Hand()
    check.equal(hand.at(650, mv=3900, connected=False), "hold", "nothing is charged")
    check.equal(hand.at(650, mv=3900, connected=True), "faster", "the converter needs more")
    check.equal(hand.at(650, mv=4100), "hold", "enough")
    check.equal(hand.at(650, mv=9100), "slower", "too many volts at the converter")
    check.equal(hand.at(500, mv=9100), "slower", "the higher one wins: it is the dangerous one")
    hand.at(650, mv=6000)
    check.equal(hand.at(650, mv=3000, ms=60), "hold", "a dip of a connection is no slow hand")


def test_bound():
    hand = Hand()
    hand.at(650)
    hand.now.validity = pages.BOUND
    hand.now.connected = True
    check.equal(hand.at(900), "hold", "no more than this: not known to be too fast")
    check.equal(hand.at(500), "faster", "no more than this: too slow")
    hand.now.connected = False
    hand.now.silent_ticks = SILENT_TICKS + 1
    check.equal(hand.at(650), "rest", "nobody turns; the bus is only still charged")


def test_volts_only():
    hand = Hand()
    hand.now.validity = pages.VOLTS_ONLY
    hand.now.connected = True
    check.equal(hand.at(450, mv=6000), "hold", "with a load the volts are not the pace")
    check.equal(hand.at(450, mv=3900), "faster", "but they are what the converter needs")
    hand.now.validity = pages.NO_SENSOR
    check.equal(hand.at(0), "rest", "nothing is known")


def test_narrow_band_can_be_met():
    hand = Hand(low_dtpm=600, target_dtpm=605, high_dtpm=610, hysteresis_dtpm=100)
    hand.at(0)
    hand.at(300)
    check.equal(hand.at(605), "hold", "the target is always hold")
    hand.at(900)
    check.equal(hand.at(605), "hold", "from above too")


check.run(globals())
