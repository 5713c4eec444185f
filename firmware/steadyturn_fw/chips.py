"""Microcontrollers as data: where they tell of a USB host, and keep a word. Imports nothing.

A host numbers the USB's milliseconds with a start-of-frame packet in each, and the chip
keeps the number of the last: while it changes a host is there, a charger sends none.
*Needs a board*: board_trials.py shows each of these at work.

frame: register with that number, and its bits. note: a register that outlives every reset
but not the loss of power, 0: the RTC's memory does. dog: the watchdog's control register,
and one that clears bits of it; 0: a watchdog that runs cannot be stopped. The addresses are
those of the chips' data sheets (RP2040 2.19 and 4.7, RP2350 2.2 and 12.9: USBCTRL_REGS_BASE
+ SOF_RD, WATCHDOG_BASE + SCRATCH0, atomic clear at + 0x3000) and reference manuals (ESP32-S3:
DSTS of the OTG core; ESP32-C3: FRAM_NUM of the USB serial/JTAG block).
"""

COLUMNS = ("frame_at", "frame_mask", "note_at", "dog_at", "dog_clear_at")

CHIPS = {
    "rp2040": (0x50110048, 0x7FF, 0x4005800C, 0x40058000, 0x4005B000),
    "rp2350": (0x50110048, 0x7FF, 0x400D800C, 0x400D8000, 0x400DB000),
    "esp32s3": (0x60080808, 0x3FFF00, 0, 0, 0),
    "esp32c3": (0x60043024, 0x7FF, 0, 0, 0),
    # not known: no watchdog, because nothing tells whether a host would be shut out by it
    "": (0, 0, 0, 0, 0),
}

DOG_ENABLE_BIT = 30  # of the control register
