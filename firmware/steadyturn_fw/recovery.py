"""What a board finds on its flash at boot: logs, summaries, tails, the newest page, the room.

Used by store.py, which says where pages go. Nothing here belongs into a tick.
"""

import os
from binascii import crc32

from steadyturn_fw import pages

TAILS = 10
SPARE = TAILS  # the tail of a page that cannot wait until the others are moved
PAGE = pages.PAGE_BYTES
LOG_PAGES = 160  # then a new file: 34 KiB, twelve minutes
SHARE = 70  # percent of the free flash that logs and summaries may take, in whole files
LEAST_FILES = 4
MOST_FILES = 200
ENOSPC = 28


def log_name(folder, number):
    return folder + "/%06d.log" % number


def sum_name(folder, number):
    return folder + "/%06d.sum" % number


def tail_name(folder, index):
    return folder + "/t%d/p" % index


def open_sum_name(folder):
    return folder + "/s/p"


def seq_of(page):
    return pages.get(page, pages.AT_SEQ, 4)


def sound(page):
    """Is this a whole page of ours? `page`: PAGE bytes."""
    at = pages.AT_CRC
    return (
        page[0] == pages.MAGIC_0
        and page[1] == pages.MAGIC_1
        and page[pages.AT_VERSION] in pages.VERSIONS
        and crc32(memoryview(page)[:at]) == pages.get(page, at, 4)
    )


def make_folders(folder):
    _mkdir(folder)
    _mkdir(folder + "/s")
    for i in range(TAILS + 1):
        _mkdir(folder + "/t%d" % i)


def _mkdir(name):
    try:
        os.mkdir(name)
    except OSError:
        os.stat(name)  # there already, or raises


def read_page(name):
    """The one page in a file; None: there is none."""
    try:
        with open(name, "rb") as file:
            page = file.read(PAGE + 1)
    except OSError:
        return None
    return page if len(page) == PAGE and sound(page) else None


def recover(store):
    """Fill a new store from its folder. Raises OSError where the flash refuses."""
    make_folders(store.folder)
    _identity(store)
    for number in numbers(store.folder, ".log"):
        _open_log(store, number)
    find_sums(store)
    _tails(store, _last_in_logs(store))
    _room(store)
    _ends(store)


def _identity(store):
    name = store.folder + "/id"
    data = b""
    try:
        with open(name, "rb") as file:
            data = file.read(4)
    except OSError:
        pass
    if len(data) != 4:
        data = os.urandom(4)
        with open(name, "wb") as file:
            file.write(data)
    store.format_id = data


def numbers(folder, end):
    found = []
    for name in os.listdir(folder):
        if name.endswith(end):
            try:
                found.append(int(name[: -len(end)]))
            except ValueError:
                pass
    return sorted(found)


def first_sound(file, count, scratch):
    """Number of the first sound page of an open file, -1: none."""
    for _ in range(count):
        file.readinto(scratch)
        if sound(scratch):
            return seq_of(scratch)
    return -1


def last_sound(file, count, scratch):
    """The same for the last one; scratch is it."""
    for index in range(count - 1, -1, -1):
        file.seek(index * PAGE)
        file.readinto(scratch)
        if sound(scratch):
            return seq_of(scratch)
    return -1


def _open_log(store, number):
    name = log_name(store.folder, number)
    size = os.stat(name)[6]
    count = size // PAGE
    store.sealed = size != count * PAGE
    with open(name, "rb") as file:
        store.logs.append([number, first_sound(file, count, bytearray(PAGE)), count])


def find_sums(store):
    """The summaries: whole files, and the one of the newest boot thinned so far."""
    store.sums.clear()
    store.thinned = 0
    scratch = bytearray(PAGE)
    for number in numbers(store.folder, ".sum"):
        name = sum_name(store.folder, number)
        count = os.stat(name)[6] // PAGE
        with open(name, "rb") as file:
            first = first_sound(file, count, scratch)
            last = last_sound(file, count, scratch) if first >= 0 else -1
        if last > store.thinned:
            store.thinned = last
            _newer(store, scratch)
        store.sums.append([number, first, count, last])
    page = read_page(open_sum_name(store.folder))
    # an older one was brought into a file, and the power went before this was written again
    store.open_sum = page if page is not None and seq_of(page) > store.thinned else None
    if store.open_sum is not None:
        store.thinned = seq_of(page)
        _newer(store, page)


def _newer(store, page):
    if store.newest is None or seq_of(page) > seq_of(store.newest):
        store.newest = bytes(page)


def _last_in_logs(store):
    """Highest number in a log; keeps that page as the newest."""
    scratch = bytearray(PAGE)
    for number, first, count in reversed(store.logs):
        if first < 0:
            continue
        with open(log_name(store.folder, number), "rb") as file:
            last = last_sound(file, count, scratch)
        _newer(store, scratch)
        return last
    return store.thinned


def _tails(store, last):
    found = []  # type: list[bytes]
    ordered = True
    for i in range(TAILS + 1):
        page = read_page(tail_name(store.folder, i))
        if page is not None and seq_of(page) > last:
            ordered = ordered and len(found) == i
            found.append(page)
    found.sort(key=seq_of)
    for page in found:
        store.keep(page)
    store.spared = len(found) > TAILS
    if found:
        _newer(store, found[-1])
        if not ordered or seq_of(found[-1]) - seq_of(found[0]) != len(found) - 1:
            # a tail in between was lost: which is free is no longer known by counting
            while store.tidy() is None:
                pass


def _room(store):
    """How many files fit: a share of what is free and what the files hold already."""
    try:
        stat = os.statvfs(store.folder)
    except OSError:
        return
    total = stat[1] * stat[3]
    for row in store.logs:
        total += row[2] * PAGE
    for row in store.sums:
        total += row[2] * PAGE
    files = total // 100 * SHARE // (LOG_PAGES * PAGE)
    store.most_files = max(LEAST_FILES, min(files, MOST_FILES))


def _ends(store):
    if store.newest is not None:
        store.last_seq = seq_of(store.newest)
    store.find_first()
    store.thinning.crowded = store.thinning.full()
