"""What happens within a step is located, not stepped over: starts and stops of the
converter, the end of its soft start, the hardware cuts, the handle's standstill.

A step in which something happens is not taken. It is tried again shorter, by secant, until
the crossing lies less than `WITHIN_S` ahead; then what happens is done there, and the rest
of the step follows. Shorter steps that fall short of the crossing are taken, so that nothing
has to be undone. Page: dynamics.md.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from steadyturn.model.dynamics_step import REARM, Hand, steps

if TYPE_CHECKING:
    from steadyturn.model.dynamics import Machine

WITHIN_S = 1e-6  # how well an event is located
MOST_EVENTS = 6  # in one step; of a machine that hunts faster the rest is stepped over
_TRIES = 40  # to locate one event; three to five are the rule
_FIRST_S = 1e-5  # the first step after an event; the later ones grow with the time since
_GROWTH = 0.25  # no longer than this share of the time since
_FINE = 16  # steps to the inductance's radian, after an event that makes it ring
_FINE_RADIANS = 3.2  # half a swing: then the rectifier blocks, or it has died down


def run(m: Machine, end: int, arm: Hand, connected: bool, board_on: bool,
        host_power: bool) -> None:
    """Steps of `m` up to number `end`, at one winding temperature.

    As in `Machine.advance`: connected, board_on, host_power.

    >>> from steadyturn.model.dynamics import Machine
    >>> from steadyturn.model.hand import Servo
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = Machine(read_rig(example_path("lakeside-hut")))  # in steps of 2 ms
    >>> hut.log = []
    >>> run(hut, 60, Servo(60.0), True, True, False)
    >>> [(round(t_s, 4), what) for t_s, what in hut.log]  # [s]; the soft start takes 5 ms
    [(0.0052, 'starts'), (0.0102, 'soft')]
    """
    how = arm, connected, board_on, host_power
    whole, h = m.parts.whole, m.step_s
    before = m.state.converter_on
    if not m.locate:
        m.steps = steps(m, whole, 0.0, m.steps, end, *how, watch=False)
        _note(m, before)
        return
    joined = connected, m.plugged
    if joined != m.joined_before:
        m.joined_before = joined
        _gate(m, connected)
        m.since_s = 0.0
    calm = max(h / _GROWTH, _FINE_RADIANS * m.parts.sway_s)
    while m.steps < end:
        if m.since_s >= calm:
            m.steps = steps(m, whole, 0.0, m.steps, end, *how)
            if m.steps == end:
                return
        _within(m, how)  # also where the last event is recent
        m.steps += 1
        m.state.time_s = m.steps * h
        m.motor_before_a = m.state.motor_a


def _within(m: Machine, how: tuple[Hand, bool, bool, bool]) -> None:
    """One step in which something happens, or soon after that."""
    s, parts = m.state, m.parts
    now, left = m.steps * m.step_s, m.step_s
    ahead, past = inf, 0.0  # something happens before this; how far past its threshold
    what, shrink, tries, events = "", 1.0, 0, 0
    while left > 1e-9:
        if events == MOST_EVENTS:
            before = s.converter_on
            steps(m, parts.cut(left), now, 0, 1, *how, watch=False)
            _note(m, before)
            return
        length = _length(m)
        length = min(length, left)
        if ahead < inf:
            gap = -_past(m, what) * shrink
            length = min(ahead * gap / (gap + past), length) if gap > 0.0 else 0.0
            length = min(max(length, WITHIN_S), left, ahead)
        m.motor_before_a = s.motor_a
        if steps(m, parts.cut_of(length), now, 0, 1, *how):
            now += length
            left -= length
            ahead -= length
            m.since_s += length
            shrink, past = 1.0, past / 2
        else:
            assert m.event is not None
            if what == m.event[0]:
                shrink /= 2
            what, past = m.event
            ahead = length
            if what == "soft":
                ahead, past, shrink = (1.0 - m.soft) * parts.soft_s, 0.0, 1.0
        if ahead == inf:
            continue
        tries += 1
        if ahead <= WITHIN_S or tries > _TRIES:
            s.time_s = now
            _do(m, what, how[1])
            events += 1
            ahead, what, shrink, tries = inf, "", 1.0, 0


def _length(m: Machine) -> float:
    """A step's length [s] for how long ago the last event was."""
    since = m.since_s
    sway = m.parts.sway_s
    if since < _FINE_RADIANS * sway:
        return max(min(sway / _FINE, _GROWTH * since), _FIRST_S)
    length = _FIRST_S
    while 2 * length <= _GROWTH * since and length < m.step_s:
        length *= 2
    return length


def _past(m: Machine, what: str) -> float:
    """How far past its threshold the quantity is that tells of `what`; below zero: not yet."""
    s, p = m.state, m.parts
    if what == "starts":
        return s.bus_v - p.r_input * s.in_a - p.start_v
    if what == "stops":
        return p.stop_v - s.bus_v + p.r_input * s.in_a
    if what == "bus_cut":
        return s.bus_v - p.bus_cut_v
    if what == "out_cut":
        return s.converter_v - p.output_cut_v
    if what == "bus_back":
        return REARM * p.bus_cut_v - s.bus_v
    if what == "out_back":
        return REARM * p.output_cut_v - s.converter_v
    if what == "stands":
        return -abs(s.crank_rad_s)
    return m.soft - 1.0


def _do(m: Machine, what: str, connected: bool) -> None:
    s = m.state
    if what == "starts":
        s.converter_on, m.soft = True, 0.0
    elif what == "stops":
        s.converter_on, m.soft = False, 0.0
    elif what in ("bus_cut", "bus_back"):
        s.bus_cut = what == "bus_cut"
    elif what in ("out_cut", "out_back"):
        s.output_cut = what == "out_cut"
    elif what == "stands":
        s.crank_rad_s = 0.0
    elif what == "soft":
        if m.soft == 1.0:
            return  # the step that came to it has told
        m.soft = 1.0
    if m.log is not None:
        m.log.append((s.time_s, what))
    _gate(m, connected)
    if what not in ("stands", "soft"):
        m.since_s = 0.0


def _gate(m: Machine, connected: bool) -> None:
    """A released load or a bus cut that acted switches the converter off."""
    s, place = m.state, m.parts.place
    attached = connected and not s.bus_cut
    if s.converter_on and not attached and place in ("enable", "bus_switch"):
        s.converter_on, m.soft = False, 0.0
        if m.log is not None:
            m.log.append((s.time_s, "stops"))


def _note(m: Machine, before: bool) -> None:
    """The log of what was stepped over."""
    if m.log is not None and m.state.converter_on != before:
        m.log.append((m.state.time_s, "starts" if m.state.converter_on else "stops"))
