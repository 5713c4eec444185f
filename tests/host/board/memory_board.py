"""A whole board in memory, for jobs that reach boards: its link and its files."""

from __future__ import annotations

import zlib

from fake_board import FakeBoard, MemoryStream
from memory_files import MemoryFiles
from steadyturn.board import update
from steadyturn.board.link import settings_line
from steadyturn.settings.file import encode
from steadyturn_fw import fields


def hut_board():
    """A board with settings much like the hut's and no firmware: no band has to be found."""
    made = {name: (low + high) // 2 for name, low, high, _ in fields.WHOLE}
    made |= {name: choices[0] for name, choices, _ in fields.CHOICE}
    made |= {name: "hut lamp" for name, _, _ in fields.TEXT}
    made |= {name: 1_000_000 for name in made if name.endswith("gain_ppm")}
    made |= {"rest_dtpm": 200, "low_dtpm": 500, "target_dtpm": 690, "high_dtpm": 900,
             "over_dtpm": 1100, "release_mv": 4200, "window_low_mv": 4200, "connect_mv": 7571,
             "window_high_mv": 28_000, "over_mv": 28_500, "over_ma": 1556, "forbid_mv": 3100,
             "fade_mv": 4000, "shunt_uohm": 50_000, "supply_ma": 35, "divider_permille": 11_000}
    return MemoryBoard({update.SETTINGS: encode(made)})


class MemoryBoard:
    """A board without a port: files in memory, and at each start the settings in them are
    in force if their CRC is right."""

    def __init__(self, content=None, cut_at=-1):
        self.link = FakeBoard()
        self.memory = MemoryFiles(content, cut_at)
        board = self

        class Files(MemoryFiles):
            def restart(self):
                super().restart()
                board.boot()

        self.memory.__class__ = Files
        self.boot()

    def boot(self):
        data = self.memory.content.get(update.SETTINGS, b"")
        line = settings_line(data)
        right = b'"%08x"' % zlib.crc32(line) in data.split(b"\n")[0]
        self.link.settings = data
        self.link.state.update(settings_ok=int(right), settings_crc=zlib.crc32(line))

    def stream(self):
        return MemoryStream(self.link)

    def files(self):
        return self.memory
