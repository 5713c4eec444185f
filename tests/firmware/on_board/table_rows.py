"""Runs rows of states.md's example tables: ROWS is JSON, one list of cells a row."""

import json
import os

import bench
import machine

from steadyturn_fw import pages
from steadyturn_fw.cue import Cue
from steadyturn_fw.now import Now
from steadyturn_fw.switch import Switch


def thousandths(text):
    return int(float(text) * 1000 + 0.5)


def tenths(text):
    return int(float(text) * 10 + 0.5)


def now_at(mv, dtpm, ma, supply_mv):
    now = Now()
    now.validity = pages.VALID
    now.volts = now.amps = True
    set_to(now, mv, dtpm, ma, supply_mv)
    return now


def set_to(now, mv, dtpm, ma, supply_mv):
    now.bus_mv, now.bus_ma, now.supply_mv = mv, ma, supply_mv
    now.pace_dtpm = now.raw_dtpm = now.ahead_dtpm = dtpm


def switch_row(load, bus, pace, amps, supply, after, reason):
    switch = Switch(bench.Settings())
    now = now_at(7000, 650, 0, 4800) if load == "connected" else now_at(0, 0, 0, 4800)
    now.cue = pages.HOLD
    for _ in range(200):
        switch.update(now)
    if switch.connected != (load == "connected"):
        return "cannot be made %s" % load
    set_to(now, thousandths(bus), tenths(pace), thousandths(amps), thousandths(supply))
    for _ in range(150):
        switch.update(now)
    found = "connected" if switch.connected else "released", pages.REASONS[switch.why]
    return "" if found == (after, reason) else "%s, %s" % found


BEFORE = {"rest": 0, "faster": 300, "hold": 650, "slower": 900, "stop": 1400}


class Told:
    """In place of the cadence: a pace that has been there for long, and stays."""

    def update(self, now):
        self.here_dtpm = self.heading_dtpm = now.pace_dtpm


def cue_row(before, pace, bus, load, after):
    cue = Cue(bench.Settings())
    cue.cadence = Told()
    now = now_at(6000, BEFORE[before], 0, 4800)
    for _ in range(100):
        cue.update(now)
    if pages.CUES[now.cue] != before:
        return "cannot be made %s" % before
    now.connected = load == "connected"
    set_to(now, thousandths(bus), tenths(pace), 0, 4800)
    for _ in range(100):
        cue.update(now)
    found = pages.CUES[now.cue]
    return "" if found == after else found


machine.recording = False
kinds = {"switch": switch_row, "cue": cue_row}
run = kinds[os.getenv("KIND")]
print(json.dumps([run(*row) for row in json.loads(os.getenv("ROWS"))]))
