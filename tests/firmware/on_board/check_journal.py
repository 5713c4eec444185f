"""The journal in the running board: rest, fade, full flash, moves, the next boot."""

import check

from asking import again, ask, board, state, stored
from steadyturn_fw import frames, pages, recovery, writing


def test_at_rest_the_journal_waits():
    b = board()
    b.set(300, 0)
    b.run(60000)
    first = b.loop.store.last_seq
    b.run(60000)
    check.true(b.loop.store.last_seq - first <= 1, "no page a minute")
    b.set(6000, 300)
    b.run(10000)
    check.true(b.loop.store.last_seq - first >= 2, "until the handle moves")
    page = stored(b)[-1]
    check.near(pages.get(page, pages.AT_T0, 4), b.now.t_ms - 6000, 5000, "with its own time")


class Stubborn:
    """A store whose flash refuses: `left` writes more."""

    def __init__(self, number):
        self.number = number

    def __call__(self, name, mode="r"):
        if "w" in mode or "a" in mode:
            raise OSError(self.number)
        return open(name, mode)


def test_flash_that_refuses():
    import steadyturn_fw.store as module

    for number, name in ((28, "full"), (5, "broken")):
        b = board()
        b.set(6500, 500)
        b.run(20000)
        good = b.loop.store.last_seq
        logs = len(b.loop.store.logs)
        module.open = Stubborn(number)
        try:
            b.run(60000)
            now = state(b)
            check.equal((now["fault"], now["connected"]), (pages.FAULT_JOURNAL, 1), name)
            check.equal(b.loop.store.last_seq, good, "nothing stored")
            check.true(b.loop.store.lost >= 10, "counted")
            check.equal(len(b.loop.store.logs), logs, "no stored page given up")
            b.loop.writing.flush()
        finally:
            del module.open
        b.run(20000)
        check.true(b.loop.store.last_seq > good, name + ", and then it goes on")
        check.equal(state(b)["fault"], 0, "the fault has ended")
        seqs = [pages.get(p, pages.AT_SEQ, 4) for p in stored(b)]
        check.true(good in seqs and b.loop.store.last_seq in seqs, "what was stored is there")
        check.equal(seqs, sorted(set(seqs)), "once, in order")


def test_move_of_pages_is_done_in_pieces():
    b = board()
    b.set(6500, 500)
    b.run(5000)
    store = b.loop.store
    steps = []
    step = store._step

    def counted():
        steps.append(b.now.t_ms)
        return step()

    store._step = counted
    while store.waiting < recovery.TAILS:
        b.run(20)
    steps.clear()
    b.run(6000)
    check.equal(len(steps), recovery.TAILS + 1, "the pages and a close")
    check.equal(len(set(steps)), len(steps), "each in a tick of its own")
    seqs = [pages.get(p, pages.AT_SEQ, 4) for p in stored(b)]
    check.equal(seqs, list(range(1, store.last_seq + 1)), "all there")


def test_next_boot_goes_on():
    b = board()
    b.set(6500, 500)
    b.run(20000)
    b.loop.writing.flush()
    total = b.loop.tally.energy_in.total.units()
    seq = b.loop.store.last_seq
    c = again()
    now = state(c)
    check.equal((now["boot"], now["energy_in_uj"], now["last_seq"]), (2, total, seq), "goes on")
    who = ask(c, frames.ASK_WHO)[1]
    check.equal(pages.get(who, 17, 4), seq, "last page")
    check.equal(who[29:].decode(), "0.1.0", "version")


def test_fade_saves_and_forbid_does_not_write():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    check.equal(b.now.connected, True, "connected")
    seq = b.loop.store.last_seq
    b.supply(3900)
    b.tick()
    check.equal(b.now.connected, False, "released")
    check.equal(b.loop.store.last_seq, seq + 1, "saved at once")
    page = stored(b)[-1]
    check.equal(page[pages.AT_FLAGS] & pages.FLAG_FADING, pages.FLAG_FADING, "and why")
    b.supply(3000)
    b.run(20000)
    check.equal(b.loop.store.last_seq, seq + 1, "nothing below forbid_mv")


def test_fade_with_full_tails_is_one_small_write():
    fade_with_full_tails(0)


def test_fade_while_pages_are_moved_is_one_small_write():
    fade_with_full_tails(5)


def fade_with_full_tails(under_way):
    import steadyturn_fw.store as module

    b = board()
    b.set(6500, 500)
    b.run(5000)
    store = b.loop.store
    while store.waiting < recovery.TAILS:
        b.run(20)
    for _ in range(under_way):
        b.tick()
    check.equal(store.moving > 0, under_way > 0, "a move")
    seq = store.last_seq
    opened = []

    def watched(name, mode="r"):
        opened.append(name)
        return open(name, mode)

    module.open = watched
    try:
        b.supply(3900)
        b.tick()
    finally:
        del module.open
    check.equal(opened, [recovery.tail_name(store.folder, recovery.SPARE)], "the spare tail")
    check.equal(store.last_seq, seq + 1, "saved at once")
    if under_way:
        # the supply came back: the move goes on, and the spare tail's page is not forgotten
        b.supply(4800)
        b.run(6000)
        seqs = [pages.get(p, pages.AT_SEQ, 4) for p in stored(b)]
        check.equal(seqs, list(range(1, store.last_seq + 1)), "all there, once")
    c = again()
    c.supply(4800)
    c.set(6500, 500)
    c.run(8000)
    seqs = [pages.get(p, pages.AT_SEQ, 4) for p in stored(c)]
    check.equal(seqs, list(range(1, c.loop.store.last_seq + 1)), "all there, once")
    check.true(len(seqs) > seq + 1, "and on it goes")


def test_without_a_hardware_cut_nothing_is_stored_while_connected():
    b = board(hardware_cut=0)
    b.set(6500, 500)
    b.run(5000)
    store = b.loop.store
    write = store.write
    connected = []

    def watched(page, hurry=False):
        connected.append(b.now.connected)
        return write(page, hurry)

    store.write = watched
    whole = writing.BLIND_MS
    writing.BLIND_MS = 30000
    b.run(70000)
    writing.BLIND_MS = whole
    check.true(len(connected) >= 2, "pages were stored")
    check.equal(set(connected), {False}, "never with the load connected")
    b = board()
    b.set(6500, 500)
    b.run(70000)
    check.equal(b.loop.tally.connections, 1, "with one it stays")


check.run(globals())
