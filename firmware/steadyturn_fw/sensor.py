"""Volts and amps at the converter's input, from the chip or, without it, from the ADC;
and at its output, where a chip with two channels has a shunt there.

Readings are integers: mV, mA. One scale a quantity holds the unit of the
register, the shunt and the correction found with a multimeter; the fraction of a
milliamp that a reading leaves is carried into the next, so a mean over many
readings is as fine as the chip's own bits.
"""

from time import sleep_ms, sleep_us, ticks_diff, ticks_ms

from machine import ADC, I2C, Pin

from steadyturn_fw import sensor_ina219, sensor_ina226, sensor_ina3221

CHIPS = {"ina226": sensor_ina226, "ina219": sensor_ina219, "ina3221": sensor_ina3221}
TIMEOUT_US = 3000  # the port's own 50 ms would eat two ticks
CHECK_TICKS = 10  # how often the set-up register is looked at
LOST_TICKS = 5  # readings missed in a row until the sensor counts as lost
BLIND_TICKS = 2  # the same where no ADC gives the volts meanwhile: released within 45 ms
FRESH_MS = 13  # in this time every chip has a new conversion
RETRY_MS = 1000  # then the bus is cleared and the chip started again this often
MOST = 65535
LEAST_SHUNT_UOHM = 500  # below this there is none at the output
SCALE_MOST = 16383  # with a register of 16 bits the product stays a small integer


def scale(numerator, denominator):
    """(factor, shift) with factor / 2**shift = numerator / denominator to 1 in 16,000."""
    shift = 0
    while numerator << shift + 1 <= SCALE_MOST * denominator and shift < 28:
        shift += 1
    return ((numerator << shift) + denominator // 2) // denominator, shift


def adc(pin):
    """The ADC of a pin, reading to about 3.3 V: an ESP32's own setting ends at 1 V."""
    made = ADC(Pin(pin))
    widest = getattr(ADC, "ATTN_11DB", None)
    if widest is not None:
        made.atten(widest)
    return made


def clear_bus(sda, scl):
    """Nine clocks and a stop: frees a chip that was cut off while it held the data line."""
    data = Pin(sda, Pin.IN, Pin.PULL_UP)
    clock = Pin(scl, Pin.OUT, value=1)
    for _ in range(9):
        clock.value(0)
        sleep_us(5)
        clock.value(1)
        sleep_us(5)
    data.init(Pin.OUT, value=0)
    sleep_us(5)
    data.init(Pin.IN, Pin.PULL_UP)


class Sensor:
    def __init__(self, settings):
        s = settings
        self.i2c_id = s.i2c_id
        self.sda = s.sda_pin
        self.scl = s.scl_pin
        self.address = s.address
        self.chip = CHIPS[s.chip]
        self.i2c = self._bus()
        self.fetch = self.i2c.readfrom_mem_into
        self.shunt_register = self.chip.SHUNT
        self.bus_register = self.chip.BUS
        self.two = bytearray(2)
        self.three = bytearray(3)
        self.over_mv = s.over_mv
        # mV = bits * factor >> shift, mA likewise
        self.bus_factor, self.bus_shift = scale(self.chip.BUS_UV * s.bus_gain_ppm, 1000 * 1000000)
        self.bus_half = 1 << self.bus_shift >> 1
        self.amps_factor, self.amps_shift = scale(
            self.chip.SHUNT_NV * s.amps_gain_ppm, s.shunt_uohm * 1000000
        )
        # a bus register's bits, and where the readings end
        self.bus_drop = self.chip.BUS_DROP
        self.bus_end = self.chip.BUS_END
        self.shunt_end = self.chip.SHUNT_END
        self.shunt_low = self.chip.SHUNT_LOW
        self.bus_offset_mv = s.bus_offset_mv
        self.amps_offset_ma = s.amps_offset_ma
        self.amps_rest = 1 << self.amps_shift >> 1  # half: the first one rounds
        self.out = hasattr(self.chip, "OUT_SHUNT") and s.out_shunt_uohm >= LEAST_SHUNT_UOHM
        if self.out:
            self.out_factor, self.out_shift = scale(
                self.chip.SHUNT_NV * s.out_amps_gain_ppm, s.out_shunt_uohm * 1000000
            )
            self.out_rest = 1 << self.out_shift >> 1
            self.out_bus_factor, self.out_bus_shift = scale(
                self.chip.BUS_UV * s.out_bus_gain_ppm, 1000 * 1000000
            )
            self.out_bus_half = 1 << self.out_bus_shift >> 1
            self.out_bus_offset_mv = s.out_bus_offset_mv
            self.out_amps_offset_ma = s.out_amps_offset_ma
        self.bus_adc = adc(s.bus_adc_pin) if s.bus_adc_pin >= 0 else None
        self.adc_factor, self.adc_shift = scale(3300 * s.divider_permille, 65535 * 1000)
        self.supply_adc = adc(s.supply_adc_pin) if s.supply_adc_pin >= 0 else None
        self.supply_factor, self.supply_shift = scale(3300 * s.supply_permille, 65535 * 1000)
        self.lost = True
        self.fresh = False  # this tick's readings are the chip's
        self.errors = 0
        self.repairs = 0
        self.lost_ticks = LOST_TICKS if self.bus_adc is not None else BLIND_TICKS
        self.missed = self.lost_ticks
        self.stood = False  # the last look found no new conversion
        self.young = False  # set up so lately that there may be none yet
        self.until_check = CHECK_TICKS
        self.tried_ms = ticks_ms()
        self.carrying = False  # a load is connected
        self._begin()

    # ---- the chip

    def _bus(self):
        clear_bus(self.sda, self.scl)
        return I2C(
            self.i2c_id, sda=Pin(self.sda), scl=Pin(self.scl), freq=400000, timeout=TIMEOUT_US
        )

    def word(self, register):
        self.fetch(self.address, register, self.two)
        return self.two[0] << 8 | self.two[1]

    def set_word(self, register, value):
        three = self.three
        three[0] = register
        three[1] = value >> 8
        three[2] = value & 0xFF
        self.i2c.writeto(self.address, three)

    def start(self):
        """Free the bus, find the chip, set it up. Allocates; not for a steady tick."""
        self.tried_ms = ticks_ms()
        self.i2c = self._bus()
        self.fetch = self.i2c.readfrom_mem_into
        return self._begin()

    def _begin(self):
        try:
            if self.chip.known(self) and self.chip.set_up(self, self.over_mv):
                # an alert that does not tell is counted; the other barriers stay. Trying it
                # lets a connected load go
                if not self.carrying and not self.chip.prove(self, self.over_mv, sleep_ms):
                    self._count()
                sleep_ms(FRESH_MS)
                if not self.chip.stale(self, self.word(self.chip.BUS)):
                    self.missed = 0
                    self.lost = False
                    self.stood = False
                    self.young = True
                    self.until_check = CHECK_TICKS
                    return True
        except OSError:
            pass
        self._count()
        return False

    def _count(self):
        if self.errors < MOST:
            self.errors += 1

    def _repair(self):
        """The chip has been without power, or has stopped: set it up again."""
        self._count()
        self.repairs = min(self.repairs + 1, MOST)
        if not self.chip.set_up(self, self.over_mv):
            self.missed = self.lost_ticks
            raise OSError

    def _old(self):
        """An old reading counts as two that were missed, but not the first after a start."""
        if self.young:
            return
        self.stood = True
        self.missed += 1
        self._repair()
        raise OSError

    def look(self):
        """After a tick's edge, now and then: is the chip still set up as it was?"""
        self.until_check -= 1
        if self.until_check > 0 or self.lost:
            return
        self.until_check = CHECK_TICKS
        try:
            if self.word(self.chip.CONFIG) != self.chip.OUR_CONFIG:
                self._repair()
        except OSError:
            self._count()
            self.missed += 1
            self.lost = self.missed >= self.lost_ticks

    # ---- one tick

    def read(self, now):
        """Set now.bus_mv, bus_ma, supply_mv, volts, amps, saturated; out_mv, out_ma, out_known."""
        self.fresh = False
        now.out_known = False
        now.out_mv = 0
        now.saturated = False
        if self.supply_adc is not None:
            now.supply_mv = self.supply_adc.read_u16() * self.supply_factor >> self.supply_shift
        if not self.lost:
            try:
                self._read_chip(now)
                self.missed = 0
            except OSError:
                self._count()
                self.missed += 1
                now.saturated = False
                now.out_known = False
                now.out_mv = 0
            self.lost = self.missed >= self.lost_ticks
            if self.lost:
                self.tried_ms = ticks_ms()
        elif ticks_diff(ticks_ms(), self.tried_ms) >= RETRY_MS:
            self.carrying = now.connected
            self.start()
        if not self.fresh:
            self._read_adc(now)

    def _read_adc(self, now):
        """Volts without the chip. A single missed reading keeps the last current."""
        if self.lost:
            now.bus_ma = 0
            now.amps = False
        if self.bus_adc is not None:
            mv = self.bus_adc.read_u16() * self.adc_factor >> self.adc_shift
            now.bus_mv = min(mv, MOST)
            now.volts = True
        elif self.lost:
            now.bus_mv = 0
            now.volts = False

    def _read_chip(self, now):
        now.saturated = self.out and self._read_out(now)
        two = self.two
        self.fetch(self.address, self.shunt_register, two)
        raw = two[0] << 8 | two[1]
        if raw & 0x8000:
            raw -= 0x10000
        self.fetch(self.address, self.bus_register, two)
        bus = two[0] << 8 | two[1]
        if now.ms >= FRESH_MS:
            if self.chip.stale(self, bus):
                self._old()
            self.stood = False
            self.young = False
        elif self.stood:
            raise OSError
        bus >>= self.bus_drop
        if bus & 0x8000:
            bus = 0  # a little below ground
        if raw >= self.shunt_end or raw <= self.shunt_low or bus >= self.bus_end:
            now.saturated = True
        self._set(now, raw, bus)

    def _set(self, now, raw, bus):
        """mA and mV, corrected; the fraction of a milliamp waits for the next reading."""
        raw = raw * self.amps_factor + self.amps_rest
        ma = raw >> self.amps_shift
        self.amps_rest = raw - (ma << self.amps_shift)
        ma += self.amps_offset_ma
        if ma > MOST:
            ma = MOST
        elif ma < -MOST:
            ma = -MOST
        now.bus_ma = ma
        bus = (bus * self.bus_factor + self.bus_half >> self.bus_shift) + self.bus_offset_mv
        if bus < 0:
            bus = 0
        elif bus > MOST:
            bus = MOST
        now.bus_mv = bus
        now.volts = True
        now.amps = True
        self.fresh = True

    def _read_out(self, now):
        """The output's channel; does a reading stand at its end?"""
        chip = self.chip
        raw = self.word(chip.OUT_SHUNT)
        if raw & 0x8000:
            raw -= 0x10000
        bus = self.word(chip.OUT_BUS)
        self._set_out(now, raw, bus)
        ends = raw >= self.shunt_end or raw <= self.shunt_low
        return ends or self.bus_end <= bus < 0x8000

    def _set_out(self, now, raw, bits):
        """mV and mA of the output, corrected."""
        bits = self.chip.bus_bits(bits) * self.out_bus_factor + self.out_bus_half
        bits = (bits >> self.out_bus_shift) + self.out_bus_offset_mv
        now.out_mv = max(0, min(bits, MOST))
        bits = raw * self.out_factor + self.out_rest
        raw = bits >> self.out_shift
        self.out_rest = bits - (raw << self.out_shift)
        now.out_ma = max(-MOST, min(raw + self.out_amps_offset_ma, MOST))
        now.out_known = True
