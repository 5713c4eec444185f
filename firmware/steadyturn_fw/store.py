"""Pages on flash: where each goes, how they are found again, what a full flash does.

A page is first written into one of ten tail files, each alone in its directory,
where littlefs keeps it inside the directory's own block: no erase in fourteen of
fifteen. When the ten are full they go to the newest log file in one append, if it has
not been done before with the next page. Whatever moment the power goes, a page that was stored
is in a tail or in a log; one that is in both has the same number twice and counts
once. When the logs have taken their share of the flash, the oldest is thinned to
summaries (thinning.py). All of this allocates and none of it is for a steady tick.
"""

import os

from steadyturn_fw.pages import PAGE_BYTES as PAGE
from steadyturn_fw.reading import Ahead, after, copy
from steadyturn_fw.recovery import (
    ENOSPC,
    LEAST_FILES,
    LOG_PAGES,
    SPARE,
    TAILS,
    log_name,
    make_folders,
    open_sum_name,
    recover,
    sum_name,
    tail_name,
)
from steadyturn_fw.recovery import seq_of as _seq
from steadyturn_fw.thinning import Thinning

FOLDER = "/journal"


class Store:
    def __init__(self, folder=""):
        self.folder = folder or FOLDER
        self.format_id = b"\0\0\0\0"
        # waiting pages, then the one that is moved with them
        self.block = bytearray((TAILS + 2) * PAGE)
        self.waiting = 0  # pages in the tails and not yet in a log
        self.spared = False  # a page waits in the spare tail
        self.moving = 0  # pages of the block that are on their way to the log,
        self.moved = 0  # of them written,
        self.file = None  # and where
        self.again = False  # a move is being tried for the second time
        self.logs = []  # [number, first seq, pages]
        self.sealed = False  # the newest log has a torn end: nothing more goes into it
        self.newest_log = 0  # highest number that a log ever had since boot
        self.sums = []  # [number, first seq, pages, last seq], each for the boots it closes
        self.open_sum = None  # the summary of the newest boot thinned, which may go on
        self.thinned = 0  # the highest number that a summary stands for
        self.thinning = Thinning(self)
        self.ahead = Ahead()
        self.short = False  # the flash is full: room is being made first
        self.tried = False  # and was, for this page
        self.most_files = LEAST_FILES
        self.first_seq = 1
        self.last_seq = 0
        self.newest = None  # the page with the highest number found at boot
        self.failed = False
        self.lost = 0  # pages that could not be written
        try:
            recover(self)
        except OSError:
            self.failed = True

    # ---- writing

    def write(self, page, hurry=False):
        """Store a closed page: True when it is safe, False when it cannot be, None: not yet.

        On None the caller comes again with the same page in a later tick: a move to the log
        is done a page at a time, so that seldom more than one erase falls into one tick.
        hurry: the power is going; a spare tail saves the move. Never raises for the flash's
        sake.
        """
        if hurry and not self.spared and (self.moving or self.waiting >= TAILS):
            return self._spare(page)
        if self.short and not self.moving and not hurry:
            if self.thinning.step() is None:
                return None
            self.short = False
        if self.moving:
            return self._go_on(page)
        self.thinning.stuck = False
        for _ in range(2):
            try:
                if self.waiting >= TAILS:
                    at = self.waiting * PAGE
                    memoryview(self.block)[at : at + PAGE] = page
                    self.moving = self.waiting + 1
                    return None
                self._put(page, self.waiting)
                return True
            except OSError as error:
                self._after_failure(error)
                if self.short and not hurry:
                    return None
        return self._lost()

    def _put(self, page, tail):
        with open(tail_name(self.folder, tail), "wb") as file:
            file.write(page)
        self.keep(page)
        self._stored(_seq(page))

    def _spare(self, page):
        """Into a tail of its own, whatever is under way with the others."""
        if self.moving > self.waiting:
            return self._go_on(page)  # a page goes to the log that is in no tail
        try:
            self._put(page, SPARE)
        except OSError as error:
            self._after_failure(error)
            return self._lost()
        self.spared = True
        return True

    def _go_on(self, page):
        with_it = self.moving > self.waiting
        done = self._step()
        if done and self.last_seq == _seq(page):
            self.again = False
            return True
        if done is False and with_it:
            # once more, now that there is room or a new log; then it is lost
            self.again = not self.again
            if not self.again:
                return self._lost()
        return None

    def tidy(self):
        """Move the waiting pages, at a moment when an erase does no harm; None: not yet."""
        if not self.moving:
            self.moving = self.waiting
        return self._step() if self.moving else True

    def keep(self, page):
        at = self.waiting * PAGE
        memoryview(self.block)[at : at + PAGE] = page
        self.waiting += 1

    def _stored(self, seq):
        if self.first_seq > self.last_seq:
            self.first_seq = seq
        self.last_seq = seq
        self.failed = False
        self.tried = False

    def _lost(self):
        self.failed = True
        self.tried = False
        self.lost += 1
        return False

    def _step(self):
        """One piece of a move: open and write a page, or close what makes them all safe."""
        try:
            if self.file is None:
                if not self.logs or self.sealed or self.logs[-1][2] + self.moving > LOG_PAGES:
                    self._rotate()
                self.file = open(log_name(self.folder, self.logs[-1][0]), "ab")
                self.moved = 0
            if self.moved < self.moving:
                at = self.moved * PAGE
                self.file.write(memoryview(self.block)[at : at + PAGE])
                self.moved += 1
                return None
            self.file.close()
        except OSError as error:
            return self._broken_off(error)
        self.file = None
        row = self.logs[-1]
        if row[1] < 0:
            row[1] = _seq(self.block)
        row[2] += self.moved
        at = (self.moved - 1) * PAGE
        self._stored(max(self.last_seq, _seq(memoryview(self.block)[at : at + PAGE])))
        left = max(0, self.waiting - self.moving)  # a page in the spare tail came meanwhile
        if left:
            block = self.block
            block[:PAGE] = block[self.moving * PAGE : (self.moving + 1) * PAGE]
        self.spared = left > 0
        self.moving = 0
        self.waiting = left
        return True

    def _broken_off(self, error):
        """A move failed: its pages are in the tails still, but for the newest."""
        file = self.file
        self.file = None
        self.moving = 0
        self.sealed = True  # what it left at the log's end is not known
        if self.logs and self.logs[-1][1] < 0:
            self.logs.pop()  # nothing in it that the tails have not
        try:
            if file is not None:
                file.close()
        except OSError:
            pass
        self._after_failure(error)
        self.failed = True
        return False

    def _rotate(self):
        if self.logs:
            self.newest_log = max(self.newest_log, self.logs[-1][0])
        self.newest_log += 1
        self.logs.append([self.newest_log, -1, 0])
        self.sealed = False

    def _after_failure(self, error):
        """On a full flash the oldest log is thinned before the page is tried again."""
        if error.args and error.args[0] == ENOSPC:
            self.short = not self.tried and self.thinning.possible()
            self.tried = True
        try:
            make_folders(self.folder)
        except OSError:
            pass

    # ---- reading, and giving up

    def copy(self, seq, target):
        """Put the first stored page with this number or a later one into `target`."""
        return copy(self, seq, target)

    def find_first(self):
        """The lowest number that a stored page or summary has."""
        self.first_seq = self.last_seq + 1
        for row in self.sums:
            if row[1] >= 0:
                self.first_seq = row[1]
                return
        if self.open_sum is not None:
            self.first_seq = _seq(self.open_sum)
            return
        for row in self.logs:
            if row[1] >= 0:
                self.first_seq = row[1]
                return
        if self.waiting:
            self.first_seq = _seq(self.block)

    def forget(self, seq):
        """Remove the oldest file if all its numbers are at most `seq`; False: there is none.

        Only when asked, by a host that has these pages. The newest log always stays: its
        pages tell the totals.
        """
        self.thinning.cancel()
        self.ahead.drop()
        try:
            return self._forget(seq)
        except OSError:
            return False
        finally:
            self.find_first()

    def _forget(self, seq):
        if self.sums:
            row = self.sums[0]
            if row[3] > seq:
                return False
            os.remove(sum_name(self.folder, row[0]))
            self.sums.pop(0)
        elif self.open_sum is not None:
            if _seq(self.open_sum) > seq:
                return False
            os.remove(open_sum_name(self.folder))
            self.open_sum = None
        else:
            if not self.thinning.possible() or after(self, self.logs[0]) - 1 > seq:
                return False
            if self.logs[0][1] >= 0:
                os.remove(log_name(self.folder, self.logs[0][0]))
            self.logs.pop(0)
        self.thinning.crowded = False
        return True
