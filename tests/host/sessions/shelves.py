"""A library to try things on: a board, a host's clock, and evenings between their meetings."""

from __future__ import annotations

import json
import zlib

from page_maker import Recorder
from steadyturn.sessions.library import Library
from steadyturn_fw import fields
from steadyturn_fw import pages as layout

UID = "e6614c311b7a5a2f"
BEGAN_S = 1_772_360_430.0  # 2026-03-01 10:20:30 UTC
DAY_S = 86_400.0


def settings_text(**changes):
    """A settings file as a board holds it, each value the least it may be but for `changes`."""
    values = {name: low for name, low, _, _ in fields.WHOLE}
    values |= {name: choices[0] for name, choices, _ in fields.CHOICE}
    values |= {"rig": "Hut", "label": "blue", "percent_mj": 400_000, **changes}
    line = json.dumps(values)
    return f'{{"crc": "{zlib.crc32(line.encode()):08x}", "settings":\n{line}\n}}\n'.encode()


class Shelf:
    """A board that is cranked (`crank`) and meets hosts (`meet`, `pull`), its pages waiting
    on it until they are pulled."""

    def __init__(self, folder, *, uid=UID, format_id=7, settings=None, now_s=BEGAN_S):
        self.folder, self.uid, self.format_id = folder, uid, format_id
        self.settings = settings_text() if settings is None else settings
        self.recorder = Recorder()
        self.waiting: list[bytes] = []
        self.every: list[bytes] = []
        self.now_s = now_s

    def page(self, **more):
        page = self.recorder.page(**more)
        self.waiting.append(page)
        self.every.append(page)
        self.now_s += more.get("count", layout.SAMPLES) * layout.SAMPLE_MS / 1000
        return page

    def crank(self, pages=5, boots=1, **more):
        for _ in range(boots):
            self.recorder.reboot()
            for _ in range(pages):
                self.page(**more)

    def rest(self, pages=1):
        """Lying at a laptop."""
        for _ in range(pages):
            self.page(cue=layout.REST, connected=0, bus_ma=0, bus_mv=0, pace_tpm=0, in_band=False,
                      valid=layout.BOUND)

    def later(self, seconds):
        """Nothing powers the board for a while."""
        self.recorder.reboot()
        self.now_s += seconds

    def contact(self, library, kind, rig_text=None, host_s=None):
        board = library.board(self.uid, self.format_id, now_s=self.now_s)
        last = self.recorder.seq - 1
        return board, library.begin(
            board, kind=kind, host_s=self.now_s if host_s is None else host_s,
            boot=self.recorder.boot, t_ms=self.recorder.t_ms, firmware="0.1.0",
            seqs=(1, last) if last else None, settings=self.settings, rig_text=rig_text)

    def meet(self, kind="watch", **more):
        with Library(self.folder) as library:
            _, contact = self.contact(library, kind, **more)
            library.finish(contact)
        return contact

    def pull(self, *, batches=1, finish=True, order=None, host_s=None):
        with Library(self.folder) as library:
            board, contact = self.contact(library, "pull", host_s=host_s)
            pages = self.waiting if order is None else [self.waiting[i] for i in order]
            size = -(-len(pages) // batches) or 1
            for at in range(0, len(pages), size):
                library.add_pages(board, contact, pages[at : at + size])
            if finish:
                library.finish(contact)
        self.waiting = []
        return contact

    def outings(self):
        with Library(self.folder, readonly=True) as library:
            return library.outings()
