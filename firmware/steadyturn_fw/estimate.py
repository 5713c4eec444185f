"""Pace of the handle from volts and amps, in tenths of a turn a minute (dtpm).

EMF = bus volts + current * resistance + drop * current / (current + knee), and the
pace is EMF over the constant of motors and gears. The motors give what the sensor
sees, what the board itself draws, and what charges the capacitor. Only while that
current flows does the bus say anything about the motors: below `conduct_ma` the
diode holds the bus up, the pace is no more than this, and it is marked a bound.
"""

from steadyturn_fw.pages import BOUND, NO_SENSOR, VALID, VOLTS_ONLY
from steadyturn_fw.turn import Turn
from steadyturn_fw.warmth import Warmth

MOST_EMF_MV = 107000  # times 10,000 is still a small integer on a 32-bit board
MOST_DV_MV = 10000  # times 100,000 uF likewise; more in one tick is no reading
MOST_DTPM = 65535
MOST_MA = 65535
LOOK_TICKS = 150  # 3 s: the cue takes so many silent ones for rest,
SINKS = 64  # if the bus has sunk by more than one in so many: 1 mF and 190 kohm do that
FAST = 3  # the filters' time constants are 2**n ticks: 0.16 s
SLOW = 5  # and 0.64 s
FINE = 6  # bits of fraction in the filters


class Estimate:
    def __init__(self, settings):
        s = settings
        self.emf_uv = s.emf_uv_per_tpm
        self.set_ohm(s.source_mohm)
        self.drop_mv = s.drop_mv
        self.knee_ma = s.drop_knee_ma
        self.conduct_ma = s.conduct_ma
        self.supply_ma = s.supply_ma
        self.capacitor_uf = s.capacitor_uf
        self.watched = s.supply_adc_pin >= 0
        self.turn = Turn(s) if s.turn_pin >= 0 else None
        self.warmth = Warmth(s) if s.warm_s else None
        self.last_mv = -1
        self.mark_mv = 0  # the bus when it was last looked at for sinking,
        self.low_mv = 0  # the least since then
        self.looked = 0  # and how many ticks ago
        self.fast = 0
        self.slow = 0

    def set_ohm(self, mohm):
        self.ohm = mohm // 1000
        self.mohm = mohm % 1000

    def update(self, now):
        """One tick: from now.bus_mv, bus_ma and supply_mv to the pace and its validity."""
        if not now.volts:
            self._forget(now)
            return
        if not now.amps:
            # without the current the volts alone: the least that the pace can be
            now.validity = VOLTS_ONLY
            now.motor_ma = 0
            now.silent_ticks = 0
            dtpm = self._dtpm(now.bus_mv)
        else:
            self._current(now)
            emf = self.sag_mv(now.motor_ma)
            emf += now.bus_mv
            dtpm = self._dtpm(emf)
        if self.turn is not None:
            dtpm = self.turn.update(now, dtpm)
        self._filter(now, dtpm)
        if self.warmth is not None:
            self.warmth.update(now, self)
        self.last_mv = now.bus_mv

    def _current(self, now):
        ma = now.bus_ma
        if self.capacitor_uf and self.last_mv >= 0:
            # into the capacitor: uF * mV / ms is uA
            step = now.bus_mv - self.last_mv
            if step:
                step = max(-MOST_DV_MV, min(step, MOST_DV_MV))
                ma += self.capacitor_uf * step // (1000 * (now.ms or 1))
        if not self.watched or now.bus_mv > now.supply_mv:
            ma += self.supply_ma
        if ma < 0:
            ma = 0
        elif ma > MOST_MA:
            ma = MOST_MA
        now.motor_ma = ma
        if ma >= self.conduct_ma:
            now.validity = VALID
            now.silent_ticks = 0
        else:
            now.validity = BOUND
            self._quiet(now)

    def _quiet(self, now):
        """Without current: does the capacitor alone hold the bus, or a handle turned evenly?

        Alone it sinks, through dividers and its own leak; only then the ticks are silent ones.
        """
        mv = now.bus_mv
        ticks = now.silent_ticks
        self.looked += 1
        if mv < self.low_mv:
            self.low_mv = mv
        elif mv * SINKS > self.low_mv * (SINKS + 1):
            ticks = 0
        if self.looked >= LOOK_TICKS:
            if mv * SINKS > self.mark_mv * (SINKS - 1):
                ticks = 0
            self.looked = 0
        if not ticks:
            self.looked = 0
        if not self.looked:
            self.mark_mv = mv
            self.low_mv = mv
        now.silent_ticks = min(ticks + 1, MOST_MA)

    def sag_mv(self, ma):
        """What is lost between the EMF and the bus at this current."""
        mv = ma * self.ohm + ma * self.mohm // 1000
        return mv + self.drop_mv * ma // (ma + self.knee_ma)

    def _dtpm(self, emf_mv):
        if emf_mv > MOST_EMF_MV:
            emf_mv = MOST_EMF_MV
        dtpm = emf_mv * 10000 // self.emf_uv
        return dtpm if dtpm < MOST_DTPM else MOST_DTPM

    def _filter(self, now, dtpm):
        now.raw_dtpm = dtpm
        fine = dtpm << FINE
        fast = self.fast
        slow = self.slow
        if self.last_mv < 0:  # nothing is known of before: begin here, not at rest
            fast = fine
            slow = fine
        fast += fine - fast >> FAST
        slow += fine - slow >> SLOW
        self.fast = fast
        self.slow = slow
        now.pace_dtpm = fast >> FINE
        # the two filters lag by 0.14 and 0.62 s, so their difference is about half a
        # second of trend: five eighths of it is 0.3 s ahead
        fast += (fast - slow) * 5 // 8
        now.ahead_dtpm = fast >> FINE if fast > 0 else 0

    def _forget(self, now):
        now.validity = NO_SENSOR
        now.motor_ma = 0
        self.last_mv = -1
        if self.turn is not None:
            self.turn.update(now, 0)
        self._filter(now, 0)
