"""Erases of the flash, counted: the journal's against appending and flushing the same pages.

PAGES through the store as fast as it takes them, at the period of a page; EVERY: pages a boot,
after which the tails are moved as they are at a rest; BALLAST: kB that other files take.
MINUTES: instead the whole program cranking, with a rest that cuts the power after EVERY
minutes (0: none). FADES: instead so many hurried pages, each at another moment of the tails
and moves, and what the flash did for one. Prints one JSON object.
"""

import json
import os
import vfs

import bench
import machine
import nor

from steadyturn_fw import pages, store, writing

PAGES = int(os.getenv("PAGES") or 0)
MINUTES = int(os.getenv("MINUTES") or 0)
EVERY = int(os.getenv("EVERY") or 0)
FADES = int(os.getenv("FADES") or 0)
BALLAST = int(os.getenv("BALLAST") or 0)


def prepared():
    flash = nor.blank()
    if BALLAST:
        with open("/flash/ballast", "wb") as file:
            for _ in range(BALLAST // 4):
                file.write(nor.BLANK)
    return flash


def page(number, boot):
    """Of no use but for its bytes."""
    raw = bytearray(pages.PAGE_BYTES)
    raw[0], raw[1], raw[2] = pages.MAGIC_0, pages.MAGIC_1, pages.VERSION
    pages.put(raw, pages.AT_SEQ, 4, number)
    pages.put(raw, pages.AT_BOOT, 3, boot)
    for i in range(pages.AT_SAMPLES, pages.AT_EVENTS):
        raw[i] = number * 31 + i * 7 & 0xFF
    crc = pages.Crc()
    crc.feed(raw, 0, pages.AT_CRC)
    crc.store(raw, pages.AT_CRC)
    return raw


def ours():
    flash = prepared()
    store.FOLDER = "/flash/journal"
    kept = store.Store()
    flash.erases = [0] * flash.blocks
    flash.programmed = 0
    boot = 1
    for number in range(1, PAGES + 1):
        done = None
        raw = page(number, boot)
        while done is None:
            done = kept.write(raw)
        rest = EVERY and number % EVERY == 0
        if rest:
            boot += 1
            if kept.waiting >= writing.REST_PAGES:
                while kept.tidy() is None:
                    pass
        elif kept.waiting >= store.TAILS:
            while kept.tidy() is None:
                pass
        while kept.thinning.wanted() and kept.thinning.step() is None:
            pass
    vfs.umount("/flash")
    return flash, kept


def appended(all_pages):
    """The plain way: each page appended to a file that is kept open, and flushed."""
    flash = prepared()
    os.mkdir("/flash/journal")
    flash.erases = [0] * flash.blocks
    flash.programmed = 0
    file = None
    for number, raw in enumerate(all_pages):
        if file is None:
            file = open("/flash/journal/%06d.log" % (number // 160), "ab")
        file.write(raw)
        if number % 160 == 159:
            file.close()
            file = None
        else:
            file.flush()
    if file is not None:
        file.close()
    vfs.umount("/flash")
    return flash


def cranked():
    """The whole program: flash, pages, erases with the load connected, and its connections."""
    flash = prepared()
    written = []
    connected = [0]
    board = None

    def boot():
        b = bench.Bench("/flash")
        machine.recording = False
        real = b.loop.store.write

        def write(raw, hurry=False):
            before = sum(flash.erases)
            was = b.now.connected
            done = real(raw, hurry)
            if done:
                written.append(bytes(raw))
            if was:
                connected[0] += sum(flash.erases) - before
            return done

        tidy = b.loop.store.tidy

        def watched():
            before = sum(flash.erases)
            done = tidy()
            if b.now.connected:
                connected[0] += sum(flash.erases) - before
            return done

        b.loop.store.write = write
        b.loop.store.tidy = watched
        b.set(7500, 0)
        b.run(4000)
        b.set(6500, 500)
        return b

    board = boot()
    flash.erases = [0] * flash.blocks
    written.clear()
    for minute in range(1, MINUTES + 1):
        board.run(60000)
        if EVERY and minute % EVERY == 0:
            board.set(300, 0)
            board.run(8000)
            board.supply(3900)
            board.run(400)
            board = boot()
    connections = board.loop.tally.connections
    vfs.umount("/flash")
    return flash, written, connected[0], connections


def faded():
    """Programs and erases of a hurried page: the most, and how many had an erase."""
    flash = prepared()
    store.FOLDER = "/flash/journal"
    kept = store.Store()
    flash.mark = lambda: None
    dead = []
    number = programs = erases = with_erase = 0
    for i in range(FADES):
        for _ in range(i % 12):
            number += 1
            done = None
            while done is None:
                done = kept.write(page(number, 1))
        if i % 3 == 0 and kept.waiting:  # in the middle of a move
            for _ in range(1 + i % 5):
                kept.tidy()
        flash.log = []
        number += 1
        raw = page(number, 1)
        while kept.write(raw, True) is None:
            pass
        erased = len([1 for op in flash.log if op[1] is None])
        programs = max(programs, len(flash.log) - erased)
        erases = max(erases, erased)
        with_erase += erased > 0
        flash.log = None
        dead.append(kept.file)  # never closed, and no collection may do it either
        kept = store.Store()
    vfs.umount("/flash")
    return {"fades": FADES, "most_programs": programs, "most_erases": erases,
            "with_erase": with_erase, "lost": number - kept.last_seq}


def main():
    if FADES:
        print(json.dumps(faded()))
        return
    found = {"every": EVERY, "ballast_kb": BALLAST}
    if MINUTES:
        flash, written, connected, connections = cranked()
        found.update(minutes=MINUTES, pages=len(written), erases_connected=connected,
                     connections=connections)
    else:
        flash, kept = ours()
        written = [page(n, 1) for n in range(1, min(PAGES, 1600) + 1)]
        found.update(pages=PAGES, summaries=sum([row[2] for row in kept.sums]),
                     logs=len(kept.logs), most_files=kept.most_files)
    found["erases"] = sum(flash.erases)
    found["worst_block"] = max(flash.erases)
    found["programmed_kb"] = flash.programmed // 1000
    plain = appended(written)
    found["plain_pages"] = len(written)
    found["plain_erases"] = sum(plain.erases)
    ratio = found["erases"] * found["plain_pages"] * 1000
    found["ratio_permille"] = ratio // (found["plain_erases"] * found["pages"])
    print(json.dumps(found))


main()
