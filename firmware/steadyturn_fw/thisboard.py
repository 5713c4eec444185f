"""Which board this is: by what MicroPython calls it."""

import sys

from steadyturn_fw import boards, chips

DESKTOPS = ("linux", "darwin", "win32", "webassembly")  # there stand-ins play a Pico


def machine_name():
    if sys.platform in DESKTOPS:
        return "virtual Pico with RP2040"
    return getattr(sys.implementation, "_machine", "")


def chip(name):
    """A row of chips.CHIPS; the one for chips that are not known where the name has none."""
    name = name.lower()
    for key in chips.CHIPS:
        if key and key in name:
            return chips.CHIPS[key]
    return chips.CHIPS[""]


def key(name):
    """A key of boards.BOARDS. A chip without a board of its own there gets that of a kin."""
    name = name.lower()
    if "pico" in name and " w " in name:
        return "pico_w"  # the radio has the LED's and the reservoir's pin
    if "rp2350" in name:
        return "pico2"
    if "rp2040" in name:
        return "pico"
    if "esp32c3" in name:
        return "esp32_c3"
    if "esp32s3" in name:
        return "esp32_s3"
    return "other"


def board_row():
    """The pins of this board, for a lamp that works without settings."""
    which = key(machine_name())
    row = {}  # type: dict
    for i in range(len(boards.COLUMNS)):
        row[boards.COLUMNS[i]] = boards.BOARDS.get(which, boards.OTHER)[i]
    row["own_lamp"], row["own_lamp_pin"] = boards.OWN_LAMP[which]
    return row
