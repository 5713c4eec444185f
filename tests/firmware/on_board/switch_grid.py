"""Runs the load switch through every combination of states and conditions: TABLE is JSON, the
rows of the table; WHOLE=1: the whole product, else causes and the rest in turn.

Prints JSON: what differs, the cases tried, and how often each row was taken.
"""

import json
import os

import bench
import machine

from steadyturn_fw import pages
from steadyturn_fw.now import Now
from steadyturn_fw.switch import Switch

RELEASED = ("barred", "not_yet", "waiting")
TABLE = [tuple(row) for row in json.loads(os.getenv("TABLE"))]
S = bench.Settings(over_out_mv=5400, heat_adc_pin=27)
LET_GO = 19
machine.recording = True

# what the switch looks at, and which values are tried; the first is the harmless one
DIMENSIONS = (
    ("volts", ("enough", "few", "low", "over")),
    ("out", ("well", "over")),
    ("amps", ("well", "over")),
    ("saturated", (False, True)),
    ("hot", (False, True)),
    ("validity", (pages.VALID, pages.BOUND, pages.VOLTS_ONLY, pages.NO_SENSOR)),
    ("pace", ("enough", "slow", "soon slow", "falling", "over")),
    ("asked", (False, True)),
    ("fading", (False, True)),
    ("motors", ("give", "rest")),
    ("cue", (pages.HOLD, pages.REST, pages.STOP)),
    ("steady", (True, False)),
    ("gap", (True, False)),
    ("busy", (False, True)),
)
FORBIDS = ("volts", "out", "amps", "saturated", "hot", "validity", "pace", "asked", "fading",
           "motors")
BUS = {"enough": 7000, "few": 5000, "low": 3000, "over": 12000}
PACE = {"enough": (800, 800), "slow": (540, 540), "soon slow": (800, 700 - 1),
        "falling": (1000, 800), "over": (1300, 1300)}
SINCE = {"young": (1000, 4981), "connected": (6000, 9981), "proven": (20000,)}


def products(names):
    """Every combination of these dimensions, the others harmless; one dict, changed."""
    x = {name: values[0] for name, values in DIMENSIONS}
    moving = [(name, values) for name, values in DIMENSIONS if name in names]
    at = [0] * len(moving)
    while True:
        yield x
        for i, (name, values) in enumerate(moving):
            at[i] = (at[i] + 1) % len(values)
            x[name] = values[at[i]]
            if at[i]:
                break
        else:
            return


def holds(when, x, since_ms, least):
    """Does the condition hold? From the abstract values alone."""
    pace, ahead = PACE[x["pace"]]
    keeps = 63 if x["validity"] == pages.BOUND else 56
    if when == "over_voltage":
        return x["volts"] == "over" or x["out"] == "over"
    if when == "over_current":
        return x["amps"] == "over" or x["saturated"]
    if when == "over_temperature":
        return x["hot"]
    if when == "sensor_lost":
        return x["validity"] == pages.NO_SENSOR
    if when == "over_speed":
        return x["pace"] == "over" and x["validity"] != pages.BOUND
    if when in ("asked", "fading"):
        return x[when]
    if when == "low_bus":
        return x["volts"] == "low"
    if when == "collapse":
        return x["volts"] == "low" and x["validity"] == pages.VALID and x["motors"] == "give"
    if when == "lasts":
        return since_ms >= 5000
    if when == "proves":
        return since_ms >= 10000
    if when == "not enough":
        return (x["volts"] in ("few", "low") or pace < least or ahead < least
                or ahead * 64 < pace * keeps or x["cue"] != pages.HOLD)
    if when == "not waited":
        return not x["steady"] or not x["gap"] or x["busy"]
    return True  # "carries"


def expected(state, x, since_ms, least, fails, taken):
    """The state after this tick, its reason and the failures, by the table alone."""
    for number, row in enumerate(TABLE):
        sources, when, to, reason, failures = row
        if when == "stalled" or state not in sources or not holds(when, x, since_ms, least):
            continue
        taken[number] += 1
        if failures:
            fails = min(fails + 1, 4) if failures == "one more" else 0
        state = to
        if when not in ("proves", "lasts"):
            return state, reason, fails
    return state, None, fails


def now_of(x):
    now = Now()
    now.bus_mv = BUS[x["volts"]]
    now.out_mv = 5400 if x["out"] == "over" else 5100
    now.bus_ma = 2000 if x["amps"] == "over" else 500
    now.motor_ma = 520 if x["motors"] == "give" else 20
    if x["amps"] == "over" and x["motors"] == "give":
        now.motor_ma = 2020
    now.saturated = x["saturated"]
    now.too_hot = x["hot"]
    now.validity = x["validity"]
    now.pace_dtpm, now.ahead_dtpm = PACE[x["pace"]]
    now.raw_dtpm = now.pace_dtpm
    now.supply_mv = 3999 if x["fading"] else 4800
    now.cue = x["cue"]
    return now


def seen(switch, was):
    """The state the switch is in after a tick, as far as it shows."""
    if switch.connected:
        return "connected"
    why = pages.REASONS[switch.why]
    if was and why in ("low_bus", "not_yet"):
        return "not_yet"
    return why if why in ("not_yet", "waiting") else "barred"


def start(switch, state, since_ms, x, fails):
    connected = state not in RELEASED
    switch.connected = connected
    switch.since_ms = since_ms
    switch.steady_ms = 20000 if x["steady"] else 0
    switch.told_ms = 0
    switch.fails = fails
    switch.asked = x["asked"]
    switch.fading = False
    switch.busy = x["busy"]
    switch.why = pages.WHY_NONE if connected else pages.WHY_NOT_YET
    switch.let_go.level = 0 if connected else 1
    switch.collapsed = False


def try_one(switch, state, since_ms, x, fails, taken):
    start(switch, state, since_ms, x, fails)
    now = now_of(x)
    least = min(S.connect_dtpm + fails * switch.step_dtpm, switch.most_dtpm)
    after_ms = min(since_ms + now.ms, 120000)
    to, reason, right_fails = expected(state, x, after_ms, least, fails, taken)
    switch.update(now)
    was = state not in RELEASED
    bad = []
    right = "connected" if to not in RELEASED else to
    if seen(switch, was) != right:
        bad.append("is %s" % seen(switch, was))
    if reason and pages.REASONS[switch.why] != reason:
        bad.append("says %s" % pages.REASONS[switch.why])
    if (now.connected and not switch.connected) or switch.let_go.level == switch.connected:
        bad.append("pins")
    if switch.fails != right_fails:
        bad.append("%d failures" % switch.fails)
    if not was and switch.connected and switch.since_ms:
        bad.append("clock")
    return bad


def stalled(found, taken):
    number = [row[1] for row in TABLE].index("stalled")
    for state in TABLE[number][0]:
        switch = Switch(S)
        x = next(products(()))
        start(switch, state, SINCE[state][0], x, 1)
        now = now_of(x)
        now.connected = True
        switch.stalled(now)
        taken[number] += 1
        if switch.connected or now.connected or pages.REASONS[switch.why] != "waiting" \
                or switch.fails != 1 or not switch.let_go.level:
            found.append("%s stalled" % state)


def every(sweeps):
    for names in sweeps:
        for x in products(names):
            yield x


def main():
    found = []
    taken = [0] * len(TABLE)
    tried = 0
    switch = Switch(S)
    machine.recording = False
    rest = tuple([name for name, _ in DIMENSIONS if name not in FORBIDS])
    if os.getenv("WHOLE"):
        sweeps = (FORBIDS + rest,)
    else:
        sweeps = FORBIDS, ("volts", "pace", "validity") + rest
    for x in every(sweeps):
        for state in RELEASED[:1] + ("young", "connected", "proven"):
            gap = 119000 if x["gap"] else 0
            for since_ms in SINCE.get(state, (gap,)):
                for fails in (0,) if state == "proven" else (0, 4):
                    bad = try_one(switch, state, since_ms, x, fails, taken)
                    tried += 1
                    if bad and len(found) < 20:
                        found.append("%s %d ms, %d failures, %r: %s" % (
                            state, since_ms, fails, x, ", ".join(bad)))
    stalled(found, taken)
    print(json.dumps([found, tried, taken]))


main()
