"""A machine over many outings, each pulled into a library: constants that wear, or do not."""

from __future__ import annotations

import numpy as np
from model_outings import Maker, wander
from shelves import BEGAN_S, DAY_S, UID
from steadyturn.rig.examples import example_path
from steadyturn.sessions.library import Library
from steadyturn.settings.file import encode
from steadyturn_fw import pages as layout


class Worn:
    """Cranked and pulled outing by outing, with a turn sensor unless `flags` are others.

    Each outing: half a minute with nothing connected, then `minutes` of charging. ohms: of the
    motors, times what the rig says; the windings' warmth is drawn, and told to the board as it
    is."""

    def __init__(self, folder, name="lakeside-hut", *, flags=layout.FLAG_PACE_MEASURED, seed=0):
        self.folder, self.flags = folder, flags
        self.maker = Maker(name)
        self.settings = encode(self.maker.settings)
        self.rig_text = example_path(name).read_text()
        self.chance = np.random.default_rng(seed)
        self.now_s, self.count, self.at = BEGAN_S, 0, 0

    def crank(self, *, ohms=1.0, minutes=1.5, scatter=0.01, bursts=()):
        maker, seed = self.maker, int(self.chance.integers(1 << 30))
        paces = wander(60 * minutes + 30, maker.target, seed=seed)
        on = np.arange(len(paces)) >= 150
        rise = int(self.chance.uniform(3, 18)) if maker.settings.get("warm_s") else 0
        middle = (maker.rig.air.cold_c + maker.rig.air.hot_c) / 2
        maker.boot_of(paces, connected=on, seed=seed, flags=self.flags, rise_k=rise,
                      ohms=ohms * (1 + scatter * self.chance.normal()),
                      winding_c=middle + rise + self.chance.normal(0, 2),
                      events=[(150, layout.EV_CONNECTED, 9000)])
        for one in bursts:
            maker.burst(one)
        self.count += 1

    def pull(self):
        size, raw = layout.PAGE_BYTES, self.maker.raw
        pages = [raw[at : at + size] for at in range(self.at, len(raw), size)]
        self.at = len(raw)
        self.now_s += DAY_S
        with Library(self.folder) as library:
            board = library.board(UID, 7, now_s=self.now_s)
            contact = library.begin(
                board, kind="pull", host_s=self.now_s, boot=self.maker.boot, t_ms=200_000,
                firmware="0.1.0", seqs=(1, self.maker.seq - 1), settings=self.settings,
                rig_text=self.rig_text)
            library.add_pages(board, contact, pages)
            library.finish(contact)

    def outings(self, ohms):
        """One outing and its pull for each of these."""
        for one in ohms:
            self.crank(ohms=float(one), minutes=0.8)
            self.pull()
        return self
