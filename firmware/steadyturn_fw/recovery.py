"""What a board finds on its flash at boot: logs, tails, the newest page, the room there is.

Used by store.py, which says where pages go. Nothing here belongs into a tick.
"""

import os
from binascii import crc32

from steadyturn_fw import pages

TAILS = 7
PAGE = pages.PAGE_BYTES
LOG_PAGES = 160  # then a new file: 34 KiB, twelve minutes
SHARE = 70  # percent of the free flash that logs may take, in whole files
LEAST_FILES = 2
MOST_FILES = 200
ENOSPC = 28


def log_name(folder, number):
    return folder + "/%06d.log" % number


def tail_name(folder, index):
    return folder + "/t%d/p" % index


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
    for i in range(TAILS):
        _mkdir(folder + "/t%d" % i)


def _mkdir(name):
    try:
        os.mkdir(name)
    except OSError:
        os.stat(name)  # there already, or raises


def recover(store):
    """Fill a new store from its folder. Raises OSError where the flash refuses."""
    make_folders(store.folder)
    _identity(store)
    names = sorted([n for n in os.listdir(store.folder) if n.endswith(".log")])
    scratch = bytearray(PAGE)
    for name in names:
        try:
            number = int(name[:-4])
        except ValueError:
            continue
        _open_log(store, number, scratch)
    last = _last_in_logs(store, scratch)
    _tails(store, last)
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


def _open_log(store, number, scratch):
    name = log_name(store.folder, number)
    size = os.stat(name)[6]
    count = size // PAGE
    store.sealed = size != count * PAGE
    with open(name, "rb") as file:
        for index in range(count):
            file.readinto(scratch)
            if sound(scratch):
                store.logs.append([number, seq_of(scratch), count])
                return
    store.logs.append([number, -1, count])


def _last_in_logs(store, scratch):
    """Highest number in a log; keeps that page as the newest."""
    for number, first, count in reversed(store.logs):
        if first < 0:
            continue
        with open(log_name(store.folder, number), "rb") as file:
            for index in range(count - 1, -1, -1):
                file.seek(index * PAGE)
                file.readinto(scratch)
                if sound(scratch):
                    store.newest = bytes(scratch)
                    return seq_of(scratch)
    return 0


def _tails(store, last):
    found = []  # type: list[bytes]
    ordered = True
    for i in range(TAILS):
        try:
            with open(tail_name(store.folder, i), "rb") as file:
                page = file.read(PAGE + 1)
        except OSError:
            continue
        if len(page) == PAGE and sound(page) and seq_of(page) > last:
            ordered = ordered and len(found) == i
            found.append(page)
    found.sort(key=seq_of)
    for page in found:
        store.keep(page)
    if found:
        store.newest = found[-1]
        if not ordered or seq_of(found[-1]) - seq_of(found[0]) != len(found) - 1:
            # a tail in between was lost: which is free is no longer known by counting
            while store.tidy() is None:
                pass


def _room(store):
    """How many log files fit: a share of what is free and what the logs hold already."""
    try:
        stat = os.statvfs(store.folder)
    except OSError:
        return
    total = stat[1] * stat[3]
    for row in store.logs:
        total += row[2] * PAGE
    files = total // 100 * SHARE // (LOG_PAGES * PAGE)
    store.most_files = max(LEAST_FILES, min(files, MOST_FILES))


def _ends(store):
    if store.newest is not None:
        store.last_seq = seq_of(store.newest)
    store.first_seq = store.last_seq + 1
    for row in store.logs:
        if row[1] >= 0:
            store.first_seq = row[1]
            return
    if store.waiting:
        store.first_seq = seq_of(memoryview(store.block)[:PAGE])
