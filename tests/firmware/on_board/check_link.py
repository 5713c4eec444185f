"""The link: what is answered, with what, and what never is."""

import check
import micropython
import time

from asking import HERE, Sent, Sink, ask, board, state
from steadyturn_fw import frames, pages


def test_no_allocation_while_the_state_is_asked():
    b = board()
    b.set(6500, 500)
    b.run(3000)
    state(b)
    link = b.loop.link
    link.writer = Sink()
    question = frames.ASK_STATE + b"\n"
    take = link._take
    micropython.heap_lock()
    try:
        for _ in range(100):
            for byte in question:
                take(byte)
    finally:
        micropython.heap_unlock()
    check.equal(link.writer.count, 100, "answers")


def test_release_and_flush_when_asked():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    seq = b.loop.store.last_seq
    kind, _ = ask(b, frames.ASK_FLUSH)
    check.equal((kind, b.loop.store.last_seq), (frames.STATE, seq + 1), "flushed")
    ask(b, frames.ASK_RELEASE)
    check.equal(b.now.connected, False, "released")
    b.run(60000)
    check.equal(b.now.connected, False, "until the next boot")


def test_the_readings_alone_keep_their_signs():
    b = board()

    def readings():
        kind, payload = ask(b, frames.ASK_NOW)
        check.equal((kind, len(payload)), (frames.NOW, frames.NOW_BYTES), "readings")
        found = {name: pages.get(payload, at, size) for name, at, size in frames.NOW_FIELDS}
        for name in ("bus_ma", "out_ma"):
            found[name] -= found[name] >> 31 << 32
        return found

    b.set(6500, -7)
    b.run(100)
    now = readings()
    check.equal((now["bus_mv"], now["bus_ma"]), (6500, -7), "signed")
    check.equal(now["t_ms"], b.now.t_ms, "of the last tick")
    check.equal(now["known"], frames.NOW_VOLTS | frames.NOW_AMPS, "known")
    b.chip.dead = True
    b.run(400)
    check.equal(readings()["known"] & frames.NOW_AMPS, 0, "no sensor, no current")
    check.equal(ask(b, b":now 1"), (frames.WRONG, b":now 1"), "nothing may follow")


def test_settings_come_back_as_they_are():
    b = board()
    whole = b""
    while True:
        kind, payload = ask(b, frames.ASK_SETTINGS + b" %d" % len(whole))
        check.equal((kind, pages.get(payload, 0, 2)), (frames.SETTINGS, len(whole)), "offset")
        whole += payload[4:]
        if len(whole) == pages.get(payload, 2, 2):
            break
    with open(HERE + "/settings.json", "rb") as file:
        check.equal(whole, file.read(), "the file")


def test_garbage_on_the_link():
    b = board()
    for line in (b"", b"hello", b"\x02", b"\r\x01", b"\xff" * 200, b":" + b"x" * 100,
                 b":state\x00", b"import os"):
        check.equal(ask(b, line), None, "never answered")
    for line in (b":", b":states", b":state 1", b":page", b":page x", b":page -1", b":page 1 2",
                 b":page 99999999999", b":settings 99999", b":who are you"):
        kind, payload = ask(b, line)
        check.equal((kind, payload), (frames.WRONG, line[:32]), "not understood")
    check.equal(ask(b, b":state\r")[0], frames.STATE, "a terminal's line end")
    seed = 1
    for _ in range(3000):
        seed = seed * 1103515245 + 12345 & 0x3FFFFFFF
        b.loop.link._take(seed >> 10 & 0xFF)
    b.loop.link._take(10)
    check.equal(state(b)["settings_ok"], 1, "still there")


def test_a_host_that_does_not_read():
    b = board()

    class Slow(Sink):
        def write(self, data):
            Sink.write(self, data)
            time.sleep_ms(500)

    slow = b.loop.link.writer = Slow()
    for _ in range(20):
        for byte in b":state\n":
            b.loop.link._take(byte)
    check.equal(slow.count, 1, "one answer, then silence")
    time.sleep_ms(2100)
    check.equal(state(b)["late_ticks"], 0, "until it had time")


def test_idle_is_one_sleep_without_questions():
    b = board()
    time.sleeps = 0
    b.loop.idle((time.now_us + 20000) & time.MASK)
    check.equal(time.sleeps, 1, "one")
    ask(b, frames.ASK_STATE)
    time.sleeps = 0
    b.loop.idle((time.now_us + 20000) & time.MASK)
    check.equal(time.sleeps, 20, "a look every millisecond")


def test_a_question_close_before_a_tick_waits():
    b = board()
    link = b.loop.link
    sink = link.writer = Sink()
    sent = Sent(link, b":state\n:state\n:state\n")
    link.service(3)
    check.equal((sink.count, sent.at), (0, 7), "taken in, not answered")
    link.service(3)
    check.equal((sink.count, sent.at), (0, 7), "nor is more taken in")
    link.service(17)
    check.equal((sink.count, sent.at), (1, 7), "answered after the tick")
    link.service(17)
    check.equal((sink.count, sent.at), (2, 14), "one at a time")
    link.service(17)
    check.equal((sink.count, sent.at), (3, 21), "each")


def test_no_more_is_taken_in_than_there_is_time_for():
    b = board()
    link = b.loop.link
    for left in (1, 5, 10, 16, 17):
        sent = Sent(link, b"x" * 500)
        link.service(left)
        check.equal(sent.at, min(192, 12 * left), "bytes")


def test_a_host_that_does_not_read_costs_less_and_less():
    b = board()
    link = b.loop.link

    class Stuck:
        count = 0

        def write(self, data):
            self.count += 1
            time.sleep_ms(500)

    stuck = link.writer = Stuck()
    held = []
    for _ in range(120000 // 20):
        before = stuck.count
        for byte in b":state\n":
            link._take(byte)
        if stuck.count > before:
            held.append(time.ticks_ms())
        time.sleep_ms(20)
    gaps = [b_ - a for a, b_ in zip(held, held[1:])]
    check.equal([round(gap / 1000) for gap in gaps[:5]], [2, 4, 8, 16, 32], "seconds")
    link.writer = Sink()
    time.sleep_ms(70000)
    check.true(ask(b, frames.ASK_STATE), "and a host that reads is answered")
    check.equal(link.slows, 0, "all forgotten")


check.run(globals())
