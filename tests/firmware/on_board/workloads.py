"""Three lives of a board on a flash whose every operation is recorded, for power_cuts.py.

steady: an hour's cranking at one pace. cues: an arm that wavers, faults, rests that cut the
power. full: the same on a small flash that is nearly full, so that logs are thinned, with a
host that has files forgotten, a count begun anew, settings kept as the previous ones.
"""

import bench
import machine
import nor
import vfs

from steadyturn_fw import pages, recovery

get = pages.get
RING = 250  # ticks: five seconds
NAMES = ("steady", "cues", "full")
SMALL = 128  # blocks of the flash that is nearly full: room for six files


class Mark:
    """What is true at one moment."""

    def __init__(self, life):
        tally = life.board.loop.tally if life.board else None
        self.newest = life.newest
        self.on = tally.on if tally else 0
        self.energy = tally.energy_in.total.units() if tally else 0
        self.earlier = life.ring[0] if life.ring else self.energy
        self.forgotten = life.forgotten
        self.counts = life.counts
        self.kept = life.kept
        self.format_id = life.board.loop.store.format_id if life.board else None


class Life:
    def __init__(self, name, fault=""):
        """fault: "early", a page counts as acknowledged before it is: for the judge's test."""
        self.name = name
        self.fault = fault
        self.flash = nor.blank(SMALL if name == "full" else nor.BLOCKS)
        self.pages = {}  # acknowledged: number -> page
        self.newest = 0
        self.forgotten = 0
        self.counts = (0, 0)  # where the count of percents begins: before, and after
        self.kept = (None, None)  # the previous settings' file
        self.ring = []
        self.board = None
        self.dead = []
        self.label = 0
        self.boot()
        self.fill()
        self.image = bytearray(self.flash.image)

    def fill(self):
        """What a board has after months: logs, the newest nearly full. In a hurry, so with
        pages of an event each, many to a boot."""
        wanted = 2 * recovery.LOG_PAGES - 5
        if self.name == "full":
            wanted = (self.board.loop.store.most_files - 3) * recovery.LOG_PAGES - 15
        self.pretend(wanted - self.newest)

    def pretend(self, number):
        """So many pages of an event each, stored as fast as the flash takes them."""
        journal = self.board.loop.journal
        wanted = self.newest + number
        while self.newest < wanted:
            journal.event(pages.EV_HOST, 0, 0)
            journal.close(0)
            if journal.seq % 45 == 0:
                journal.boot += 1
            while journal.pending:
                self.board.loop.writing.work()

    def boot(self):
        """The power comes back. Settings change now and then."""
        self.label += 1
        if self.board is not None:
            # a file that was open when the power went is never closed, not by a collection either
            self.dead.append((self.board.loop.store.file, self.board.loop.store.thinning.out))
        self.board = board = bench.Bench("/flash", label="life %d" % (self.label // 3))
        machine.recording = False
        self.ring.clear()
        store = board.loop.store
        write = store.write
        forget = store.forget
        count = board.loop.count
        begin_anew = count.mark
        keeper = board.loop.keeper
        save = keeper.save

        def watched_write(page, hurry=False):
            number = get(page, pages.AT_SEQ, 4)
            if self.fault == "early":
                self.newest = number
                self.pages[number] = bytes(page)
            good = write(page, hurry)
            if good:
                self.newest = number
                self.pages[number] = bytes(page)
            return good

        def watched_forget(seq):
            self.forgotten = seq
            return forget(seq)

        def watched_mark():
            self.counts = (self.counts[0], board.loop.tally.energy_out.total.units())
            begin_anew()
            self.counts = (self.counts[1], self.counts[1])

        def watched_save():
            self.kept = (self.kept[0], bytes(keeper.file))
            save()
            self.kept = (self.kept[1], self.kept[1])

        store.write = watched_write
        store.forget = watched_forget
        count.mark = watched_mark
        keeper.save = watched_save
        self.flash.mark = lambda: Mark(self)
        board.tick()  # it sees its reservoir

    def crank(self, mv, ma, ms):
        board = self.board
        board.set(mv, ma)
        total = board.loop.tally.energy_in.total
        ring = self.ring
        while ms > 0:
            board.tick()
            ring.append(total.units())
            if len(ring) > RING:
                ring.pop(0)
            ms -= 20

    def fade(self):
        """The handle rests, the reservoir empties, the board is gone."""
        self.board.supply(3900)
        self.crank(2000, 0, 600)
        self.boot()

    # ---- what happens, recorded

    def live(self, rounds):
        self.flash.log = []
        for i in range(rounds):
            getattr(self, "_" + self.name)(i)
        log = self.flash.log
        self.flash.log = None
        vfs.umount("/flash")
        return log

    def _steady(self, i):
        if i == 0:
            self.crank(7500, 0, 4000)
        self.crank(6500, 500, 120000)

    def _cues(self, i):
        self.crank(4000, 0, 3000)
        self.crank(7500, 0, 3000)
        self.crank(6500, 500, 9000 + i % 3 * 4000)
        self.crank(8800, 600, 3000)
        self.crank(13000, 900, 1000)  # over-voltage
        self.crank(7500, 0, 4000)
        self.crank(6300, 2100, 400)  # over-current
        self.crank(7300, 0, 6000)
        self.crank(6400, 450, 8000)
        self.crank(3000, 450, 600)  # a collapse
        self.crank(300, 0, 5000)
        if i % 4 == 1:
            self.board.loop.writing.flush()
        if i % 4 == 2:
            self.board.loop.stop()
            self.boot()
        elif i % 4 == 3:
            self.boot()  # gone without notice
        else:
            self.fade()

    def _full(self, i):
        self._cues(i)
        # what else would take a quarter of an hour
        self.pretend(50)
        self.crank(7500, 0, 2500)
        self.crank(6400, 450, 11000)
        self.crank(300, 0, 3000)
        if i % 3 == 1:
            self.board.loop.count.mark()
        if i % 6 == 5:
            store = self.board.loop.store
            middle = (store.first_seq + store.last_seq) // 2
            while store.forget(middle):
                pass
        self.crank(300, 0, 2000)
