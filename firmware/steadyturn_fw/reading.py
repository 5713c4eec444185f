"""A stored page by its number, wherever it is: a summary, a log or a tail.

Used by store.py, which says where pages go. A log is sorted, so it is searched by halves, and
what follows a page in it is read along: a host mostly asks for one after the other.
"""

from steadyturn_fw import pages
from steadyturn_fw.recovery import PAGE, log_name, seq_of, sound, sum_name

AHEAD = 8  # pages read from a log at once


class Ahead:
    """Pages that stand behind each other in a log, as last read."""

    def __init__(self):
        self.bytes = memoryview(bytearray(AHEAD * PAGE))
        self.count = 0
        self.at = 0  # the next of them,
        self.seq = -1  # which is the first with this number or a later one
        self.row = None  # the log they are from,
        self.end = 0  # and how many pages of it come before what was not read yet

    def has(self, seq):
        return seq == self.seq and self.at < self.count

    def drop(self):
        self.count = 0
        self.row = None

    def read(self, file, most):
        """From where the file stands; False: there is nothing."""
        size = min(most, AHEAD) * PAGE
        self.count = (file.readinto(self.bytes[:size]) or 0) // PAGE
        self.end += self.count
        self.at = 0
        return self.count > 0

    def take(self, seq, target):
        """The next sound page numbered `seq` or later into `target`; False: none here."""
        while self.at < self.count:
            page = self.bytes[self.at * PAGE : (self.at + 1) * PAGE]
            self.at += 1
            if sound(page) and seq_of(page) >= seq:
                target[:] = page
                self.seq = seq_of(page) + 1
                return True
        return False


def copy(store, seq, target):
    """Put the first stored page with this number or a later one into `target`, if there is.

    While a log is still there its pages count and not what stands for them; a summary counts
    that stands for a page which is there no longer.
    """
    ahead = store.ahead
    if ahead.has(seq) and ahead.take(seq, target):
        return True
    logs = store.logs
    begin = store.last_seq + 1
    for row in logs:
        if row[1] >= 0:
            begin = row[1]
            break
    else:
        if store.waiting:
            begin = seq_of(store.block)
    if seq < begin and _summary(store, seq, begin, target):
        return True
    try:
        for row in logs:
            if row[1] >= 0 and after(store, row) > seq and _in_log(store, row, seq, target):
                return True
    except OSError:
        pass
    view = memoryview(store.block)
    for i in range(store.waiting):
        page = view[i * PAGE : (i + 1) * PAGE]
        if seq_of(page) >= seq:
            target[:] = page
            return True
    return False


def _summary(store, seq, begin, target):
    try:
        for row in store.sums:
            if row[3] >= seq and _in_sum(store, row, seq, target):
                return pages.get(target, pages.AT_FIRST, 4) < begin
    except OSError:
        pass
    page = store.open_sum
    if page is None or seq_of(page) < seq or pages.get(page, pages.AT_FIRST, 4) >= begin:
        return False
    target[:] = page
    return True


def after(store, row):
    """A number above all in this log: where the next begins."""
    found = False
    for other in store.logs:
        if found and other[1] >= 0:
            return other[1]
        found = found or other is row
    if store.waiting:
        return seq_of(store.block)
    return store.last_seq + 1


def _in_log(store, row, seq, target):
    """The first sound page from `seq` on in a log, and those behind it at hand."""
    ahead = store.ahead
    with open(log_name(store.folder, row[0]), "rb") as file:
        if ahead.row is not row or ahead.seq != seq:
            ahead.drop()
            ahead.end = _search(file, row, seq, target)
            ahead.row = row
        file.seek(ahead.end * PAGE)
        while ahead.end < row[2] and ahead.read(file, row[2] - ahead.end):
            if ahead.take(seq, target):
                return True
    return False


def _in_sum(store, row, seq, target):
    with open(sum_name(store.folder, row[0]), "rb") as file:
        low = _search(file, row, seq, target)
        file.seek(low * PAGE)
        while low < row[2]:
            file.readinto(target)
            if sound(target) and seq_of(target) >= seq:
                return True
            low += 1
    return False


def _search(file, row, seq, scratch):
    """Where in a file the first page numbered `seq` or later stands, if it is sound; numbers
    only rise within it."""
    low = 0
    high = row[2]
    index = min(max(0, seq - row[1]), row[2] - 1)  # right when none is missing
    while low < high:
        file.seek(index * PAGE)
        file.readinto(scratch)
        here = seq_of(scratch)
        if here == seq and sound(scratch):
            return index
        if here < seq:
            low = index + 1
        else:
            high = index
        index = (low + high) // 2
    return low
