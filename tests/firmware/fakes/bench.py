"""A board on the bench: settings, sensor chips and a loop that ticks when told."""

import json
import os
from binascii import crc32

import machine
import time

VALUES = {
    "version": 3,
    "i2c_id": 0, "sda_pin": 4, "scl_pin": 5, "lamp_pin": 15, "lamp2_pin": -1, "switch_pin": 16,
    "turn_pin": -1, "second_load_pin": -1,
    "let_go_pin": 19, "button_pin": 14, "bus_adc_pin": 26, "supply_adc_pin": 29,
    "amps_adc_pin": 28, "heat_adc_pin": -1,
    "lamp_active_low": 0, "lamp_percent": 60,
    "more_rgb": 0x002B72, "enough_rgb": 0x00572C, "much_rgb": 0xCA5800, "danger_rgb": 0xAA1D00,
    "wrong_rgb": 0x808080,
    "watchdog": 1,
    "address": 0x40, "shunt_uohm": 50000, "out_shunt_uohm": 0,
    "bus_gain_ppm": 1000000, "bus_offset_mv": 0,
    "amps_gain_ppm": 1000000, "amps_offset_ma": 0, "divider_permille": 11000,
    "out_bus_gain_ppm": 1000000, "out_bus_offset_mv": 0,
    "out_amps_gain_ppm": 1000000, "out_amps_offset_ma": 0,
    "amplifier_permille": 20000, "amplifier_zero_mv": 0,
    "supply_permille": 3000,
    "emf_uv_per_tpm": 120000, "source_mohm": 2500, "drop_mv": 550, "drop_knee_ma": 20,
    "conduct_ma": 10, "supply_ma": 20, "capacitor_uf": 1000,
    "second_load_mohm": 0,
    "warm_s": 0, "warm_ck_per_w": 0, "warm_case_ck_per_w": 0, "warm_rest_uw_per_tpm": 0,
    "turn_pulses": 1, "slip_permille": 150, "slip_ms": 3000,
    "low_dtpm": 550, "target_dtpm": 650, "high_dtpm": 800, "rest_dtpm": 100,
    "window_low_mv": 4000, "window_high_mv": 9000, "hysteresis_dtpm": 20, "dwell_ms": 600,
    "slack_dtpm": 0,
    "connect_mv": 6000, "connect_dtpm": 560, "release_mv": 3500, "over_mv": 12000,
    "over_out_mv": 0, "over_ma": 2000, "over_dtpm": 1300, "gap_ms": 2000,
    "heat_limit_mv": 600, "heat_back_mv": 750, "heat_open_mv": 2800, "hardware_cut": 1,
    "out_mv": 5000, "loss_uw": 40000, "loss_mv": 250, "loss_mohm": 150, "path_mohm": 300,
    "percent_mj": 815000, "fade_mv": 4000, "forbid_mv": 3100,
    "bus_shift": 2, "amps_shift": 1,
    "chip": "ina226", "lamp": "led", "place": "bus_switch", "coil": "in",
    "rig": "a bench rig", "label": "bench",
}


START_US = 0  # where the clock stands when a board starts


def encode(values):
    """The bytes of a settings file."""
    body = json.dumps(values).encode()
    return b'{"crc": "%08x", "settings":\n' % crc32(body) + body + b"\n}\n"


class Settings:
    """Settings that were read, with some changed."""

    def __init__(self, **changed):
        for name in VALUES:
            setattr(self, name, changed.get(name, VALUES[name]))


class Ina226:
    """Registers as in TI SBOS547: what a conversion puts there follows volts and amps."""

    def __init__(self, shunt_uohm=50000):
        self.shunt_uohm = shunt_uohm
        self.nv = 0  # across the shunt
        self.mv = 0
        self.dead = False  # does not answer
        self.stopped = False  # converts no more
        self.reset()

    def reset(self):
        self.registers = {0: 0x4127, 5: 0, 6: 0, 7: 0, 0xFE: 0x5449, 0xFF: 0x2260}

    def set(self, mv, ma):
        self.mv = mv
        self.nv = ma * self.shunt_uohm

    def word(self, register):
        if self.dead:
            raise OSError(5)
        shunt = max(-32768, min(self.nv // 2500, 32767))
        bus = min(self.mv * 4 // 5, 32767)
        current = shunt * self.registers[5] // 2048
        if register == 1:
            return shunt & 0xFFFF
        if register == 2:
            return bus
        if register == 3:
            return abs(current) * bus // 20000
        if register == 4:
            return current & 0xFFFF
        if register == 6:
            mask = self.registers[6] & 0xFC03
            if mask & 0x2000 and bus > self.registers[7]:
                mask |= 0x10
            return mask if self.stopped else mask | 8
        return self.registers[register]

    def set_word(self, register, value):
        if self.dead:
            raise OSError(5)
        self.registers[register] = value & 0x7FFF if register == 5 else value


class Ina219:
    """Registers as in TI SBOS448."""

    def __init__(self, shunt_uohm=50000):
        self.shunt_uohm = shunt_uohm
        self.nv = 0
        self.mv = 0
        self.dead = False
        self.stopped = False
        self.reset()

    def reset(self):
        self.registers = {0: 0x399F, 5: 0}

    def set(self, mv, ma):
        self.mv = mv
        self.nv = ma * self.shunt_uohm

    def word(self, register):
        if self.dead:
            raise OSError(5)
        shunt = max(-32000, min(self.nv // 10000, 32000))
        bus = min(self.mv // 4, 8000)
        current = shunt * self.registers[5] // 4096
        if register == 1:
            return shunt & 0xFFFF
        if register == 2:
            return bus << 3 | (0 if self.stopped else 2)
        if register == 3:
            return abs(current) * bus // 5000
        if register == 4:
            return current & 0xFFFF
        return self.registers[register]

    def set_word(self, register, value):
        if self.dead:
            raise OSError(5)
        self.registers[register] = value & 0xFFFE if register == 5 else value


class Ina3221:
    """Registers as in TI SBOS576: channel 1 at the input, channel 2 at the output."""

    def __init__(self, shunt_uohm=50000, out_shunt_uohm=50000):
        self.shunt_uohm = shunt_uohm
        self.out_shunt_uohm = out_shunt_uohm
        self.nv = self.mv = 0
        self.out_nv = self.out_mv = 0
        self.dead = False
        self.stopped = False
        self.reset()

    def reset(self):
        self.registers = {0: 0x7127, 0x0F: 2, 0x10: 0x2710, 0x11: 0x2328, 0xFE: 0x5449,
                          0xFF: 0x3220}
        for limit in range(0x07, 0x0D):
            self.registers[limit] = 0x7FF8

    def set(self, mv, ma, out_mv=0, out_ma=0):
        self.mv = mv
        self.nv = ma * self.shunt_uohm
        self.out_mv = out_mv
        self.out_nv = out_ma * self.out_shunt_uohm

    def word(self, register):
        if self.dead:
            raise OSError(5)
        if register in (1, 3):
            nv = self.nv if register == 1 else self.out_nv
            return max(-4095, min(nv // 40000, 4095)) << 3 & 0xFFFF
        if register in (2, 4):
            mv = self.mv if register == 2 else self.out_mv
            return max(-4095, min(mv // 8, 4095)) << 3 & 0xFFFF
        if register == 0x0F:
            return self.registers[register] & ~1 | (0 if self.stopped else 1)
        return self.registers[register]

    def set_word(self, register, value):
        if self.dead:
            raise OSError(5)
        self.registers[register] = value


class Amplifier:
    """No chip: what the board's own ADC sees behind a divider and an amplifier."""

    def __init__(self, shunt_uohm=50000, permille=20000, zero_mv=0):
        self.shunt_uohm = shunt_uohm
        self.permille = permille
        self.zero_mv = zero_mv
        self.dead = False

    def set(self, mv, ma):
        machine.adc[26] = min(mv * 65535 // 36300, 65535)  # behind 11 : 1
        uv = ma * self.shunt_uohm // 1000 * self.permille // 1000 + self.zero_mv * 1000
        machine.adc[28] = max(0, min(uv // 100 * 65535 // 33000, 65535))


def adc_word(mv, permille):
    """What an ADC pin reads behind a divider."""
    return mv * 1000 // permille * 65535 // 3300


class Bench:
    """The whole program of a board, one tick at a time; its file system is where it runs."""

    def __init__(self, folder="", part=None, **changed):
        from steadyturn_fw import count, loop, main, settings, store

        machine.i2c_devices.clear()
        machine.adc.clear()
        machine.pins.clear()
        machine.edges.clear()
        machine.lamp.clear()
        machine.second.clear()
        machine.pixels.clear()
        machine.recording = True
        time.now_us = START_US
        self.chip = part or Ina226()
        machine.i2c_devices[0x40] = self.chip
        self.supply(4800)
        values = dict(VALUES)
        values.update(changed)
        name = folder + "/settings.json"
        with open(name, "wb") as file:
            file.write(encode(values))
        store.FOLDER = folder + "/journal"
        count.FILE = folder + "/count.bin"
        self.loaded = settings.load(name)
        self.loop = loop.Loop(self.loaded, main.board_row())
        self.now = self.loop.now

    def supply(self, mv):
        machine.adc[29] = adc_word(mv, 3000)

    def set(self, mv, ma):
        self.chip.set(mv, ma)
        machine.adc[26] = adc_word(mv, 11000)

    def tick(self, ms=20):
        time.sleep_ms(ms)
        self.loop.tick()
        self.loop.writing.work()

    def run(self, ms):
        while ms > 0:
            self.tick()
            ms -= 20


def clear(folder):
    """Remove a folder and all in it."""
    try:
        names = os.listdir(folder)
    except OSError:
        return
    for name in names:
        path = folder + "/" + name
        if os.stat(path)[0] & 0x4000:
            clear(path)
        else:
            os.remove(path)
    os.rmdir(folder)
