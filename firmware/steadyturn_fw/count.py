"""The count of percents since somebody set it to nothing, and what the button does with it.

Where the count began is one small file: the energy that had gone out until then. It is
written only when asked for, so a count outlives every rest that cuts the power.
"""

from steadyturn_fw import pages
from steadyturn_fw.button import LONG, SHORT, VERY_LONG

FILE = "/count.bin"
ENERGY_BYTES = 6
BYTES = ENERGY_BYTES + 2  # a check behind it


def load():
    """Energy out at which the count began, uJ; 0 where nothing, or nothing right, is stored."""
    try:
        with open(FILE, "rb") as file:
            data = file.read(BYTES + 1)
    except OSError:
        return 0
    if len(data) != BYTES:
        return 0
    crc = pages.Crc()
    crc.feed(data, 0, ENERGY_BYTES)
    if data[6] != crc.low & 255 or data[7] != crc.low >> 8:
        return 0
    return int.from_bytes(data[:ENERGY_BYTES], "little")


class Count:
    def __init__(self, button, lamp, tally):
        """button: None where there is none."""
        self.button = button
        self.lamp = lamp
        self.tally = tally
        self.marking = False  # the count is to begin anew: for work() to store
        tally.count_from(load())

    def update(self, ms):
        """One tick."""
        if self.button is None:
            return
        press = self.button.update(ms)
        if not press:
            return
        lamp = self.lamp
        if press == SHORT:
            if lamp.asked:
                lamp.cease()
            else:
                lamp.count(self.tally.counted)
        elif press == LONG:
            lamp.show_all()
        elif press == VERY_LONG:
            self.marking = True

    def mark(self):
        """Begin anew; the lamp says so only when it is stored."""
        self.marking = False
        data = bytearray(BYTES)
        self.tally.energy_out.total.put(data, 0, ENERGY_BYTES)
        crc = pages.Crc()
        crc.feed(data, 0, ENERGY_BYTES)
        data[6] = crc.low & 255
        data[7] = crc.low >> 8
        try:
            with open(FILE, "wb") as file:
                file.write(data)
        except OSError:
            return
        self.tally.restart_count()
        self.lamp.count(0)
