"""A page on its way to a host, in its frame.

The next one is made ready while the host takes the one before: that is most of what an answer
costs, and it need not wait for the question.
"""

from binascii import crc32

from steadyturn_fw import frames, pages
from steadyturn_fw.recovery import seq_of

END = frames.HEAD_BYTES + pages.PAGE_BYTES


class Outgoing:
    def __init__(self, source):
        """`source` copies pages: an answers.Answers."""
        self.source = source
        frame = bytearray(END + frames.CRC_BYTES)
        frame[0] = frames.START_0
        frame[1] = frames.START_1
        frame[2] = frames.PAGE
        frame[3] = pages.PAGE_BYTES
        self.frame = memoryview(frame)
        self.body = self.frame[2:END]
        self.page = self.frame[frames.HEAD_BYTES : END]
        self.next = -1  # the number after the page sent last, -1: none was sent
        self.ready = False  # the frame has what comes next
        self.tried = False  # and was to have it, but there was none

    def make(self, seq):
        """Fill the frame with the first page numbered `seq` or later; False: there is none."""
        if self.ready and seq == self.next:
            return True
        self.ready = False
        if not self.source.copy_page(seq, self.page):
            return False
        pages.put(self.frame, END, 4, crc32(self.body))
        return True

    def sent(self):
        self.next = seq_of(self.page) + 1
        self.ready = False
        self.tried = False

    def wants(self):
        """Is there something to be made ready?"""
        return self.next >= 0 and not self.ready and not self.tried

    def prepare(self):
        self.ready = self.make(self.next)
        self.tried = True

    def forget(self):
        """What was read may be there no longer."""
        self.next = -1
        self.ready = False
