"""INA3221: registers, set-up and raw readings. Source: Texas Instruments SBOS576.

Channel 1 stands at the converter's input, channel 2 (where its shunt is fitted) at the
output; channel 3 is off. Readings stand in bits 14 to 3 of their registers, so that a
register as it is counts 5 uV over the shunt and 1 mV on the bus, in steps of eight.

Its critical and warning outputs compare shunt volts, and power-valid goes high only when
the bus of every channel is above one limit: none of them tells that a bus is too high.
So there is no alert to try, and the chip counts as one without.
"""

NAME = "ina3221"
CONFIG = 0x00
SHUNT = 0x01
BUS = 0x02
OUT_SHUNT = 0x03
OUT_BUS = 0x04
MASK = 0x0F
VALID_UPPER = 0x10
VALID_LOWER = 0x11
MAKER = 0xFE
DIE = 0xFF

MAKER_ID = 0x5449
DIE_ID = 0x3220
RESET_CONFIG = 0x7127
# channels 1 and 2; 16 averages of 140 us for the bus and shunt of both: 9.0 ms, half a tick
OUR_CONFIG = 0x6407
# for a step, us of a cycle: 140 us each, of channel 1 alone; with the output's of both
FAST = (0x4007, 280)
FAST_OUT = (0x6007, 560)

BUS_UV = 1000  # one bit of the bus register as it stands
SHUNT_NV = 5000  # one bit of the shunt register as it stands
BUS_END = 0x7FF8  # 32.76 V; the chip's inputs bear 26 V
SHUNT_END = 0x7FF8  # 163.8 mV
SHUNT_LOW = -SHUNT_END  # and this at its other end, or less
BUS_DROP = 0  # the bus register's lowest bits, which are none of the volts

READY = 1  # in MASK: a conversion has ended since this register was last read


def known(chip):
    """Do the identity registers say INA3221? `chip.word(register)` reads one."""
    return chip.word(MAKER) == MAKER_ID and chip.word(DIE) == DIE_ID


def set_up(chip, over_mv):
    """Write the set-up and read it back: True, it holds. One that has been without power
    shows it by its own set-up, which also converts channel 3."""
    chip.set_word(CONFIG, OUR_CONFIG)
    return chip.word(CONFIG) == OUR_CONFIG


def prove(chip, over_mv, sleep_ms):
    """There is no alert to try."""
    return True


def stale(chip, bus):
    """Has no conversion ended since this was last asked? bus: that register, just read."""
    return not chip.word(MASK) & READY


def bus_bits(raw):
    """A bus a little below ground reads negative."""
    return raw if raw < 0x8000 else 0
