"""Findings about converter and phone: dropping out, hunting, taking nothing, taking little."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.model.charging_reach import reach
from steadyturn.sessions import arm
from steadyturn.sessions.findings import Case, Finding, weigh
from steadyturn.sessions.flow import IDLE_SHARE, SAMPLE_S, SETTLE_S, Flags, run_long

# A collapse now and then is a hand that stopped; three, and one in three minutes of charging, in
# the band is a machine that carries less than its settings say.
LEAST_COLLAPSES, COLLAPSES_PER_S = 3, 1 / 180
# The switch itself calls a connection that lasted 10 s proven (firmware/states.md). Four that did
# not, and one in two minutes, are no single slip.
SHORT_S, LEAST_SHORT, SHORT_PER_S = 10.0, 4, 1 / 120
# Each rest begins a boot and ends a connection, and a hand slips now and then. Ten more, and more
# than one a minute, are a phone that is plugged and unplugged all the time; common practice, no
# source
LEAST_MORE, MORE_PER_S = 10, 1 / 60
IDLE_S, IDLE_PERCENT = 60.0, 15.0  # a phone that only thinks for a while is no fault
LESS_SHARE = 0.85  # of the model's power: sensor and converter are off by less


@dataclass(frozen=True, slots=True)
class Connection:
    """One connection of the load. reason: why it ended, -1 where the journal does not say."""

    boot: int
    begin_ms: int
    length_s: float
    reason: int


def connections(events: NDArray[np.void]) -> list[Connection]:
    """The connections whose begin and end are both in the journal."""
    out = []
    begun: dict[int, int] = {}
    codes = np.isin(events["code"], (layout.EV_CONNECTED, layout.EV_RELEASED))
    for row in events[codes][np.lexsort((events[codes]["t_ms"], events[codes]["boot"]))]:
        boot, t_ms = int(row["boot"]), int(row["t_ms"])
        if row["code"] == layout.EV_CONNECTED:
            begun[boot] = t_ms
        elif boot in begun:
            begin = begun.pop(boot)
            out.append(Connection(boot, begin, (t_ms - begin) / 1000, int(row["argument"])))
    return out


def load_findings(case: Case) -> list[Finding | None]:
    dropping, idle = _drops_out(case), _idle(case)
    # what drops out hunts as well, and an idle phone draws less
    hunting = None if dropping else _hunts(case)
    return [dropping, hunting, None if dropping or hunting else _comes_and_goes(case), idle,
            None if idle else _draws_less(case)]


def _lost(case: Case) -> tuple[Flags, float]:
    """Turned in the band with the phone released: which samples, and their share in percent of
    the time by which the hand is judged."""
    flow = case.flow
    inside = case.judged & (flow.pace_tpm >= case.low_tpm) & (flow.pace_tpm <= case.high_tpm)
    lost = inside & ~flow.connected
    return lost, case.percent(lost, case.judged)


def _lost_gain(case: Case, lost: Flags, **more: float) -> dict[str, float] | None:
    """Had the phone been connected at those paces too."""
    if case.rig is None or not lost.any():
        return None
    out_w, arm_w = case.runs_w(case.rig, float(np.median(case.flow.pace_tpm[lost])))
    if out_w <= 0:
        return None
    seconds = case.flow.seconds(lost)
    worked = float(arm.power_w(case.rig, case.flow)[lost].sum()) * SAMPLE_S
    return case.gain(out_w * seconds, arm_w * seconds - worked, **more)


def _drops_out(case: Case) -> Finding | None:
    events = case.pages.events
    seen = events[events["code"] == layout.EV_COLLAPSE]
    low = _at_boots(case, seen["boot"])
    inside = seen["argument"] / 10 >= low
    count = int(np.count_nonzero(inside))
    if count < LEAST_COLLAPSES or count < COLLAPSES_PER_S * case.figures.connected_s:
        return None
    lost, share = _lost(case)
    gain = _lost_gain(case, lost)
    weight = weigh(gain, share)
    if weight is None:
        return None
    evidence: dict[str, float | str] = {
        "collapses": count, "pace_tpm": float(np.median(seen["argument"][inside])) / 10,
        "low_tpm": float(np.median(low[inside])), "lost_s": case.flow.seconds(lost)}
    power = next((c for c in case.expected if c.name == "power_in"), None)
    if power is not None and power.verdict == "more":
        evidence |= {"power_w": power.measured, "expected_w": power.expected}
    return Finding("drops_out", evidence, gain, weight)


def _at_boots(case: Case, boots: NDArray[np.int64]) -> NDArray[np.float64]:
    """The band's low edge in these boots, NaN where it is not known."""
    numbers, first = np.unique(case.flow.boot, return_index=True)
    known = dict(zip(numbers.tolist(), case.low_tpm[first].tolist(), strict=True))
    return np.array([known.get(boot, np.nan) for boot in boots.tolist()])


def _hunts(case: Case) -> Finding | None:
    short = [c for c in connections(case.pages.events)
             if c.length_s < SHORT_S and c.reason == layout.WHY_LOW_BUS]
    if len(short) < LEAST_SHORT or len(short) < SHORT_PER_S * case.figures.turning_s:
        return None
    lost, share = _lost(case)
    gain = _lost_gain(case, lost)
    weight = weigh(gain, share)
    if weight is None:
        return None
    return Finding("hunts", {
        "short_connections": len(short), "of_connections": float(case.figures.connections),
        "median_s": float(np.median([c.length_s for c in short])),
        "lost_s": case.flow.seconds(lost)}, gain, weight)


def _comes_and_goes(case: Case) -> Finding | None:
    """Connected again and again, however long each time."""
    f = case.figures
    more = f.connections - max(len(f.boots), 1)
    if more < LEAST_MORE or more < MORE_PER_S * f.turning_s:
        return None
    causes = {name: count for name, count in f.releases.items() if name != "fading"}
    lost, share = _lost(case)
    gain = _lost_gain(case, lost)
    told = weigh(gain, share)
    # a phone that is unplugged all the time is worth a line, whatever it takes meanwhile
    return Finding("comes_and_goes", {
        "connections": float(f.connections), "turning_s": f.turning_s,
        "lost_s": case.flow.seconds(lost),
        "cause": max(causes, key=lambda name: causes[name], default="")},
        None if told is None else gain, told or 0.0)


def _idle(case: Case) -> Finding | None:
    """Connected and turned, and next to nothing flows."""
    flow = case.flow
    long = run_long(flow, flow.connected, SETTLE_S) & flow.turning
    if not long.any():
        return None
    usual_w = _usual_w(case, long)
    idle = long & (flow.watts < IDLE_SHARE * usual_w)
    share = case.percent(idle, long)
    if flow.seconds(idle) < IDLE_S or share < IDLE_PERCENT:
        return None
    gain = None
    if case.rig is not None:
        worked = float(arm.power_w(case.rig, flow)[idle].sum()) * SAMPLE_S
        gain = case.gain(0.0, -worked)
    weight = weigh(gain, share)
    if weight is None:
        return None
    rows = np.flatnonzero(long)
    last = rows[-max(1, len(rows) // 10) :]
    return Finding("phone_idle", {
        "idle_s": flow.seconds(idle), "idle_percent": share,
        "idle_w": float(flow.watts[idle].mean()), "usual_w": usual_w,
        "when": "to the end" if idle[last].mean() > 0.9 else "now and then",
        "turns": float(flow.pace_tpm[idle].sum()) * SAMPLE_S / 60}, gain, weight)


def _usual_w(case: Case, long: Flags) -> float:
    """Into the converter while a phone charges: by the model, else the outing's own most."""
    own = float(np.percentile(case.flow.watts[long], 90))
    if case.rig is None or not case.flow.turning.any():
        return own
    pace = float(np.median(case.flow.pace_tpm[long]))
    return max(case.runs_w(case.rig, pace)[0], own)


def _draws_less(case: Case) -> Finding | None:
    """Less flows than the rig file's device would take, and the machine could give it."""
    power = next((c for c in case.expected if c.name == "power_in"), None)
    if case.rig is None or power is None or power.verdict != "less":
        return None
    share = power.measured / power.expected
    if not IDLE_SHARE <= share < LESS_SHARE:
        return None
    pace = case.pace.p50_tpm
    could = reach(case.rig, pace)
    out_w, arm_w = case.runs_w(case.rig, pace)
    if could.gives_a < case.rig.load.draw_a or out_w <= 0:
        return None
    seconds = power.seconds
    lacks = seconds * out_w * (1 - share)
    gain = case.gain(lacks, seconds * arm_w * (1 - share))
    weight = weigh(gain, 100 * (1 - share))
    if weight is None:
        return None
    return Finding("draws_less", {
        "power_w": power.measured, "expected_w": power.expected,
        "draw_a": case.rig.load.draw_a, "could_a": could.gives_a}, gain, weight)
