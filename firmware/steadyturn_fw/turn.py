"""Turns of the handle from a reed contact or Hall switch, and whether the volts agree.

Pulses are counted by an interrupt of the pin: a reed is shut for 10-30 ms of a fast turn,
and a look every 20 ms would miss it. In each whole turn the volts' own turns are added up
beside the pulses. Where the two agree the pulses win: the pace from volts is scaled by their
ratio (so it stays quick and becomes exact), without current the time of the last turn gives
the pace, and turns are counted pulse by pulse. Where they disagree for `slip_ms` - gears that
slip, a loose motor lead, a dead turn sensor, a bus that something else feeds - the pace is
from volts alone, as without a turn sensor, and it is told. Nothing here releases the load.
"""

from array import array
from time import ticks_add, ticks_diff, ticks_us

from machine import Pin

from steadyturn_fw.pages import BOUND, EV_SLIP, FAULT_GEARS, NO_SENSOR, VALID, VOLTS_ONLY

UNITS = 600000  # dtpm * ms in one turn
MOST = 65535
QUIET_US = 2000  # a contact bounces for less (reeds: 0.5-1 ms, from memory)
MOST_LOCK_US = 20000  # pulses are never nearer than a part of the fastest turn, nor this
OLD_MS = 1000  # a pulse longer ago counts as this old where the clock's wrap would tell
MOST_SINCE_MS = 20000  # times 24 pulses and 1000 it is a small integer
MOST_TURN_US = 9000000  # below 7 turns a minute nobody charges anything
MOST_PASSED = 100 * 600000
LATE_US = 100000
LOST_TURNS = 3  # by volts without one pulse
STALL_MS = 60  # interrupts waited meanwhile: when the pulses came is not known
MOST_MS = 60000  # of a turn that is compared
AGAIN_MS = 60000  # told again while it lasts
FINE = 12  # bits of the ratio


class Turn:
    def __init__(self, settings):
        s = settings
        self.pulses = s.turn_pulses
        self.slip = s.slip_permille
        self.slip_ms = s.slip_ms
        self.rest_dtpm = s.rest_dtpm
        # below the current that counts, a diode's drop may still hide that much pace
        self.hidden_dtpm = s.drop_mv * 10000 // s.emf_uv_per_tpm
        # a quarter of the time between pulses at the pace that is too fast
        self.lock_us = min(UNITS * 250 // (s.over_dtpm * self.pulses), MOST_LOCK_US)
        # by the interrupt
        now_us = ticks_us()
        self.count = 0
        self.pulse_us = now_us
        self.edge_us = now_us
        self.closed = False
        self.times = array("i", [now_us] * self.pulses)  # type: ignore[type-var]
        self.next = 0
        self.turn_us = 0
        # by the tick
        self.seen = 0
        self.whole = 0  # pulses without a long pause: one more than a turn's and it is timed
        self.since_ms = 0  # since the last one
        self.window = 0  # pulses in the turn that is being compared,
        self.window_ms = 0
        self.volts = 0  # its turns by volts, in dtpm * ms,
        self.floor = True  # which are no more than the motors' own
        self.ceiling = True  # and no fewer
        self.ratio = 1 << FINE  # pulses' turns over the volts'
        self.ratio_known = False
        self.odd_ms = 0
        self.permille = -1  # of the disagreement that is to be told
        self.told_ms = AGAIN_MS
        self.rest = 0  # what is left of a pulse's share of a turn
        self.passed = 0  # turned by volts since the last pulse, in dtpm * ms,
        self.counted = 0  # and how much of that is in the total
        self.pin = Pin(s.turn_pin, Pin.IN, Pin.PULL_UP)
        self.closed = not self.pin.value()
        self._listen()

    def _listen(self):
        both = Pin.IRQ_FALLING | Pin.IRQ_RISING
        try:
            self.pin.irq(self._edge, both, hard=True)
        except (TypeError, ValueError):  # a port without: the handler runs between two bytecodes
            self.pin.irq(self._edge, both)

    def _edge(self, pin):
        """Hard interrupt: no allocation. The first edge after a pause is a change; what the
        contact then does within QUIET_US is bouncing, and where it ends is its new state."""
        at = ticks_us()
        if (
            not self.closed
            and ticks_diff(at, self.edge_us) >= QUIET_US
            and ticks_diff(at, self.pulse_us) >= self.lock_us
        ):
            i = self.next
            self.turn_us = ticks_diff(at, self.times[i])
            self.times[i] = at
            i += 1
            self.next = i if i < self.pulses else 0
            self.pulse_us = at
            self.count = self.count + 1 & MOST
        self.edge_us = at
        self.closed = not pin.value()

    # ---- one tick

    def update(self, now, dtpm):
        """dtpm: the pace from volts. Gives the better one, and sets now.measured,
        now.turn_units and, where the pulses alone know the pace, now.validity."""
        now.measured = False
        now.turn_units = 0
        fresh = self._new_pulses(now)
        if now.validity == NO_SENSOR:
            self._restart()
            return dtpm
        self._compare(now, dtpm, fresh)
        now.measured = self.whole > self.pulses and not self.odd_ms
        if fresh:
            self._count(now, fresh)
        elif now.validity == VALID:
            self._pass(now.measured, dtpm * now.ms)
        if now.measured:
            return self._pace(now, dtpm)
        return dtpm

    def _new_pulses(self, now):
        """How many came in this tick; long after the last one the count begins anew."""
        count = self.count
        fresh = min(count - self.seen & MOST, self.pulses)
        self.seen = count
        self.since_ms = min(self.since_ms + now.ms, MOST_SINCE_MS)
        if now.ms > STALL_MS:
            self._restart()
        if fresh:
            self.whole = min(self.whole + fresh, MOST)
            return fresh
        if self.whole and self.since_ms * 1000 * self.pulses > 2 * self._turn_us() + LATE_US:
            self._restart()
            if not self.odd_ms:  # the part of a turn after the last pulse
                now.turn_units = self.passed - self.counted
                self.counted = self.passed
        if self.since_ms > OLD_MS:
            # so that the clock's wrap has no effect
            self.edge_us = ticks_add(ticks_us(), -1000 * OLD_MS)
            self.pulse_us = self.edge_us
        return 0

    def _turn_us(self):
        """Of the last whole turn; before one is known, at the pace of rest."""
        if self.whole > self.pulses:
            return max(1, min(self.turn_us, MOST_TURN_US))
        return min(UNITS * 1000 // self.rest_dtpm, MOST_TURN_US)

    def _restart(self):
        """Nothing that was being compared or timed goes on."""
        self.whole = 0
        self.ratio_known = False
        self._next_turn(0)

    def _next_turn(self, tail):
        self.window = 0
        self.window_ms = 0
        self.volts = tail
        self.floor = self.ceiling = True

    def _compare(self, now, dtpm, fresh):
        """Add up this tick's turns by volts; a turn that is over is judged."""
        if now.validity != VALID:
            self.ceiling = self.ceiling and now.validity == BOUND
            self.floor = self.floor and now.validity == VOLTS_ONLY
            if now.validity == BOUND:
                dtpm += self.hidden_dtpm
        self.window_ms = min(self.window_ms + now.ms, MOST_MS)
        self.volts += dtpm * now.ms
        if fresh:
            # the tick's end, after the pulse, belongs to the next turn
            after_ms = ticks_diff(ticks_us(), self.pulse_us) // 1000
            self.since_ms = max(0, min(after_ms, now.ms))
            tail = dtpm * self.since_ms
            if self.whole == fresh:  # the first: a turn begins here
                self._next_turn(tail)
                return
            self.window += fresh
            if self.window >= self.pulses:
                self.volts -= tail
                self._judge(UNITS * self.window // self.pulses, self.volts)
                self._next_turn(tail)
        elif self.volts >= LOST_TURNS * UNITS:
            self._judge(UNITS * self.window // self.pulses, self.volts)
            self._restart()

    def _judge(self, turns, volts):
        """A turn is over, in dtpm * ms by pulses and by volts: do they agree?"""
        if max(turns, volts) < self.window_ms * self.rest_dtpm:
            return  # so slow that the volts tell little
        self._verdict((turns >> 8) * 1000 // max(1, volts >> 8))
        self.ratio_known = self.floor and self.ceiling and not self.odd_ms
        if self.ratio_known:
            self.ratio = (turns >> 6 << FINE) // (volts >> 6)

    def _verdict(self, permille):
        """permille: turns by pulses in thousandths of those by volts."""
        more = self.ceiling and permille > 1000 + self.slip
        less = self.floor and permille < 1000 - self.slip
        if not more and not less:
            if 1000 - self.slip <= permille <= 1000 + self.slip:
                self.odd_ms = 0
            return
        self.odd_ms = min(self.odd_ms + max(1, self.window_ms), MOST_MS)
        if self.odd_ms >= self.slip_ms:
            self.permille = min(permille, MOST)

    def _pace(self, now, dtpm):
        """The volts' pace made exact, or that of the last turn where there is no current."""
        if now.validity == VALID and self.ratio_known:
            return min(dtpm * self.ratio >> FINE, MOST)
        if now.validity == BOUND:
            now.validity = VALID
            now.silent_ticks = 0
        # slower than the last turn by as much as the next pulse is late
        turn_us = max(self._turn_us(), self.since_ms * 1000 * self.pulses)
        return min(UNITS * 1000 // turn_us, MOST)

    def _pass(self, measured, part):
        """Turned by volts without a pulse, in the total already where pulses do not count."""
        self.passed = min(self.passed + part, MOST_PASSED)
        if not measured:
            self.counted = min(self.counted + part, MOST_PASSED)

    def _count(self, now, fresh):
        """Units of a turn that the pulses add to the total, beside what the volts have."""
        if not self.odd_ms:
            whole = UNITS * fresh + self.rest
            units = whole // self.pulses
            self.rest = whole - units * self.pulses
            now.turn_units = max(0, units - self.counted)
        self.passed = 0
        self.counted = 0

    # ---- what is told

    def tell(self, now, journal, faults):
        """An event and a fault that the lamp counts out once, again after a minute."""
        self.told_ms = min(self.told_ms + now.ms, AGAIN_MS)
        told = self.permille >= 0 and self.told_ms >= AGAIN_MS
        if told:
            journal.event(EV_SLIP, self.permille, now.t_ms)
            self.told_ms = 0
        self.permille = -1
        faults.watch(FAULT_GEARS, told)
