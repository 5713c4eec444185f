"""The loop: one tick every 20 ms on deadlines, questions answered in between."""

from machine import unique_id
from time import sleep_ms, ticks_add, ticks_diff, ticks_us

from steadyturn_fw import pages
from steadyturn_fw.link import Link
from steadyturn_fw.sensor import Sensor

TICK_US = 20000
MOST = 65535


class Loop:
    def __init__(self, loaded):
        self.loaded = loaded
        self.settings = loaded.settings
        self.sensor = Sensor(self.settings) if self.settings else None
        self.link = Link(self)
        self.t_ms = 0
        self.t_us = 0
        self.last_us = ticks_us()
        self.late = 0

    def run(self):
        deadline = ticks_us()
        while True:
            self.tick()
            deadline = ticks_add(deadline, TICK_US)
            left = ticks_diff(deadline, ticks_us())
            if left < -TICK_US:
                self.late = min(self.late + 1, MOST)
                deadline = ticks_us()
            self.idle(deadline)

    def idle(self, deadline):
        self.link.service()
        while True:
            left = ticks_diff(deadline, ticks_us()) // 1000
            if left <= 0:
                return
            if self.link.active():
                sleep_ms(1)
                self.link.service()
            else:
                sleep_ms(left)

    def tick(self):
        now = ticks_us()
        dt = ticks_diff(now, self.last_us)
        self.last_us = now
        self.t_us += dt
        self.t_ms += self.t_us // 1000
        self.t_us %= 1000
        if self.sensor is not None:
            self.sensor.read()

    def stop(self):
        pass

    # ---- what the link asks for

    def host_seen(self):
        pass

    def flush_asked(self):
        pass

    def release_asked(self):
        pass

    def settings_body(self):
        return self.loaded.body

    def copy_page(self, seq, frame, at):
        return False

    def fill_who(self, frame, at):
        put = pages.put
        put(frame, at + 2, 4, 0)
        put(frame, at + 6, 3, 0)
        put(frame, at + 9, 4, self.t_ms)
        put(frame, at + 13, 4, 1)
        put(frame, at + 17, 4, 0)
        name = unique_id()
        i = 0
        while i < 8:
            frame[at + 21 + i] = name[i] if i < len(name) else 0
            i += 1

    def fill_state(self, frame, at):
        put = pages.put
        i = 0
        while i < 70:
            frame[at + i] = 0
            i += 1
        put(frame, at, 4, self.t_ms)
        if self.sensor is not None:
            put(frame, at + 7, 2, self.sensor.bus_mv)
            put(frame, at + 9, 2, max(0, self.sensor.bus_ma))
            put(frame, at + 19, 2, min(MOST, self.sensor.supply_mv))
            put(frame, at + 68, 2, self.sensor.errors)
            frame[at + 18] = 1
        put(frame, at + 66, 2, self.late)
        self.loaded.crc.store(frame, at + 62)
