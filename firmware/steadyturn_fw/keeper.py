"""Keeps a copy of settings that have charged, for the day when newer ones fail.

Settings are good when the load stayed connected with them for as long as makes the switch
forget its failures. The copy is written once, with the load released, under another name
first: a power cut leaves the copy before it or this one, whole.
"""

import os

from steadyturn_fw.settings import previous_name
from steadyturn_fw.switch import PROVEN_MS

TEMPORARY = ".new"
HEAD_BYTES = 19  # of the file's first line: its CRC is there


class Keeper:
    def __init__(self, loaded, switch):
        """switch: None where there are no settings."""
        self.switch = switch
        self.file = loaded.file
        self.name = previous_name(loaded.path)
        self.proven = False
        self.wanted = switch is not None and not loaded.previous and not self._kept()

    def _kept(self):
        try:
            with open(self.name, "rb") as file:
                return file.read(HEAD_BYTES) == self.file[:HEAD_BYTES]
        except OSError:
            return False

    def due(self):
        """Each tick: is there a copy to be written, and is this the moment?"""
        if not self.wanted:
            return False
        switch = self.switch
        if switch.connected:
            if switch.since_ms >= PROVEN_MS:
                self.proven = True
            return False
        return self.proven and not switch.fading and not switch.about_to_connect

    def save(self):
        """What cannot be stored is tried again after the next start."""
        self.wanted = False
        temporary = self.name + TEMPORARY
        try:
            with open(temporary, "wb") as file:
                file.write(self.file)
            os.rename(temporary, self.name)
        except OSError:
            pass
