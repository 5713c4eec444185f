"""What may take long, after the edge that holds the load: pages to the flash, collections.

One piece a tick, and each at the moment where it does the least harm: an erase stops
everything for 45 ms, at worst 400, so pages are moved to the log while the load is
released, and nothing is begun that the reservoir could not finish. With the load
connected they are moved only when the tails are full. Nobody can know which write will
erase; so where no hardware cuts what this program would not see meanwhile, all wait for
the release, in memory, and after three minutes the load is released for them.
"""

import gc
from time import ticks_diff, ticks_ms

from steadyturn_fw.pages import (
    EV_ERASE_CONNECTED,
    EV_RELEASED,
    EV_THINNED,
    FLAG_FADING,
    FLAG_FLUSHED,
    REST,
)
from steadyturn_fw.recovery import TAILS

TIDY_PAGES = 4  # before connecting: this many waiting pages are worth an erase
REST_PAGES = 6
SLOW_MS = 20  # a write that took this long was an erase
CALM_MS = 300  # a page waits so long at most for a calm moment: it would be lost at a cut
BLIND_MS = 180000  # and so long, where nothing but this program guards the load
GC_MS = 1000


class Writing:
    def __init__(self, loop):
        """`loop` has the parts: store, journal, count, switch, sensor, link, now, loaded."""
        self.loop = loop
        self.store = loop.store
        self.journal = loop.journal
        self.now = loop.now
        self.gc_ms = 0
        self.litter = False  # something was allocated since the last collection
        self.saved = False  # this fading's page is written
        s = loop.loaded.settings
        self.cut = s is not None and s.hardware_cut
        if s is not None and not s.hardware_cut:
            self.journal.may_wait()
        self.blind = False  # the load was released for a page: what says so follows at once
        self.since_ms = -1  # when a page began to wait for a calm moment, -1: none does

    def work(self):
        """After a tick: what need not be done before its edge, then at most one page to the
        flash, or a collection."""
        loop = self.loop
        self.gc_ms += self.now.ms
        loop.lamp.tell()
        if loop.sensor is not None:
            loop.sensor.look()
        journal = self.journal
        fading = loop.sensor is not None and loop.switch.fading
        if fading and not self.saved:
            journal.close(FLAG_FADING)
            journal.only_newest()
        elif self.blind and not journal.pending:
            journal.close(0)
            self.blind = False
        self.saved = fading
        if journal.pending:
            if self.may_write():
                self._write(fading)
                # what fades has no time for a piece a tick
                while fading and journal.pending:
                    self._write(True)
        elif loop.count.marking and self.may_write():
            begun = self._begin()
            loop.count.mark()
            self._tell(begun)
        elif loop.keeper.due() and self.may_write():
            loop.keeper.save()
            self.litter = True
        elif self._tidy_now():
            self._tidy()
        elif self._thin_now():
            self._thin()
        elif self.gc_ms >= GC_MS:
            self._collect()

    def _collect(self):
        self.gc_ms = 0
        if self.litter or self.loop.link.allocated:
            self.litter = False
            self.loop.link.allocated = False
            gc.collect()

    def may_write(self):
        """Is there enough in the reservoir for the flash to finish, and is it a moment in which
        an erase does no harm?"""
        s = self.loop.loaded.settings
        return s is None or (
            (s.supply_adc_pin < 0 or not s.fade_mv or self.now.supply_mv >= s.forbid_mv)
            and self._calm()
        )

    def _calm(self):
        """Is this a calm moment, or has a page waited for one long enough? What was begun is
        gone on with: the next page must not wait for all its pieces."""
        t_ms = self.now.t_ms
        if self.store.moving or self.loop.switch.calm(self.now):
            self.since_ms = -1
            return True
        if not 0 <= self.since_ms <= t_ms:
            self.since_ms = t_ms
        return t_ms - self.since_ms >= (CALM_MS if self.cut else BLIND_MS)

    def _begin(self):
        """What comes may erase. Where nothing but this program guards the load, which is about
        to be blind, it is released before."""
        if self.now.connected and not self.cut:
            switch = self.loop.switch
            switch.stalled(self.now)
            self.blind = True
            self.journal.event(EV_RELEASED, switch.why, self.now.t_ms)
        return ticks_ms()

    def flush(self, whole=False):
        """Store what is in the page being filled."""
        journal = self.journal
        while journal.pending:
            self._write()
        journal.close(FLAG_FLUSHED, whole)
        while journal.pending:
            self._write()

    def _write(self, hurry=False):
        """The closed page, or the next piece of what has to go before it."""
        begun = self._begin()
        done = self.store.write(self.journal.next(), hurry)
        self._tell(begun)
        if done is None:
            return
        if done:
            self.journal.stored()
        else:
            self.journal.give_up()

    def _tidy_now(self):
        """Is there something worth an erase, and is this a moment for one? With the load
        released it does no harm; else the tails are full and the next page needs one."""
        store = self.store
        if store.moving:
            return self.may_write()
        loop = self.loop
        if loop.sensor is None or loop.switch.fading or store.failed:
            return False  # after a failure the next page tries again, not every tick
        if loop.switch.connected:
            return self.cut and store.waiting >= TAILS and self.may_write()
        least = TIDY_PAGES if loop.switch.about_to_connect else REST_PAGES
        if not loop.switch.about_to_connect and self.now.cue != REST:
            return False
        return store.waiting >= least and self.may_write()

    def _tidy(self):
        begun = self._begin()
        self.store.tidy()
        self._tell(begun)

    def _thin_now(self):
        """Is room short, and is this a moment to make some?"""
        store = self.store
        thinning = store.thinning
        if store.moving or not thinning.wanted() or not self.may_write():
            return False
        loop = self.loop
        if loop.sensor is None or loop.switch.fading:
            return False
        if loop.switch.connected:
            return self.cut and thinning.urgent()
        return not loop.switch.about_to_connect

    def _thin(self):
        begun = self._begin()
        thinning = self.store.thinning
        if thinning.step():
            self.journal.event(EV_THINNED, thinning.pages, self.now.t_ms)
        self._tell(begun)

    def _tell(self, begun):
        """An event for each piece that took an erase with the load connected."""
        self.litter = True
        self.since_ms = -1
        ms = ticks_diff(ticks_ms(), begun)
        if self.now.connected and ms >= SLOW_MS:
            self.journal.event(EV_ERASE_CONNECTED, ms, self.now.t_ms)
