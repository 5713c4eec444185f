"""The hardware the firmware may use, as the tests set it. Shadows the built-in."""

import time

PWRON_RESET = 1
WDT_RESET = 3

adc = {}  # pin number -> u16
pins = {}  # pin number -> last Pin
i2c_devices = {}  # address -> object with word(register) and set_word(register, value)
LAMP2 = 13
OWN_LAMP = 25  # shows faults too where there are no settings; not recorded
lamp = []  # (ms, duty) of every change of the lamp, a pixel's as 257 times its brightest part
second = []  # the same of the second LED
pixels = []  # (ms, bytes) of every change
edges = []  # (ms, pin, level)
recording = True  # off where the tests count allocations


cause = [PWRON_RESET]  # what reset_cause tells
memory = {}  # address -> word, for mem32
dogs = []  # every WDT that was made
DOG_CTRL = 0x40058000
DOG_CLEAR = 0x4005B000
FRAME = 0x50110048
host = [False]  # a USB host is there: its frame number changes


class Memory:
    def __getitem__(self, at):
        if at == FRAME:
            return time.now_us // 1000 & 0x7FF if host[0] else memory.get(at, 0)
        return memory.get(at, 0)

    def __setitem__(self, at, word):
        if at == DOG_CLEAR:
            memory[DOG_CTRL] = 0
        else:
            memory[at] = word


mem32 = Memory()


class WDT:
    def __init__(self, id=0, timeout=5000):
        self.timeout = timeout
        self.fed = []
        memory[DOG_CTRL] = 1 << 30
        dogs.append(self)
        self.feed()

    def feed(self):
        self.fed.append(time.now_us // 1000)


def unique_id():
    return b"\x01\x02\x03\x04\x05\x06\x07\x08"


def reset_cause():
    return cause[0]


def reset():
    raise SystemExit


def freq():
    return 125000000


class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_FALLING = 4
    IRQ_RISING = 8
    handler = None

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        self.mode = mode
        self.level = 1 if pull == Pin.PULL_UP else 0
        pins[number] = self
        if value is not None:
            self.value(value)

    def init(self, mode=-1, pull=-1, value=None):
        self.mode = mode
        if value is not None:
            self.value(value)

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level
        if recording:
            edges.append((time.now_us // 1000, self.number, level))
        return None

    def irq(self, handler, trigger, hard=False):
        self.handler = handler

    def see(self, level):
        """From outside: a change of an input calls its interrupt at once."""
        if level != self.level:
            self.level = level
            if self.handler is not None:
                self.handler(self)


class ADC:
    def __init__(self, pin):
        self.number = pin.number if isinstance(pin, Pin) else pin

    def read_u16(self):
        return adc.get(self.number, 0)


class PWM:
    def __init__(self, pin, freq=1000, duty_u16=0):
        self.told = second if pin.number == LAMP2 else lamp
        self.duty = duty_u16
        self.hz = freq

    def duty_u16(self, value=None):
        if value is None:
            return self.duty
        self.duty = value
        if recording:
            self.told.append((time.now_us // 1000, value))
        return None

    def freq(self, value=None):
        if value is None:
            return self.hz
        self.hz = value
        return None

    def deinit(self):
        pass


def bitstream(pin, encoding, timing, data):
    time.now_us += 10 * len(data)  # 30 us a pixel
    if recording and pin.number != OWN_LAMP:
        ms = time.now_us // 1000
        lamp.append((ms, 257 * max(data)))
        pixels.append((ms, bytes(data)))


class I2C:
    def __init__(self, number, sda=None, scl=None, freq=400000, timeout=50000):
        self.timeout = timeout

    def scan(self):
        return sorted(i2c_devices)

    def _device(self, address):
        if address not in i2c_devices:
            raise OSError(5)
        return i2c_devices[address]

    def readfrom_mem_into(self, address, register, buffer):
        word = self._device(address).word(register)
        buffer[0] = word >> 8
        buffer[1] = word & 0xFF

    def writeto(self, address, data):
        self._device(address).set_word(data[0], data[1] << 8 | data[2])

    def writeto_mem(self, address, register, data):
        self._device(address).set_word(register, data[0] << 8 | data[1])
