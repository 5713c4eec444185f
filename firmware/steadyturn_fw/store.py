"""Pages on flash: where each goes, how they are found again, what a full flash does.

A page is first written into one of seven tail files, each alone in its directory,
where littlefs keeps it inside the directory's own block: no erase in fifteen of
sixteen. When the seven are full the next page goes to the newest log file together
with them, in one append. Whatever moment the power goes, a page that was stored
is in a tail or in a log; one that is in both has the same number twice and counts
once. All of this allocates and none of it is for a steady tick.
"""

import os

from steadyturn_fw.pages import PAGE_BYTES as PAGE
from steadyturn_fw.recovery import (
    ENOSPC,
    LOG_PAGES,
    TAILS,
    log_name,
    make_folders,
    recover,
    sound,
    tail_name,
)
from steadyturn_fw.recovery import seq_of as _seq

FOLDER = "/journal"


class Store:
    def __init__(self, folder=""):
        self.folder = folder or FOLDER
        self.format_id = b"\0\0\0\0"
        self.block = bytearray((TAILS + 1) * PAGE)  # waiting pages, then the one being moved
        self.waiting = 0  # pages in the tails and not yet in a log
        self.moving = 0  # pages of the block that are on their way to the log,
        self.moved = 0  # of them written,
        self.file = None  # and where
        self.again = False  # a move is being tried for the second time
        self.logs = []  # [number, first seq, pages]
        self.sealed = False  # the newest log has a torn end: nothing more goes into it
        self.most_files = 2
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

    def write(self, page):
        """Store a closed page: True when it is safe, False when it cannot be, None: not yet.

        On None the caller comes again with the same page in a later tick: a move to the log
        is done a page at a time, so that seldom more than one erase falls into one tick.
        Never raises for the flash's sake.
        """
        if self.moving:
            return self._go_on(page)
        for _ in range(2):
            try:
                if self.waiting == TAILS:
                    memoryview(self.block)[TAILS * PAGE :] = page
                    self.moving = TAILS + 1
                    return None
                with open(tail_name(self.folder, self.waiting), "wb") as file:
                    file.write(page)
                self.keep(page)
                self._stored(_seq(page))
                return True
            except OSError as error:
                self._after_failure(error)
        return self._failed()

    def _go_on(self, page):
        with_it = self.moving > TAILS
        done = self._step()
        if done and self.last_seq == _seq(page):
            self.again = False
            return True
        if done is False and with_it:
            # once more, now that there is room or a new log; then it is lost
            self.again = not self.again
            if not self.again:
                return False
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

    def _failed(self):
        self.failed = True
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
        self.moving = 0
        self.waiting = 0
        return True

    def _broken_off(self, error):
        """A move failed: its pages are in the tails still, but for the newest."""
        file = self.file
        self.file = None
        self.moving = 0
        self.sealed = True  # what it left at the log's end is not known
        try:
            if file is not None:
                file.close()
        except OSError:
            pass
        self._after_failure(error)
        return self._failed()

    def _rotate(self):
        number = self.logs[-1][0] + 1 if self.logs else 1
        while len(self.logs) >= self.most_files:
            self._drop_oldest()
        self.logs.append([number, -1, 0])
        self.sealed = False

    def _after_failure(self, error):
        """A full flash gives up its oldest log; any other failure costs no stored page."""
        try:
            if error.args and error.args[0] == ENOSPC and len(self.logs) > 1:
                self._drop_oldest()
            make_folders(self.folder)
        except OSError:
            pass

    def _drop_oldest(self):
        row = self.logs.pop(0)
        try:
            os.remove(log_name(self.folder, row[0]))
        except OSError:
            pass  # a file that was never written
        for left in self.logs:
            if left[1] >= 0:
                self.first_seq = left[1]
                return
        self.first_seq = _seq(self.block) if self.waiting else self.last_seq + 1

    # ---- reading

    def copy(self, seq, frame, at):
        """Put the first stored page with this number or a later one into `frame`."""
        target = memoryview(frame)[at : at + PAGE]
        try:
            for row in self.logs:
                if row[1] >= 0 and self._in_log(row, seq, target):
                    return True
        except OSError:
            pass
        view = memoryview(self.block)
        for i in range(self.waiting):
            page = view[i * PAGE : (i + 1) * PAGE]
            if _seq(page) >= seq:
                target[:] = page
                return True
        return False

    def _in_log(self, row, seq, target):
        """The first sound page from `seq` on in one log; numbers only rise within it."""
        last = self._after(row)
        if last <= seq:
            return False
        with open(log_name(self.folder, row[0]), "rb") as file:
            low = 0
            high = row[2]
            index = min(max(0, seq - row[1]), row[2] - 1)  # right when none is missing
            while low < high:
                file.seek(index * PAGE)
                file.readinto(target)
                here = _seq(target)
                if here == seq and sound(target):
                    return True
                if here < seq:
                    low = index + 1
                else:
                    high = index
                index = (low + high) // 2
            while low < row[2]:
                file.seek(low * PAGE)
                file.readinto(target)
                if sound(target) and _seq(target) >= seq:
                    return True
                low += 1
        return False

    def _after(self, row):
        """A number above all in this log: where the next begins."""
        found = False
        for other in self.logs:
            if found and other[1] >= 0:
                return other[1]
            found = found or other is row
        if self.waiting:
            return _seq(self.block)
        return self.last_seq + 1
