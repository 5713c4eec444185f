"""A whole board in memory, for jobs that reach boards: its link and its files."""

from __future__ import annotations

import zlib

from fake_board import FakeBoard, MemoryStream
from memory_files import MemoryFiles
from steadyturn.board import update
from steadyturn.board.link import settings_line


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
