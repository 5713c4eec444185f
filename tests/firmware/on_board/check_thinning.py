"""Room for new pages: what a summary says, when a log is thinned, what is forgotten when asked."""

import os

import check

from asking import HERE, again, ask, board, events, fill_logs, state, stored
import steadyturn_fw.store as store_module
import steadyturn_fw.thinning as thinning_module
from steadyturn_fw import frames, pages, recovery
from steadyturn_fw.summary import Summary

LOG = 40  # pages a file, so that many are soon full
store_module.LOG_PAGES = thinning_module.LOG_PAGES = LOG
get = pages.get
TOTALS = (
    (pages.AT_ENERGY_IN, 6), (pages.AT_ENERGY_OUT, 6), (pages.AT_CHARGE, 6), (pages.AT_TURNS, 5),
    (pages.AT_ON, 4), (pages.AT_BAND, 4), (pages.AT_CONNECTED, 4), (pages.AT_CONNECTIONS, 2),
    (pages.AT_FAULTS, 2),
)


def fill(b, files, boots=4):
    fill_logs(b, files, LOG, boots)


def totals(page):
    return [get(page, at, size) for at, size in TOTALS]


def test_a_summary_is_what_its_pages_are():
    b = board()
    b.set(6500, 500)
    b.run(30000)
    b.set(13000, 900)  # over-voltage
    b.run(3000)
    b.set(7500, 600)
    b.run(20000)
    b.set(300, 0)
    b.run(4000)
    b.loop.writing.flush()
    own = stored(b)
    summary = Summary()
    for page in own:
        summary.add(page)
    whole = bytes(summary.seal())
    check.true(recovery.sound(whole), "sound")
    check.equal(totals(whole), totals(own[-1]), "the last page's totals")
    which = get(whole, pages.AT_FIRST, 4), recovery.seq_of(whole)
    check.equal(which, (1, len(own)), "which pages")
    check.equal(get(whole, pages.AT_STANDS_FOR, 4), len(own), "how many")
    check.equal(get(whole, pages.AT_PEAK_MV, 2), max(get(p, pages.AT_PEAK_MV, 2) for p in own))
    check.equal(get(whole, pages.AT_LENGTH, 4),
                get(own[-1], pages.AT_T0, 4) + own[-1][pages.AT_N_SAMPLES] * 200, "length")
    cues = [0] * 8
    releases = [0] * 16
    best = 0
    for page in own:
        for i in range(page[pages.AT_N_SAMPLES]):
            at = pages.AT_SAMPLES + 6 * i
            cues[page[at + 5] >> 2 & 7] += 1
            if page[at + 5] >> 6 == pages.VALID:
                best = max(best, page[at + 3] | (page[at + 4] & 3) << 8)
        for i in range(page[pages.AT_N_EVENTS]):
            at = pages.AT_EVENTS + 5 * i
            if page[at] == pages.EV_RELEASED:
                releases[get(page, at + 3, 2)] += 1
    check.equal([get(whole, pages.AT_BY_CUE + 4 * i, 4) for i in range(8)], cues, "by cue")
    check.equal([get(whole, pages.AT_RELEASES + 2 * i, 2) for i in range(16)], releases, "why")
    check.true(releases[pages.WHY_OVER_VOLTAGE] >= 1, "there was one")
    check.equal(get(whole, pages.AT_FAULTS_BEGUN + 2 * pages.FAULT_OVER_VOLTAGE, 2), 1, "fault")
    check.equal(get(whole, pages.AT_TOP_PACE, 2), best, "pace")
    kept = [whole[pages.AT_EVENTS + 5 * i] for i in range(whole[pages.AT_N_EVENTS])]
    check.true(pages.EV_FAULT in kept and pages.EV_BOOT in kept, "the events that matter")
    # taken in two goes it is the same
    half = Summary()
    for page in own[: len(own) // 2]:
        half.add(page)
    rest = Summary()
    rest.load(bytes(half.seal()))
    for page in own[len(own) // 2 :]:
        rest.add(page)
    check.equal(bytes(rest.seal()), whole, "gone on from a stored one")


def test_thinned_at_rest_in_pieces_and_nothing_is_dropped():
    b = board()
    fill(b, 4)
    store = b.loop.store
    seq = store.last_seq
    before = stored(b)
    b.set(6500, 500)
    b.run(6000)
    check.true(b.now.connected, "connected")
    store.most_files = 6  # what it is for all the time; earlier it would be done before
    b.run(20000)
    check.equal(len(store.logs), 4, "not while the load is connected")
    check.equal(store.sums, [], "nor begun")
    steps = []
    step = store.thinning.step

    def counted():
        steps.append((b.now.t_ms, b.now.connected))
        return step()

    store.thinning.step = counted
    b.set(300, 0)
    b.run(8000)
    check.true(len(store.logs) < 4, "logs thinned")
    check.equal(len(set(steps)), len(steps), "a piece a tick")
    check.true(not any([connected for _, connected in steps]), "released")
    left = stored(b)
    by_seq = {recovery.seq_of(p): p for p in left}
    kept = [p for p in left if not p[pages.AT_FLAGS] & pages.FLAG_SUMMARY]
    sums = [p for p in left if p[pages.AT_FLAGS] & pages.FLAG_SUMMARY]
    check.equal(len(kept) + sum([get(p, pages.AT_STANDS_FOR, 4) for p in sums]),
                store.last_seq, "each page is there or stood for, once")
    for page in before:
        number = recovery.seq_of(page)
        if number in by_seq:
            check.equal(totals(by_seq[number]), totals(page), "totals")
    boots = [get(p, pages.AT_BOOT, 3) for p in sums]
    check.equal(boots, sorted(set(boots)), "one a boot")
    check.true(store.last_seq > seq, "and on it goes")
    b.set(6500, 500)
    b.run(8000)
    told = [e for p in stored(b) for e in events(p) if e[0] == "thinned"]
    check.true(("thinned", LOG) in told, "an event")
    c = again()
    check.equal(len(stored(c)), len(stored(b)), "the next boot finds the same")


def test_the_cap_is_kept_without_a_rest():
    b = board()
    fill(b, 4)
    store = b.loop.store
    b.set(6500, 500)
    b.run(6000)
    check.true(b.now.connected, "connected")
    store.most_files = 5
    journal = b.loop.journal
    most = 0
    for _ in range(2 * LOG):
        journal.event(pages.EV_HOST, 0, b.now.t_ms)
        journal.close(0)
        while journal.pending:
            b.tick()
        b.run(100)
        most = max(most, len(store.logs) + len(store.sums))
    check.equal((most, b.loop.tally.connections), (5, 1), "files, connected all the time")
    check.true(store.sums or store.open_sum, "thinned")


def test_no_room_for_more_summaries():
    b = board()
    store = b.loop.store
    store.most_files = 4
    store.sums.append([1, -1, 0, -1])
    store.sums.append([2, -1, LOG, -1])
    check.true(store.thinning.full(), "full")
    fill(b, 3)
    while store.thinning.step() is None:
        pass
    check.equal(len(store.logs), 2, "the log went")
    whole = store.open_sum
    check.equal(get(whole, pages.AT_STANDS_FOR, 4), LOG, "all in one")
    check.true(get(whole, pages.AT_FIRST_BOOT, 3) < get(whole, pages.AT_BOOT, 3), "boots together")
    b.run(100)
    check.equal(state(b)["fault"], pages.FAULT_JOURNAL, "told")
    store.sums.clear()
    while store.forget(store.last_seq):
        pass
    b.run(6000)
    check.equal(state(b)["fault"], 0, "until there is room")


class Full:
    """No room on the flash for one more file, until a log is removed."""

    def __init__(self, files):
        self.files = files

    def __call__(self, name, mode="r"):
        names = os.listdir(HERE + "/journal")
        logs = [n for n in names if n.endswith(".log")]
        if "a" in mode and len(logs) >= self.files and name.split("/")[-1] not in names:
            raise OSError(28)
        return open(name, mode)


def test_a_full_flash_thins_before_a_page_is_lost():
    b = board()
    b.loop.store.most_files = 20
    fill(b, 3)
    store = b.loop.store
    b.set(6500, 500)
    store_module.open = thinning_module.open = Full(3)
    try:
        b.run(120000)
    finally:
        del store_module.open
        del thinning_module.open
    check.equal((store.lost, store.failed), (0, False), "nothing lost")
    check.equal(len(store.logs), 3, "one log gone, one new")
    check.equal(len(store.sums), 0, "no file of summaries could be begun")
    check.true(get(store.open_sum, pages.AT_STANDS_FOR, 4) == LOG, "stood for")


def test_forgotten_when_asked():
    b = board()
    b.loop.store.most_files = 6
    fill(b, 5)
    store = b.loop.store
    while store.thinning.step() is None:
        pass
    last = store.last_seq
    first = store.first_seq

    def forget(number):
        kind, payload = ask(b, frames.ASK_FORGET + b" %d" % number)
        check.equal(kind, frames.WHO, "answered")
        return get(payload, 13, 4)

    check.equal(forget(first - 1), first, "nothing that the host has not")
    b.now.connected = True
    check.equal(forget(last), first, "not while connected")
    b.now.connected = False
    seen = [first]
    while True:
        now = forget(last)
        if now == seen[-1]:
            break
        seen.append(now)
    check.equal(len(seen) >= 5, True, "a file a question")
    check.equal((store.last_seq, len(store.logs)), (last, 1), "the newest stays")
    own = stored(b)
    check.equal(recovery.seq_of(own[0]), seen[-1], "first")
    c = again()
    check.equal((c.loop.store.first_seq, c.loop.store.last_seq), (seen[-1], last), "next boot")
    check.equal(c.loop.journal.seq, last + 2, "numbers go on")
    check.equal(ask(c, frames.ASK_FORGET + b" x")[0], frames.WRONG, "no number")
    check.equal(ask(c, frames.ASK_FORGET)[0], frames.WRONG, "none at all")


check.run(globals())
