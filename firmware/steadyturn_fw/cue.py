"""Which cue: rest, faster, hold, slower, stop. states.md has the table.

Hold ends where the pace leaves the band by `slack_dtpm`, and begins again where it is
heading, 0.6 s ahead, `hysteresis_dtpm` inside: until somebody has seen that it is
enough they go on doing what they were told. The pace is that without the pull within a
turn (cadence.py), and a cue stays for at least `dwell_ms`. cue.md has what people make
of it. With the load connected the volts at the converter count as well: they are what
the band is for, and a hot or worn machine gives fewer of them at the same pace.
"""

from steadyturn_fw.cadence import Cadence
from steadyturn_fw.now import NEVER_MV
from steadyturn_fw.pages import BOUND, FASTER, HOLD, NO_SENSOR, REST, SLOWER, STOP, VALID

SILENT_TICKS = 150  # 3 s without any current from the motors: nobody is turning
MOST_MS = 60000
VOLT_FILTER = 4  # 2**n ticks: dips at a connection are not a slow hand


class Cue:
    def __init__(self, settings):
        s = settings
        self.low = max(s.rest_dtpm, s.low_dtpm - s.slack_dtpm)
        self.high = s.high_dtpm + s.slack_dtpm
        self.inside = s.hysteresis_dtpm
        # the target is always hold
        self.up = min(s.low_dtpm + s.hysteresis_dtpm, s.target_dtpm)
        self.down = max(s.high_dtpm - s.hysteresis_dtpm, s.target_dtpm)
        self.rest = s.rest_dtpm
        self.dwell_ms = s.dwell_ms
        self.least_volts = s.window_low_mv << VOLT_FILTER
        self.most_volts = s.window_high_mv << VOLT_FILTER
        self.over_dtpm = s.over_dtpm
        self.over_mv = s.over_mv
        self.calm_mv = s.over_mv - s.over_mv // 16  # a stop ends below this
        self.over_out_mv = s.over_out_mv or NEVER_MV
        # the converter's set point is near its limit: a smaller step back
        self.calm_out_mv = self.over_out_mv - self.over_out_mv // 64
        self.cadence = Cadence()
        self.cue = REST
        self.since_ms = 0
        self.volts = -1

    def update(self, now):
        """One tick: sets now.cue."""
        self.cadence.update(now)
        if self.since_ms < MOST_MS:
            self.since_ms += now.ms
        fine = now.bus_mv << VOLT_FILTER
        if self.volts < 0 or not now.connected:
            self.volts = fine
        else:
            self.volts += fine - self.volts >> VOLT_FILTER
        wanted = self._wanted(now)
        if wanted == self.cue:
            return
        # danger and rest are told at once, the others not before the last was readable
        if (
            wanted != STOP
            and wanted != REST
            and self.cue != REST
            and self.since_ms < self.dwell_ms
        ):
            return
        self.cue = wanted
        now.cue = wanted
        self.since_ms = 0

    def _wanted(self, now):
        validity = now.validity
        if validity == NO_SENSOR:
            return REST
        pace = now.pace_dtpm
        silent = validity == BOUND and now.silent_ticks > SILENT_TICKS
        if now.bus_mv >= self.over_mv or now.out_mv >= self.over_out_mv:
            return STOP
        if pace >= self.over_dtpm and not silent:
            return STOP
        if silent or pace < self.rest:
            return REST
        if self.cue == STOP and (pace > self.high or self._excited(now)):
            return STOP
        by_volts = self._by_volts() if now.connected else HOLD
        by_pace = HOLD
        if validity == VALID or not now.connected:
            by_pace = self._by_pace(now)
        elif validity == BOUND:
            # the pace is no more than this: too slow is certain, all else is as it was
            by_pace = self._by_pace(now)
            if by_pace != FASTER:
                by_pace = SLOWER if self.cue == SLOWER else HOLD
        if by_volts == SLOWER or by_pace == SLOWER:
            return SLOWER
        if by_volts == FASTER or by_pace == FASTER:
            return FASTER
        return HOLD

    def _excited(self, now):
        """Are the volts still near what they were stopped for?"""
        return now.bus_mv > self.calm_mv or now.out_mv > self.calm_out_mv

    def _by_pace(self, now):
        low = self.low
        up = self.up
        if not now.connected:
            # hold is no good where the load would never be connected
            half = self.inside // 2
            if now.least_dtpm + half > low:
                low = now.least_dtpm + half
            if low + half > up:
                up = min(low + half, self.down)
        return self._beyond(low, up)

    def _beyond(self, low, up):
        """Of what is told now: does it still stand?"""
        here = self.cadence.here_dtpm
        cue = self.cue
        if cue == FASTER or cue == REST:
            if here <= self.high and self.cadence.heading_dtpm < up:
                return FASTER
        elif here < low:
            return FASTER
        if cue == SLOWER or cue == STOP:
            if here >= low and self.cadence.heading_dtpm > self.down:
                return SLOWER
        elif here > self.high:
            return SLOWER
        return HOLD

    def _by_volts(self):
        if self.volts < self.least_volts:
            return FASTER
        if self.volts > self.most_volts:
            return SLOWER
        return HOLD
