"""The link: answers the host's questions inside the loop. link.md has the protocol.

Everything that arrives is taken in at every tick, because on a full input ring
a board no longer sees Ctrl-C. Only a line that starts with ":" is answered, and
only one answer is under way at a time, so the answer always fits the USB buffer
of a host that reads.
"""

import select
import sys
from binascii import crc32
from time import ticks_diff, ticks_ms

from steadyturn_fw import VERSION, frames, pages
from steadyturn_fw.outgoing import Outgoing

NEWLINE = 10
COLON = 58
SPACE = 32
ACTIVE_MS = 1000  # after a question the next one is looked for every millisecond this long,
LOOK_US = 1000
STREAM_MS = 50  # and after a page this long
STREAM_US = 250  # more often: the host goes on within a millisecond
SLOW_MS = 100  # an answer that took longer met a host that does not read
QUIET_MS = 2000  # then nothing is answered for this long, and twice as long each further time
MOST_QUIET_MS = 64000
MOST_SLOWS = 5
MOST_BYTES = 192  # taken in at one call,
BYTES_MS = 12  # and of these no more than so many for each millisecond that is left
ANSWER_MS = 7  # with less left before the next tick a question waits: budget.md has the answers'
SEND_MS = 2  # times; this for a page that is ready and for making one ready,
READ_MS = 5  # where it has to be read from the flash this


class Link:
    def __init__(self, source):
        """`source` gives the numbers: an answers.Answers."""
        self.source = source
        self.reader = sys.stdin.buffer
        self.writer = sys.stdout.buffer
        self.poll = select.poll()
        self.poll.register(sys.stdin, select.POLLIN)
        self.byte = bytearray(1)
        self.line = bytearray(frames.LINE_MAX)
        self.length = 0
        self.spoilt = False
        self.frame = bytearray(frames.FRAME_MAX)
        self.state_view = memoryview(self.frame)[
            : frames.HEAD_BYTES + frames.STATE_BYTES + frames.CRC_BYTES
        ]
        self.out = Outgoing(source)
        self.crc = pages.Crc()
        self.asked = False  # a question was seen since boot
        self.asked_ms = ticks_ms()
        self.slow = False
        self.slow_ms = ticks_ms()
        self.quiet_ms = QUIET_MS
        self.slows = 0  # such answers in a row
        self.left_ms = ANSWER_MS  # until the next tick
        self.look_us = LOOK_US
        self.held = False  # a whole question waits for its answer
        self.done = False  # one was answered in this call
        self.allocated = False  # an answer was made that left rubbish on the heap

    def active(self):
        if self.asked:
            since = ticks_diff(ticks_ms(), self.asked_ms)
            self.asked = since <= ACTIVE_MS
            self.look_us = STREAM_US if self.out.next >= 0 and since < STREAM_MS else LOOK_US
        return self.asked

    def service(self, left_ms=ANSWER_MS):
        """Take in what has arrived and answer a question that is complete, in time for the next
        tick, which is left_ms away."""
        self.left_ms = left_ms
        if self.held:
            if self._in_time():
                self._answer()
                self._next_line()
            else:
                self._prepare()
            return
        self.done = False
        left = min(MOST_BYTES, left_ms * BYTES_MS)
        while left and self._waiting():
            left -= 1
            if self.reader.readinto(self.byte) != 1:
                return
            self._take(self.byte[0])
            if self.held or self.done:
                return
        self._prepare()

    def _in_time(self):
        """Will the answer be out before the next tick?"""
        left_ms = self.left_ms
        return left_ms >= ANSWER_MS or (
            left_ms >= SEND_MS and self.out.ready and self._is(frames.ASK_NEXT)
        )

    def _prepare(self):
        """The page that a host will ask for next, if there is time for it."""
        out = self.out
        if out.wants() and self.left_ms >= (
            SEND_MS if self.source.page_at_hand(out.next) else READ_MS
        ):
            self.allocated = True
            out.prepare()

    def _waiting(self):
        for _ in self.poll.ipoll(0):
            return True
        return False

    def _take(self, byte):
        if byte == NEWLINE:
            if self.length and not self.spoilt and self.line[0] == COLON:
                if not self._in_time():
                    self.held = True
                    return
                self._answer()
            self._next_line()
        elif byte == 13:
            pass  # terminals add it
        elif byte < 32 or byte > 126:
            self.spoilt = True
        elif self.length == frames.LINE_MAX:
            self.spoilt = True
        else:
            self.line[self.length] = byte
            self.length += 1

    def _next_line(self):
        self.length = 0
        self.spoilt = False
        self.held = False

    # ---- questions

    def _is(self, word):
        size = len(word)
        if self.length < size or (self.length > size and self.line[size] != SPACE):
            return False
        i = 0
        while i < size:
            if self.line[i] != word[i]:
                return False
            i += 1
        return True

    def _number(self, after):
        """The decimal number after the word; -1: none or no such number can be meant."""
        at = after + 1
        if at >= self.length or self.length - at > 10:
            return -1
        value = 0
        while at < self.length:
            digit = self.line[at] - 48
            if not 0 <= digit <= 9 or value > 107374181:
                return -1
            value = value * 10 + digit
            at += 1
        return value

    def _answer(self):
        self.done = True
        now = ticks_ms()
        if self.slow:
            if ticks_diff(now, self.slow_ms) < self.quiet_ms:
                return
            self.slow = False
        self.source.host_seen()
        self.asked = True
        self.asked_ms = now
        bare = True
        i = 0
        while i < self.length:
            if self.line[i] == SPACE:
                bare = False
            i += 1
        if bare and self._is(frames.ASK_STATE):
            self._state()
        elif not bare and self._is(frames.ASK_PAGE):
            self._page(self._number(len(frames.ASK_PAGE)))
        elif bare and self._is(frames.ASK_NEXT):
            self._page(self.out.next)
        elif bare and self._is(frames.ASK_WHO):
            self._who()
        elif bare and self._is(frames.ASK_NOW):
            self.source.fill_now(self.frame, frames.HEAD_BYTES)
            self._send(frames.NOW, frames.NOW_BYTES)
        elif not bare and self._is(frames.ASK_SETTINGS):
            self._settings(self._number(len(frames.ASK_SETTINGS)))
        elif bare and self._is(frames.ASK_FLUSH):
            self.allocated = True
            self.source.flush_asked()
            self._state()
        elif bare and self._is(frames.ASK_RELEASE):
            self.source.release_asked()
            self._state()
        elif not bare and self._is(frames.ASK_FORGET):
            self._forget(self._number(len(frames.ASK_FORGET)))
        elif self._of_a_bench():
            self._bench()
        else:
            self._wrong()
        if ticks_diff(ticks_ms(), self.asked_ms) > SLOW_MS:
            self.slow = True
            self.slow_ms = ticks_ms()
            self.quiet_ms = min(QUIET_MS << self.slows, MOST_QUIET_MS)
            self.slows = min(self.slows + 1, MOST_SLOWS)
        else:
            self.slows = 0

    # ---- answers

    def _head(self, kind, size):
        frame = self.frame
        frame[0] = frames.START_0
        frame[1] = frames.START_1
        frame[2] = kind
        frame[3] = size

    def _send(self, kind, size):
        self._head(kind, size)
        self.allocated = True  # views and CRC
        self._close(memoryview(self.frame), frames.HEAD_BYTES + size)

    def _close(self, view, end):
        crc = crc32(view[2:end])
        pages.put(view, end, frames.CRC_BYTES, crc)
        self.writer.write(view[: end + frames.CRC_BYTES])

    def _state(self):
        """Asked ten times a second: nothing is allocated."""
        self.source.fill_state(self.frame, frames.HEAD_BYTES)
        self._head(frames.STATE, frames.STATE_BYTES)
        end = frames.HEAD_BYTES + frames.STATE_BYTES
        self.crc.reset()
        self.crc.feed(self.frame, 2, end)
        self.crc.store(self.frame, end)
        self.writer.write(self.state_view)

    def _who(self):
        frame = self.frame
        at = frames.HEAD_BYTES
        self.source.fill_who(frame, at)
        name = VERSION.encode()
        at += frames.WHO_FIXED_BYTES
        for byte in name:
            frame[at] = byte
            at += 1
        self._send(frames.WHO, at - frames.HEAD_BYTES)

    def _settings(self, offset):
        body = self.source.settings_body()
        if not 0 <= offset <= len(body):
            self._wrong()
            return
        frame = self.frame
        at = frames.HEAD_BYTES
        pages.put(frame, at, 2, offset)
        pages.put(frame, at + 2, 2, len(body))
        at += 4
        size = min(len(body) - offset, frames.PAYLOAD_MAX - 4)
        frame[at : at + size] = body[offset : offset + size]
        self._send(frames.SETTINGS, at + size - frames.HEAD_BYTES)

    def _page(self, seq):
        if seq < 0:
            self._wrong()
            return
        self.allocated = True
        if self.out.make(seq):
            self.writer.write(self.out.frame)
            self.out.sent()
        else:
            self._send(frames.END, 0)

    def _forget(self, seq):
        if seq < 0:
            self._wrong()
            return
        self.allocated = True
        self.out.forget()
        self.source.forget_asked(seq)
        self._who()

    def _of_a_bench(self):
        return self._is(frames.ASK_BENCH) or self._is(frames.ASK_STEP) or self._is(
            frames.ASK_SAMPLES)

    def _bench(self):
        """Nothing of it takes any memory before somebody asks."""
        from steadyturn_fw import bench_answers

        size = bench_answers.answer(self.source.loop, self.line, self.length, self.frame)
        # loading it, or a step, took its time: the host is none the slower for that
        self.asked_ms = ticks_ms()
        if size < 0:
            self._wrong()
        else:
            self._send(bench_answers.kind, size)

    def _wrong(self):
        size = min(self.length, 32)
        i = 0
        while i < size:
            self.frame[frames.HEAD_BYTES + i] = self.line[i]
            i += 1
        self._send(frames.WRONG, size)
