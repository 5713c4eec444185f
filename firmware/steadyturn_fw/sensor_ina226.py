"""INA226: registers, set-up and raw readings. Source: Texas Instruments SBOS547.

Volts over the shunt and volts at the load are read raw and scaled on the board.
The calibration register is written all the same: with it the chip's own current
and power registers work for anyone who looks, and a register that reads zero
again shows that the chip has been without power.
"""

NAME = "ina226"
CONFIG = 0x00
SHUNT = 0x01
BUS = 0x02
POWER = 0x03
CURRENT = 0x04
CALIBRATION = 0x05
MASK = 0x06
LIMIT = 0x07
MAKER = 0xFE
DIE = 0xFF

MAKER_ID = 0x5449
DIE_ID = 0x2260
RESET_CONFIG = 0x4127
# 16 averages of 332 us for bus and shunt each: 10.6 ms, half a tick, without a pause
OUR_CONFIG = 0x4497
# for a step, us of a cycle: one conversion of 140 us each; the alert's limit stays as it is
FAST = (0x4007, 280)
# current register = shunt register: its unit is then 2.5 uV / shunt
OUR_CALIBRATION = 2048

BUS_UV = 1250  # one bit of the bus register
SHUNT_NV = 2500  # one bit of the shunt register
BUS_END = 0x7FFF  # 40.96 V; the chip's inputs bear 36 V
SHUNT_END = 0x7FFF  # 81.92 mV
SHUNT_LOW = -0x8000  # and this at its other end, or less
BUS_DROP = 0  # the bus register's lowest bits, which are none of the volts
CURRENT_DIVISOR = 2048  # current register = shunt * calibration / this
POWER_DIVISOR = 20000  # power register = current * bus / this

READY = 1 << 3  # in MASK: a conversion has ended since this register was last read
HIT = 1 << 4  # in MASK: the limit is passed
BUS_OVER = 1 << 13  # in MASK: the alert output tells that the bus is above the limit
CYCLE_MS = 12  # a little more than one conversion takes


def calibration(unit_ua, shunt_uohm):
    """Register value for a current unit: 0.00512 / (unit in A * shunt in ohm)."""
    return 5120000000 // (unit_ua * shunt_uohm)


def known(chip):
    """Do the identity registers say INA226? `chip.word(register)` reads one."""
    return chip.word(MAKER) == MAKER_ID and chip.word(DIE) == DIE_ID


def set_up(chip, over_mv):
    """Write set-up, calibration and the alert's limit, and read all back: True, they hold."""
    limit = min(over_mv * 1000 // BUS_UV, BUS_END)
    chip.set_word(CONFIG, OUR_CONFIG)
    chip.set_word(CALIBRATION, OUR_CALIBRATION)
    chip.set_word(LIMIT, limit)
    chip.set_word(MASK, BUS_OVER)
    return (
        chip.word(CONFIG) == OUR_CONFIG
        and chip.word(CALIBRATION) == OUR_CALIBRATION
        and chip.word(LIMIT) == limit
        and chip.word(MASK) & 0xFC00 == BUS_OVER
    )


def prove(chip, over_mv, sleep_ms):
    """Does the alert work? With a limit below the present volts it must tell; then the limit
    is set again. True also where there are no volts to try it with."""
    sleep_ms(CYCLE_MS)
    if chip.word(BUS) == 0:
        return True
    chip.set_word(LIMIT, 0)
    sleep_ms(CYCLE_MS)
    told = chip.word(MASK) & HIT
    return set_up(chip, over_mv) and bool(told)


def stale(chip, bus):
    """Has no conversion ended since this was last asked? bus: that register, just read."""
    return not chip.word(MASK) & READY


def bus_bits(raw):
    return raw
