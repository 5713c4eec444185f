"""Power cuts at every flash operation of a two-minute outing, whole and torn.

The flash is a RAM block device under littlefs with NOR's rules: a program only clears
bits, an erase sets them. All operations of the outing are recorded; then each prefix of
the record is a board whose power went there: it is mounted, booted by the journal's own
recovery, and asked for what it had acknowledged. The last operation is also taken torn:
half done, the rest left as it was or as seeded rubbish.

Prints one JSON object. TORN: how many ways each operation is torn; SEED: of the rubbish.
"""

import json
import os
import vfs

import bench
import machine

from steadyturn_fw import pages, store

BLOCK = 4096
BLOCKS = 352  # a Pico's
OPTIONS = {"progsize": 256, "readsize": 32, "lookahead": 32}
TORN = int(os.getenv("TORN") or 1)
SEED = int(os.getenv("SEED") or 1)


class Flash:
    def __init__(self, image):
        self.image = image
        self.log = None
        self.mark = None

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        buffer[:] = memoryview(self.image)[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        if self.log is not None:
            self.log.append((at, bytes(buffer), self.mark()))
        program(self.image, at, buffer)

    def ioctl(self, op, argument):
        if op == 4:
            return BLOCKS
        if op == 5:
            return BLOCK
        if op == 6:
            if self.log is not None:
                self.log.append((argument * BLOCK, None, self.mark()))
            erase(self.image, argument * BLOCK)
        return 0


BLANK = b"\xff" * BLOCK


def program(image, at, data):
    old = bytes(memoryview(image)[at : at + len(data)])
    if old == BLANK[: len(data)]:
        image[at : at + len(data)] = data
        return
    for i in range(len(data)):
        image[at + i] &= data[i]


def erase(image, at):
    image[at : at + BLOCK] = BLANK


class Chance:
    def __init__(self, seed):
        self.seed = seed & 0x7FFFFFFF

    def below(self, most):
        self.seed = (self.seed * 1103515245 + 12345) & 0x7FFFFFFF
        return (self.seed >> 8) % most


def tear(image, at, data, chance):
    """The operation was under way when the power went."""
    size = BLOCK if data is None else len(data)
    done = chance.below(size + 1)
    rubbish = chance.below(3)
    if data is None:
        image[at : at + done] = BLANK[:done]
    else:
        program(image, at, data[:done])
    if rubbish:
        for i in range(done, min(size, done + 256)):
            noise = chance.below(256)
            if data is None:
                image[at + i] |= noise  # some bits are up already
            else:
                image[at + i] &= data[i] | noise  # some are down already


# ---- the outing


class Outing:
    def __init__(self):
        self.flash = Flash(bytearray(BLANK * BLOCKS))
        vfs.VfsLfs2.mkfs(self.flash, **OPTIONS)
        vfs.mount(vfs.VfsLfs2(self.flash, **OPTIONS), "/flash")
        self.acknowledged = {}  # seq -> page
        self.newest = 0
        self.board = None
        self.lost_on = 0
        self.fill()

    def fill(self):
        """What a board has after months: logs, the newest nearly full."""
        self.boot()
        self.board.tick()
        journal = self.board.loop.journal
        while self.newest < 2 * store.LOG_PAGES - 5:
            journal.event(pages.EV_HOST, 0, 0)
            journal.close(0)
            while journal.pending:
                self.board.loop.writing.work()

    def boot(self):
        self.board = board = bench.Bench("/flash")
        write = board.loop.store.write

        def watched(page):
            good = write(page)
            if good:
                self.newest = pages.get(page, pages.AT_SEQ, 4)
                self.acknowledged[self.newest] = bytes(page)
            return good

        board.loop.store.write = watched
        machine.recording = False
        self.flash.mark = self.mark

    def mark(self):
        """What is true at this moment: samples taken, pages acknowledged, energy."""
        tally = self.board.loop.tally if self.board else None
        if tally is None:
            return 0, self.newest
        return tally.on, self.newest

    def crank(self, mv, ma, ms):
        self.board.set(mv, ma)
        self.board.run(ms)

    def turn(self):
        """Two minutes: slow, good, too fast, over, rest, and a rest that cuts the power."""
        self.flash.log = []
        self.crank(4000, 0, 4000)
        self.crank(7500, 0, 3000)
        self.crank(6500, 500, 30000)
        self.crank(8800, 600, 5000)
        self.crank(13000, 900, 1000)
        self.crank(7500, 0, 4000)
        self.crank(6500, 500, 13000)
        self.board.supply(3900)
        self.crank(2000, 0, 2000)
        self.boot()
        self.crank(7500, 0, 4000)
        self.crank(6300, 480, 40000)
        self.board.loop.writing.flush()
        self.crank(6300, 480, 9000)
        self.board.loop.stop()
        self.boot()
        self.crank(5000, 100, 5000)
        log = self.flash.log
        self.flash.log = None
        return log


def recovered(image):
    """Mount and boot; the store, or why not."""
    vfs.mount(vfs.VfsLfs2(Flash(image), **OPTIONS), "/cut")
    store.FOLDER = "/cut/journal"
    return store.Store()


def judge(image, mark, outing, found):
    on, newest = mark
    try:
        got = recovered(image)
    except OSError:
        found["not_mounted"] += 1
        return
    try:
        if got.failed or got.newest is None or got.last_seq < newest:
            found["totals_lost"] += 1
            return
        page = bytearray(pages.PAGE_BYTES)
        seq = max(got.first_seq, newest - 20)
        while seq <= newest:
            if not got.copy(seq, page, 0) or bytes(page) != outing.acknowledged[seq]:
                found["pages_lost"] += 1
            seq += 1
        kept = pages.get(got.newest, pages.AT_ON, 4)
        energy = pages.get(got.newest, pages.AT_ENERGY_IN, 6)
        had = outing.acknowledged.get(newest)
        if had is not None and energy < pages.get(had, pages.AT_ENERGY_IN, 6):
            found["totals_lost"] += 1
        found["most_samples_lost"] = max(found["most_samples_lost"], on - kept)
        # the next page finds a place, and a second boot finds it
        pages.put(page, pages.AT_SEQ, 4, got.last_seq + 1)
        crc = pages.Crc()
        crc.feed(page, 0, pages.AT_CRC)
        crc.store(page, pages.AT_CRC)
        done = None
        while done is None:
            done = got.write(page)
        if not done or store.Store().last_seq != got.last_seq:
            found["not_writable"] += 1
    finally:
        vfs.umount("/cut")


def main():
    outing = Outing()
    image = bytearray(outing.flash.image)
    log = outing.turn()
    vfs.umount("/flash")
    found = {
        "operations": len(log), "erases": len([1 for op in log if op[1] is None]),
        "pages": outing.newest, "cuts_whole": 0, "cuts_torn": 0, "not_mounted": 0,
        "pages_lost": 0, "totals_lost": 0, "most_samples_lost": 0, "not_writable": 0,
        "seed": SEED,
    }
    chance = Chance(SEED)
    spare = bytearray(len(image))
    for at, data, mark in log:
        spare[:] = image
        found["cuts_whole"] += 1
        judge(spare, mark, outing, found)
        for _ in range(TORN):
            spare[:] = image
            tear(spare, at, data, chance)
            found["cuts_torn"] += 1
            judge(spare, mark, outing, found)
        if data is None:
            erase(image, at)
        else:
            program(image, at, data)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
