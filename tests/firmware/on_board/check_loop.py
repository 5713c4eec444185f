"""The whole program, tick by tick: memory, a session, faults, the journal, the link."""

import bench
import check
import machine
import micropython
import sys
import time

from steadyturn_fw import frames, pages

HERE = "board"
FAST = sys.maxsize > 1 << 40


def board(**changed):
    import os

    bench.clear(HERE)
    os.mkdir(HERE)
    return bench.Bench(HERE, **changed)


def again(**changed):
    """The next boot of the same board."""
    return bench.Bench(HERE, **changed)


def locked(b, ticks):
    """Ticks with the heap locked; what would have been written waits outside."""
    step = time.sleep_ms
    tick = b.loop.tick
    micropython.heap_lock()
    try:
        for _ in range(ticks):
            step(20)
            tick()
    finally:
        micropython.heap_unlock()


STATES = (
    ("rest", 300, 0, 0), ("faster", 4000, 0, pages.FASTER), ("open", 7500, 0, pages.HOLD),
    ("hold", 6500, 500, pages.HOLD), ("slower", 8800, 600, pages.SLOWER),
    ("stop", 12500, 0, pages.STOP),
)


def test_no_allocation_in_1000_ticks_of_each_state():
    for chip, name in ((bench.Ina226(), "ina226"), (bench.Ina219(), "ina219")):
        b = board(part=chip, chip=name)
        machine.recording = False
        for what, mv, ma, cue in STATES:
            b.set(mv, ma)
            b.run(3000)
            check.equal(b.now.cue, cue, what)
            # 1,000 each; of the slow build 1,000 in hold and 200 in the others
            for _ in range(10 if FAST or what == "hold" else 2):
                locked(b, 100)  # 2 s; a page closes in every third of them
                b.loop.work()


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


class Sink:
    """Where answers go."""

    def __init__(self):
        self.count = 0
        self.size = 0
        self.last = bytearray(frames.FRAME_MAX)

    def write(self, data):
        self.count += 1
        self.size = len(data)
        for i in range(len(data)):
            self.last[i] = data[i]


def ask(b, question):
    """The frame that comes back: (kind, payload), or None."""
    sink = b.loop.link.writer = Sink()
    for byte in question + b"\n":
        b.loop.link._take(byte)
    if not sink.count:
        return None
    check.equal(sink.count, 1, "one answer")
    frame = bytes(sink.last[: sink.size])
    check.equal(frame[:2], bytes((frames.START_0, frames.START_1)), "start")
    check.equal(frame[3], len(frame) - frames.HEAD_BYTES - frames.CRC_BYTES, "length")
    crc = pages.Crc()
    crc.feed(frame, 2, len(frame) - 4)
    check.true(crc.matches(frame, len(frame) - 4), "CRC")
    return frame[2], frame[4:-4]


def state(b):
    kind, payload = ask(b, frames.ASK_STATE)
    check.equal((kind, len(payload)), (frames.STATE, frames.STATE_BYTES), "state")
    return {name: pages.get(payload, at, size) for name, at, size in frames.STATE_FIELDS}


def stored(b):
    """Every page the board gives, in order."""
    found = []
    seq = 0
    while True:
        kind, payload = ask(b, frames.ASK_PAGE + b" %d" % seq)
        if kind == frames.END:
            return found
        check.equal(kind, frames.PAGE, "page")
        seq = pages.get(payload, pages.AT_SEQ, 4) + 1
        found.append(payload)


def events(page):
    found = []
    for i in range(page[pages.AT_N_EVENTS]):
        at = pages.AT_EVENTS + 5 * i
        found.append((pages.EVENT_NAMES[page[at]], pages.get(page, at + 3, 2)))
    return found


def test_a_session():
    b = board()
    b.set(4000, 0)
    b.run(3000)
    check.equal((b.now.cue, b.now.connected), (pages.FASTER, False), "slow")
    b.set(7500, 0)
    b.run(2000)
    check.equal((b.now.cue, b.now.connected), (pages.HOLD, True), "connected")
    before = state(b)
    b.set(6500, 500)
    b.run(60000)
    now = state(b)
    check.near(now["energy_in_uj"] - before["energy_in_uj"], 195000000, 195000, "3.25 W, 60 s")
    check.near(now["turns_m"] - before["turns_m"], 69300, 700, "69 turns")
    check.near(now["connected_samples"] - before["connected_samples"], 300, 2, "connected")
    check.near(now["band_samples"] - before["band_samples"], 300, 2, "in band")
    check.equal(now["connections"], 1, "connections")
    check.equal((now["connected"], now["why"], now["fault"]), (1, 0, 0), "flags")
    check.equal((now["bus_mv"], now["settings_ok"]), (6500, 1), "readings")
    b.set(300, 0)
    b.run(5000)
    check.equal((b.now.cue, b.now.connected), (pages.REST, False), "let go")
    found = stored(b)
    check.equal([pages.get(p, pages.AT_SEQ, 4) for p in found], list(range(1, len(found) + 1)),
                "all pages, in order, once")
    check.equal(events(found[0])[0][0], "boot", "the first says boot")
    names = [name for page in found for name, _ in events(page)]
    check.true("connected" in names and "released" in names, "what happened")


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


def test_next_boot_goes_on():
    b = board()
    b.set(6500, 500)
    b.run(20000)
    b.loop.flush()
    total = b.loop.tally.energy_in.total.units()
    seq = b.loop.store.last_seq
    c = again()
    now = state(c)
    check.equal((now["boot"], now["energy_in_uj"], now["last_seq"]), (2, total, seq), "goes on")
    who = ask(c, frames.ASK_WHO)[1]
    check.equal(pages.get(who, 17, 4), seq, "last page")
    check.equal(who[29:].decode(), "0.1.0", "version")


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
            b.loop.flush()
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
    while store.waiting < 7:
        b.run(20)
    steps.clear()
    b.run(6000)
    check.equal(len(steps), 9, "eight pages and a close")
    check.equal(len(set(steps)), 9, "each in a tick of its own")
    seqs = [pages.get(p, pages.AT_SEQ, 4) for p in stored(b)]
    check.equal(seqs, list(range(1, store.last_seq + 1)), "all there")


def test_bad_settings():
    b = board(low_dtpm=1)
    check.equal(b.loaded.settings, None, "refused")
    machine.lamp.clear()
    b.run(20000)
    check.equal(b.now.cue, pages.FAULT, "cue")
    lit = [b_[0] - a[0] for a, b_ in zip(machine.lamp, machine.lamp[1:]) if a[1]]
    check.equal(set(lit), {600}, "the lamp counts: one long flash")
    check.equal([edge for edge in machine.edges if edge[1] == 16], [], "no pin of a load switch")
    now = state(b)
    check.equal((now["settings_ok"], now["fault"], now["settings_crc"]), (0, 1, 0), "state")
    check.equal(pages.REASONS[now["why"]], "settings_bad", "why")
    check.equal(ask(b, frames.ASK_SETTINGS + b" 0")[1], bytes(4), "none in force")
    check.true(("fault", 1) in events(stored(b)[0]), "an entry")


def test_pins_that_the_board_lacks():
    whole = machine.Pin.__init__

    def strict(self, number, mode=-1, pull=-1, value=None):
        if number > 29:
            raise ValueError("invalid pin")
        whole(self, number, mode, pull, value)

    machine.Pin.__init__ = strict
    try:
        b = board(switch_pin=40)
        check.equal(b.loaded.problems, ["pins"], "problem")
        check.equal(state(b)["settings_ok"], 0, "refused")
    finally:
        machine.Pin.__init__ = whole


def test_over_voltage_is_stored_and_shown():
    b = board()
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(10000)
    machine.edges.clear()
    b.set(13000, 900)
    b.tick()
    check.equal((b.now.connected, b.now.cue), (False, pages.STOP), "in the same tick")
    check.equal(machine.edges, [], "no edge any more")
    b.run(5000)
    names = [pair for page in stored(b) for pair in events(page)]
    check.true(("released", pages.WHY_OVER_VOLTAGE) in names, "why")
    check.true(("fault", pages.FAULT_OVER_VOLTAGE) in names, "fault")
    c = again()  # the power went with it
    c.set(4000, 0)
    machine.lamp.clear()
    c.run(5000)
    lit = [b_[0] - a[0] for a, b_ in zip(machine.lamp, machine.lamp[1:]) if a[1]]
    check.equal(lit[:3], [600, 600, 600], "three long flashes before any cue")


def test_sensor_lost_goes_on_by_volts():
    b = board()
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(2000)
    b.chip.dead = True
    b.run(5000)
    now = state(b)
    check.equal((now["connected"], now["fault"]), (1, pages.FAULT_SENSOR), "still charging")
    check.equal(pages.VALIDITY[now["validity"]], "volts_only", "said so")
    check.true(now["sensor_errors"] >= 5, "counted")
    b.chip.dead = False
    b.run(12000)
    now = state(b)
    check.equal((now["connected"], now["fault"], now["validity"]), (1, 0, 0), "healed")


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


def test_stall():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    before = b.loop.tally.energy_in.total.units()
    b.tick(400)
    check.equal(b.now.connected, False, "the hardware has let go: so has the program")
    added = b.loop.tally.energy_in.total.units() - before
    check.near(added, 650000, 1000, "0.2 s of it is counted, no more")
    b.run(10000)
    names = [pair for page in stored(b) for pair in events(page)]
    check.true(("gap", 400) in names, "an entry")
    check.equal(b.now.connected, True, "connected again")


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


def test_stop_by_ctrl_c():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    seq = b.loop.store.last_seq
    b.loop.stop()
    check.equal((b.loop.switch.connected, b.loop.store.last_seq), (False, seq + 1), "saved")
    check.equal(machine.lamp[-1][1], 0, "dark")
    check.true(("host", 2) in events(stored(b)[-1]), "why")


def test_program_fault_is_stored():
    b = board()
    b.set(6500, 500)
    b.run(6000)
    b.loop.stop(pages.FAULT_PROGRAM)
    check.true(("fault", pages.FAULT_PROGRAM) in events(stored(b)[-1]), "an entry")
    c = again()
    check.equal(c.loop.lamp.stored, pages.FAULT_PROGRAM, "shown at the next boot")


def test_idle_is_one_sleep_without_questions():
    b = board()
    time.sleeps = 0
    b.loop.idle((time.now_us + 20000) & time.MASK)
    check.equal(time.sleeps, 1, "one")
    ask(b, frames.ASK_STATE)
    time.sleeps = 0
    b.loop.idle((time.now_us + 20000) & time.MASK)
    check.equal(time.sleeps, 20, "a look every millisecond")


check.run(globals())
