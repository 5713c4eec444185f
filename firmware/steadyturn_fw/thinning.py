"""Room for new pages: the oldest log's boots become one summary page each, then it goes.

In pieces, so that it can be done between ticks while the load is released. At every moment
the flash holds a page itself or what stands for it: first whole boots go to the summaries'
newest file, then the boot that may go on in the next log to a small file of its own, and
only then is the log removed. What was done before the power went is not done again: a
summary's number is that of the last page it stands for, and pages up to the highest such
number are passed over.

Summaries are never removed here. Where there is no room for more, boots are taken
together into the one summary that is still being written.
"""

import os

from steadyturn_fw.recovery import (
    ENOSPC,
    LOG_PAGES,
    PAGE,
    find_sums,
    log_name,
    open_sum_name,
    seq_of,
    sound,
    sum_name,
)
from steadyturn_fw.summary import Summary

A_PIECE = 2  # pages read in one piece: some 5 ms
EARLY_FILES = 2  # so many files before there is no room: 24 minutes for a quiet moment
LEFT_FOR_LOGS = 2  # files; all others may become summaries


class Thinning:
    def __init__(self, store):
        self.store = store
        self.summary = None  # type: Summary | None  # made when first needed
        self.log = None  # the open log that is being read
        self.out = None  # the open file of summaries, with some that are not yet safe
        self.added = 0  # of them
        self.index = 0
        self.count = 0
        self.read = False  # the log was read to its end
        self.pages = 0  # given up by the last log that went
        self.together = False  # boots share a summary now
        self.crowded = False  # and did the last time: somebody should make room
        self.stuck = False  # failed; tried again with the next page
        self.page = bytearray(PAGE)

    # ---- whether

    def possible(self):
        """Is there a log that is not the newest pages' own?"""
        logs = self.store.logs
        return len(logs) > 1 and logs[1][1] >= 0 and not self.stuck

    def wanted(self):
        """Is room short soon, or is something under way?"""
        return self.possible() and (
            self.log is not None or self._files() >= self._most() - EARLY_FILES
        )

    def urgent(self):
        """The next file would be one too many: no quiet moment can be waited for."""
        store = self.store
        return (
            self.possible()
            and self._files() >= self._most()
            and store.logs[-1][2] >= LOG_PAGES // 2
        )

    def _files(self):
        """How many there are, with the one that the next summary may need."""
        sums = self.store.sums
        more = 0 if sums and sums[-1][2] + self.added < LOG_PAGES else 1
        return len(self.store.logs) + len(sums) + more

    def _most(self):
        return self.store.most_files

    def full(self):
        """No further file of summaries?"""
        sums = self.store.sums
        if sums and sums[-1][2] + self.added < LOG_PAGES:
            return False
        return len(sums) >= max(1, self._most() - LEFT_FOR_LOGS)

    # ---- how

    def step(self):
        """One piece. True: a log's room is free; False: it cannot be; None: go on."""
        try:
            return self._step()
        except OSError as error:
            self.cancel(True)
            if error.args and error.args[0] == ENOSPC and not self.together:
                self.together = True  # what is rewritten in place needs no further room
                return None
            self.stuck = True
            self.together = False
            return False

    def _step(self):
        store = self.store
        if not store.logs:
            return False
        row = store.logs[0]
        if self.log is None and not self.read:
            self._begin(row)
        if not self.read:
            self._read()
        elif self.out is not None:
            self._make_safe()
        elif self.summary.stands_for and self.summary.seq > store.thinned:
            self._write_open()
        else:
            return self._finish(row)
        return None

    def _begin(self, row):
        store = self.store
        if self.summary is None:
            self.summary = Summary()
        if store.open_sum is None:
            self.summary.clear()
        else:
            self.summary.load(store.open_sum)
        self.together = self.together or self.full()
        self.index = 0
        self.count = row[2]
        self.pages = 0
        self.read = False
        try:
            self.log = open(log_name(store.folder, row[0]), "rb")
        except OSError:
            if row[1] >= 0:
                raise
            self.read = True  # a file that was never written

    def _read(self):
        store = self.store
        page = self.page
        summary = self.summary
        for _ in range(A_PIECE):
            if self.index >= self.count:
                self.log.close()
                self.log = None
                self.read = True
                return
            self.log.seek(self.index * PAGE)
            if self.log.readinto(page) == PAGE and sound(page):
                self.pages += 1
                if seq_of(page) > max(store.thinned, summary.seq):
                    boot = int.from_bytes(page[8:11], "little")
                    if summary.stands_for and summary.boot != boot and not self.together:
                        self._append(summary)
                        summary.clear()
                    summary.add(page)
            self.index += 1

    def _append(self, summary):
        """A boot that is complete, to the newest file of summaries."""
        store = self.store
        sums = store.sums
        if self.out is None or sums[-1][2] + self.added >= LOG_PAGES:
            if self.out is not None:
                self._make_safe()
            if not sums or sums[-1][2] >= LOG_PAGES:
                sums.append([sums[-1][0] + 1 if sums else 1, -1, 0, -1])
            self.out = open(sum_name(store.folder, sums[-1][0]), "ab")
        self.out.write(summary.seal())
        self.added += 1
        row = sums[-1]
        if row[1] < 0:
            row[1] = summary.seq
        row[3] = summary.seq

    def _make_safe(self):
        store = self.store
        out = self.out
        self.out = None
        row = store.sums[-1]
        out.close()
        row[2] += self.added
        self.added = 0
        store.thinned = row[3]
        store.open_sum = None  # it is among them

    def _write_open(self):
        store = self.store
        page = self.summary.seal()
        with open(open_sum_name(store.folder), "wb") as file:
            file.write(page)
        store.open_sum = bytes(page)
        store.thinned = self.summary.seq

    def _finish(self, row):
        store = self.store
        self.read = False
        try:
            os.remove(log_name(store.folder, row[0]))
        except OSError:
            if row[1] >= 0:
                raise
        store.logs.pop(0)
        store.find_first()
        self.crowded = self.together
        self.together = False
        return True

    def cancel(self, again=False):
        """Leave off: what is safe stays, what was only read is read again."""
        self.read = False
        again = again or self.out is not None
        for file in (self.log, self.out):
            try:
                if file is not None:
                    file.close()
            except OSError:
                pass
        self.log = self.out = None
        self.added = 0
        if again:
            try:
                find_sums(self.store)  # how much of it got there is not known
            except OSError:
                self.stuck = True
