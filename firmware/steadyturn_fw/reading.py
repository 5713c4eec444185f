"""A stored page by its number, wherever it is: a summary, a log or a tail.

Used by store.py, which says where pages go. A log is sorted, so it is searched by halves.
"""

from steadyturn_fw import pages
from steadyturn_fw.recovery import PAGE, log_name, seq_of, sound, sum_name


def copy(store, seq, target):
    """Put the first stored page with this number or a later one into `target`, if there is.

    While a log is still there its pages count and not what stands for them; a summary counts
    that stands for a page which is there no longer.
    """
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
            if row[1] >= 0 and after(store, row) > seq and _in_file(
                log_name(store.folder, row[0]), row, seq, target
            ):
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
            if row[3] >= seq and _in_file(sum_name(store.folder, row[0]), row, seq, target):
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


def _in_file(name, row, seq, target):
    """The first sound page from `seq` on in one file; numbers only rise within it."""
    with open(name, "rb") as file:
        low = 0
        high = row[2]
        index = min(max(0, seq - row[1]), row[2] - 1)  # right when none is missing
        while low < high:
            file.seek(index * PAGE)
            file.readinto(target)
            here = seq_of(target)
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
            if sound(target) and seq_of(target) >= seq:
                return True
            low += 1
    return False
