"""INA219: registers, set-up and raw readings. Source: Texas Instruments SBOS448.

It has no identity registers and no alert output. What it is is found by writing
set-up and calibration and reading them back: bit 0 of the calibration register
cannot be written.
"""

NAME = "ina219"
CONFIG = 0x00
SHUNT = 0x01
BUS = 0x02
POWER = 0x03
CURRENT = 0x04
CALIBRATION = 0x05

RESET_CONFIG = 0x399F
# 32 V and 320 mV ranges; 8 averages of 532 us for bus and shunt each: 8.5 ms, without a pause
OUR_CONFIG = 0x3DDF
# for a step, us of a cycle: 276 us each, 11 bits (8 mV, 20 uV); 12 bits would take 1.06 ms
FAST = (0x3917, 552)
# current register = shunt register: its unit is then 10 uV / shunt
OUR_CALIBRATION = 4096

BUS_UV = 4000
SHUNT_NV = 10000
BUS_END = 8000  # 32 V in bits of 4 mV
SHUNT_END = 32000  # 320 mV
SHUNT_LOW = -SHUNT_END  # and this at its other end, or less
BUS_DROP = 3  # the bus register's lowest bits, which are none of the volts
CURRENT_DIVISOR = 4096
POWER_DIVISOR = 5000

READY = 1 << 1  # in BUS: a conversion has ended since POWER was last read


def calibration(unit_ua, shunt_uohm):
    """Register value for a current unit: 0.04096 / (unit in A * shunt in ohm), bit 0 clear."""
    return 40960000000 // (unit_ua * shunt_uohm) & 0xFFFE


def known(chip):
    """Is bit 0 of the calibration register fixed at zero? `chip` reads and writes words."""
    chip.set_word(CALIBRATION, OUR_CALIBRATION | 1)
    return chip.word(CALIBRATION) == OUR_CALIBRATION


def set_up(chip, over_mv):
    """Write set-up and calibration and read them back: True, they hold."""
    chip.set_word(CONFIG, OUR_CONFIG)
    chip.set_word(CALIBRATION, OUR_CALIBRATION)
    return chip.word(CONFIG) == OUR_CONFIG and chip.word(CALIBRATION) == OUR_CALIBRATION


def prove(chip, over_mv, sleep_ms):
    """There is no alert to try."""
    return True


def stale(chip, bus):
    """Has no conversion ended since this was last asked? bus: that register, just read."""
    chip.word(POWER)
    return not bus & READY


def bus_bits(raw):
    return raw >> 3
