"""Is a board whose power went still a board that keeps its promise? For power_cuts.py."""

import nor
import vfs

from steadyturn_fw import count, pages, recovery, store

get = pages.get
WHERE = "/cut"
MOST_LOST = 25  # samples of 0.2 s
AROUND = 20  # pages looked at one by one, at the end and after the summaries
TAIL = (pages.AT_ENERGY_IN, pages.AT_FAULTS + 2)  # the totals' bytes


def mounted(flash):
    nor.mount(flash, WHERE)
    store.FOLDER = WHERE + "/journal"
    count.FILE = WHERE + "/count.bin"


def next_page(got):
    """One more page, with the totals there are."""
    page = bytearray(got.newest)
    page[pages.AT_VERSION] = pages.VERSION
    page[pages.AT_N_SAMPLES] = page[pages.AT_N_EVENTS] = page[pages.AT_FLAGS] = 0
    pages.put(page, pages.AT_SEQ, 4, got.last_seq + 1)
    pages.put(page, pages.AT_BOOT, 3, 99999)
    crc = pages.Crc()
    crc.feed(page, 0, pages.AT_CRC)
    crc.store(page, pages.AT_CRC)
    return page


def write(got, page):
    done = None
    while done is None:
        done = got.write(page)
    return done


def thin(got):
    """All that is to be thinned; False where it cannot be."""
    while got.thinning.wanted():
        if got.thinning.step() is False:
            return False
    return True


def go_on(flash):
    """What a board does next, for the operations that it takes."""
    mounted(flash)
    try:
        got = store.Store()
        write(got, next_page(got))
        thin(got)
    finally:
        vfs.umount(WHERE)


def judge(image, mark, life, found, after):
    """What is wrong, as words; nothing: []. after: it is also seen going on."""
    wrong = []
    try:
        mounted(nor.Flash(image))
    except OSError:
        return ["not mounted"]
    try:
        got = store.Store()
        if got.failed or got.newest is None:
            return ["no journal"]
        if mark.format_id is not None and got.format_id != mark.format_id:
            wrong.append("another format id")
        _totals(got, mark, life, found, wrong)
        _pages(got, mark, life, found, wrong)
        _others(mark, wrong)
        if after:
            last = got.last_seq
            if not write(got, next_page(got)) or store.Store().last_seq != last + 1:
                wrong.append("not writable")
            elif not thin(got):
                wrong.append("not to be thinned")
            else:
                _pages(store.Store(), mark, life, found, wrong)
    finally:
        vfs.umount(WHERE)
    return wrong


def _totals(got, mark, life, found, wrong):
    """Those of the newest page go on: not less than acknowledged, not more than was."""
    newest = got.newest
    energy = get(newest, pages.AT_ENERGY_IN, 6)
    lost = mark.on - get(newest, pages.AT_ON, 4)
    if got.last_seq < mark.newest:
        wrong.append("newest page %d of %d" % (got.last_seq, mark.newest))
    had = life.pages.get(mark.newest)
    if had is not None and energy < get(had, pages.AT_ENERGY_IN, 6):
        wrong.append("totals lost")
    if energy > mark.energy or lost < 0:
        wrong.append("totals counted twice")
    if lost > MOST_LOST:
        wrong.append("%d samples lost" % lost)
    if energy < mark.earlier:
        wrong.append("more than 5 s of energy lost")
    found["most_samples_lost"] = max(found["most_samples_lost"], lost)


def _pages(got, mark, life, found, wrong):
    """Each acknowledged page is there or stood for, as the board itself tells it, once."""
    page = bytearray(pages.PAGE_BYTES)
    seq = 0
    expected = None  # the number that has to come next
    shown = 0
    sums = 0
    while seq <= mark.newest and got.copy(seq, page):
        number = get(page, pages.AT_SEQ, 4)
        first = number
        if page[pages.AT_FLAGS] & pages.FLAG_SUMMARY:
            first = get(page, pages.AT_FIRST, 4)
            sums += 1
            if get(page, pages.AT_STANDS_FOR, 4) != number - first + 1:
                wrong.append("summary %d stands for too few" % number)
        if expected is None:
            if first > mark.forgotten + 1:
                wrong.append("pages %d to %d lost" % (mark.forgotten + 1, first - 1))
        elif first != expected and number <= mark.newest:
            wrong.append("page %d, expected %d" % (first, expected))
        _same(page, number, first, life, wrong)
        expected = seq = number + 1
        shown += 1
        if first == number and shown - sums == AROUND:
            # the rest in between is looked at in the files themselves
            expected = _between(got, seq, mark, life)
            seq = max(seq, mark.newest - AROUND)
            expected = min(seq, expected)
    if expected is None or expected <= mark.newest:
        wrong.append("pages lost from %s on" % expected)
    found["summaries"] = max(found["summaries"], sums)


def _same(page, number, first, life, wrong):
    had = life.pages.get(number)
    if had is None:
        return
    if first == number and not page[pages.AT_FLAGS] & pages.FLAG_SUMMARY:
        if bytes(page) != had:
            wrong.append("page %d changed" % number)
    elif bytes(page[TAIL[0] : TAIL[1]]) != had[TAIL[0] : TAIL[1]]:
        wrong.append("summary %d has other totals" % number)


def _between(got, seq, mark, life):
    """The first number from `seq` on that stands in no file as it was acknowledged."""
    size = pages.PAGE_BYTES
    seen = set()
    for row in got.logs:
        try:
            with open(recovery.log_name(got.folder, row[0]), "rb") as file:
                data = file.read()
        except OSError:
            continue
        for at in range(0, len(data) - size + 1, size):
            number = data[at + 4] | data[at + 5] << 8 | data[at + 6] << 16
            if number >= seq and data[at : at + size] == life.pages.get(number):
                seen.add(number)
    for i in range(got.waiting):
        seen.add(get(got.block, i * size + pages.AT_SEQ, 4))
    while seq <= mark.newest and seq in seen:
        seq += 1
    return seq


def _others(mark, wrong):
    """The count begins where it did or where it was to; the previous settings likewise."""
    if count.load() not in mark.counts:
        wrong.append("count begins elsewhere")
    kept = None
    try:
        with open(WHERE + "/settings.old.json", "rb") as file:
            kept = file.read()
    except OSError:
        pass
    if kept not in mark.kept:
        wrong.append("previous settings are neither")
