"""A whole board, and what its link says."""

import os

import bench
import check

from steadyturn_fw import frames, pages, recovery

HERE = "board"


def board(**changed):
    bench.clear(HERE)
    os.mkdir(HERE)
    return bench.Bench(HERE, **changed)


def again(**changed):
    """The next boot of the same board."""
    return bench.Bench(HERE, **changed)


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


class Sent:
    """What a host has sent, where stdin would be."""

    def __init__(self, link, data):
        self.data = data
        self.at = 0
        link.reader = self
        link._waiting = lambda: self.at < len(self.data)

    def readinto(self, one):
        one[0] = self.data[self.at]
        self.at += 1
        return 1


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


def fill_logs(b, files, log, boots=4):
    """Pages until so many logs are full; some boots a log, as if the power had gone."""
    journal = b.loop.journal
    store = b.loop.store
    every = log // boots + 1
    b.run(20)  # the boot's own page
    while not (len(store.logs) == files and store.logs[-1][2] == log):
        journal.event(pages.EV_RELEASED, pages.WHY_LOW_BUS, 0)
        for i in range(4):
            pages.put_sample(journal.page, i, 1500, 200, 100 + i, 1, 1, pages.HOLD, 1, 0)
        journal.index = 4
        b.loop.tally.on += 4
        b.loop.tally.energy_in.total.add(2500000)
        journal.close(0, True)
        if journal.seq % every == 0:
            journal.boot += 1
        while journal.pending:
            b.loop.writing._write()
        while store.waiting >= recovery.TAILS and store.tidy() is None:
            pass


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
