"""Closed pages that wait in memory where nothing may be written with the load connected."""

from steadyturn_fw.pages import PAGE_BYTES

PAGES = 42  # a page each 4.6 s, and after three minutes the load is released for them


class Held:
    def __init__(self, most=PAGES):
        self.pages = [bytearray(PAGE_BYTES) for _ in range(most)]
        self.first = 0
        self.count = 0

    def keep(self, page):
        """Take it in and give a buffer for it. None free: itself, it is dropped; an older one may
        be on its way to the flash."""
        most = len(self.pages)
        if self.count == most:
            return page
        at = self.first + self.count
        if at >= most:
            at -= most
        spare = self.pages[at]
        self.pages[at] = page
        self.count += 1
        return spare

    def oldest(self):
        return self.pages[self.first]

    def done(self):
        """The oldest is stored, or never will be."""
        self.first = self.first + 1 if self.first + 1 < len(self.pages) else 0
        self.count -= 1
