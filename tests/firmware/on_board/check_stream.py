"""Page after page: what `:+` goes on from, and what is made ready for it."""

import check
import steadyturn_fw.store as store_module
import steadyturn_fw.thinning as thinning_module
from asking import Sent, Sink, ask, board, fill_logs, stored
from steadyturn_fw import frames, pages, recovery
from steadyturn_fw.reading import AHEAD

LOG = 40  # pages a file
store_module.LOG_PAGES = thinning_module.LOG_PAGES = LOG


def number(answer):
    return pages.get(answer[1], pages.AT_SEQ, 4)


def streamed(b, prepared):
    """Every page, by `:+`; prepared: each is made ready before it is asked for."""
    link = b.loop.link
    Sent(link, b"")
    found = []
    answer = ask(b, frames.ASK_PAGE + b" 0")
    while answer[0] == frames.PAGE:
        found.append(answer[1])
        if prepared:
            link.service(17)
            check.true(link.out.ready or link.out.tried, "ready")
        answer = ask(b, frames.ASK_NEXT)
    check.equal(answer, (frames.END, b""), "the end")
    return found


def test_all_pages_in_order_from_logs_tails_and_summaries():
    b = board()
    b.loop.store.most_files = 4
    fill_logs(b, 4, LOG)
    b.loop.store.thinning.step()
    while b.loop.store.thinning.wanted():
        b.loop.store.thinning.step()
    b.set(6500, 500)
    b.run(30000)
    whole = stored(b)
    check.true(len(b.loop.store.sums) or b.loop.store.open_sum, "summaries")
    check.true(b.loop.store.waiting, "tails")
    check.equal(len(streamed(b, False)), len(whole), "asked at once")
    check.equal(streamed(b, True), whole, "made ready")


def test_nothing_to_go_on_from_is_not_understood():
    b = board()
    check.equal(ask(b, frames.ASK_NEXT), (frames.WRONG, b":+"), "at first")
    b.set(6500, 500)
    b.run(12000)
    for line in (b":+ 1", b":++", b":+x"):
        check.equal(ask(b, line), (frames.WRONG, line), "no such question")
    check.equal(number(ask(b, frames.ASK_PAGE + b" 1")), 1, "a page")
    check.equal(number(ask(b, frames.ASK_NEXT)), 2, "goes on")
    check.equal(ask(b, frames.ASK_STATE)[0], frames.STATE, "other questions do not matter")
    Sent(b.loop.link, b"")
    b.loop.link.service(17)
    check.true(b.loop.link.out.ready, "made ready")
    check.equal(number(ask(b, frames.ASK_PAGE + b" 1")), 1, "nor what is ready")
    check.equal(number(ask(b, frames.ASK_NEXT)), 2, "goes on from there")
    ask(b, frames.ASK_FORGET + b" 0")
    check.equal(ask(b, frames.ASK_NEXT), (frames.WRONG, b":+"), "after giving up")


def test_the_end_is_asked_for_again():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    last = b.loop.store.last_seq
    check.equal(number(ask(b, frames.ASK_PAGE + b" %d" % last)), last, "the newest")
    Sent(b.loop.link, b"")
    b.loop.link.service(17)
    check.equal((b.loop.link.out.ready, ask(b, frames.ASK_NEXT)[0]), (False, frames.END), "none")
    ask(b, frames.ASK_FLUSH)
    check.equal(number(ask(b, frames.ASK_NEXT)), last + 1, "and now there is")


def test_damaged_pages_are_passed_over():
    b = board()
    fill_logs(b, 2, LOG)
    store = b.loop.store
    name = recovery.log_name(store.folder, store.logs[0][0])
    with open(name, "rb") as file:
        raw = bytearray(file.read())
    spoilt = (0, 3, 4, AHEAD - 1, AHEAD, 2 * AHEAD)
    for i in spoilt:
        raw[i * recovery.PAGE + 40] ^= 1
    for i in range(3 * AHEAD, 3 * AHEAD + AHEAD + 1):  # a whole block and more
        raw[i * recovery.PAGE + 40] ^= 1
    with open(name, "wb") as file:
        file.write(raw)
    left = len(stored(b))
    check.equal(left, 2 * LOG - len(spoilt) - AHEAD - 1, "the others")
    check.equal(streamed(b, True), stored(b), "the same one after the other")


def test_what_is_ready_goes_until_two_ms_before_the_tick():
    b = board()
    fill_logs(b, 1, LOG)
    link = b.loop.link
    ask(b, frames.ASK_PAGE + b" 1")
    sink = link.writer = Sink()
    sent = Sent(link, b":+\n:+\n:+\n")
    link.service(3)
    check.equal((sink.count, sent.at), (0, 3), "not ready: it waits")
    link.service(3)
    check.equal((sink.count, link.out.ready), (0, True), "made ready meanwhile")
    link.service(3)
    check.equal((sink.count, sent.at), (1, 3), "and sent")
    link.service(1)
    check.equal((sink.count, sent.at), (1, 6), "too close to the tick")
    link.service(17)
    check.equal((sink.count, sent.at), (2, 6), "after it")


def test_the_flash_is_read_with_time_only_and_eight_at_once():
    b = board()
    fill_logs(b, 1, LOG)
    link = b.loop.link
    ahead = b.loop.store.ahead
    for seq in range(1, AHEAD + 1):
        ask(b, frames.ASK_PAGE + b" %d" % seq)
        check.equal(ahead.count - ahead.at, AHEAD - seq, "left of those read")
    Sent(link, b"")
    link.service(4)
    check.equal(link.out.ready, False, "not now")
    link.service(5)
    check.equal((link.out.ready, ahead.count - ahead.at), (True, AHEAD - 1), "the next ones")


def test_a_look_four_times_a_millisecond_while_pages_go():
    import time

    b = board()
    b.set(6500, 500)
    b.run(12000)
    ask(b, frames.ASK_PAGE + b" 1")
    time.sleeps = 0
    b.loop.idle((time.now_us + 20000) & time.MASK)
    check.true(75 <= time.sleeps <= 80, "while they go")
    time.sleep_ms(60)
    time.sleeps = 0
    b.loop.idle((time.now_us + 20000) & time.MASK)
    check.equal(time.sleeps, 20, "and no longer")


check.run(globals())
