"""The load switch: when the load is connected, and what releases it. states.md has the table.

The hardware keeps the load connected only while edges come; `pulse` makes one, and
the loop calls it at the end of a tick that ran through. So a halted program, a dead
board or a long stall releases the load without this code, a hold time after the last
edge. Releasing is to make no more edges (bringing that pin to rest would be one more)
and to raise the let-go pin, which ends the hold time at once. A dead board leaves that
pin low: it can only release.
"""

from machine import Pin

from steadyturn_fw.now import NEVER_MV
from steadyturn_fw.pages import (
    BOUND,
    NO_SENSOR,
    REST,
    STOP,
    VALID,
    WHY_ASKED,
    WHY_FADING,
    WHY_LOW_BUS,
    WHY_NONE,
    WHY_NOT_YET,
    WHY_OVER_CURRENT,
    WHY_OVER_SPEED,
    WHY_OVER_TEMPERATURE,
    WHY_OVER_VOLTAGE,
    WHY_SENSOR_LOST,
    WHY_WAITING,
)

STEADY_MS = 300  # the conditions hold this long before the load is connected
MOST_FAILS = 4  # each failure doubles both waits, up to this often
MOST_WAIT_MS = 60000
LONG_MS = 2 * MOST_WAIT_MS  # longer than this nothing is counted
PROVEN_MS = 10000  # connected this long: the failures are forgotten
FAILED_MS = 5000  # let go by the bus within this: the machine could not carry it
CALM_MS = 1000  # after a connection the converter has started and its capacitor is full
FADE_BACK_MV = 100  # above fade_mv by this the supply counts as recovered


class Switch:
    def __init__(self, settings):
        s = settings
        self.pin = Pin(s.switch_pin, Pin.OUT, value=0)
        self.let_go = Pin(s.let_go_pin, Pin.OUT, value=1) if s.let_go_pin >= 0 else None
        self.level = 0
        self.connect_mv = s.connect_mv
        self.connect_dtpm = s.connect_dtpm
        self.most_dtpm = max(s.connect_dtpm, (s.target_dtpm + s.high_dtpm) // 2)
        # each failure asks for more pace too: half-way to the target, the target, beyond
        self.step_dtpm = max(10, (s.target_dtpm - s.connect_dtpm) // 2)
        self.release_mv = s.release_mv
        self.over_mv = s.over_mv
        self.over_out_mv = s.over_out_mv or NEVER_MV
        self.over_ma = s.over_ma
        self.over_dtpm = s.over_dtpm
        self.gap_ms = s.gap_ms
        self.hardware_cut = s.hardware_cut
        self.near_mv = s.over_mv - (s.over_mv >> 4)
        self.fade_mv = s.fade_mv if s.supply_adc_pin >= 0 else 0
        self.connected = False
        self.why = WHY_NOT_YET
        self.asked = False  # released by the host until the next boot
        self.fading = False
        self.collapsed = False  # this tick's release was a collapse
        self.since_ms = 0  # since the last connection, or since boot
        self.steady_ms = 0
        self.fails = 0
        self.told_ms = 0  # how long the reason of the last release is still shown
        self.about_to_connect = False
        self.busy = False  # pages are on their way to the log: a few ticks more

    def update(self, now):
        """One tick: sets now.connected."""
        if self.since_ms < LONG_MS:
            self.since_ms += now.ms
        if self.told_ms:
            self.told_ms = max(0, self.told_ms - now.ms)
        self.collapsed = False
        if self.fade_mv:
            self._watch_supply(now.supply_mv)
        cause = self._cause(now)
        if self.connected:
            if self.since_ms >= PROVEN_MS:
                self.fails = 0
            if cause == WHY_NONE and now.bus_mv < self.release_mv:
                cause = WHY_LOW_BUS
            if cause != WHY_NONE:
                self._release(cause, now)
            return
        self._consider(cause, now)

    def _watch_supply(self, supply_mv):
        if supply_mv < self.fade_mv:
            self.fading = True
        elif supply_mv > self.fade_mv + FADE_BACK_MV:
            self.fading = False

    def _cause(self, now):
        """What forbids the load now; WHY_NONE: nothing."""
        now.over_volts = now.bus_mv >= self.over_mv or now.out_mv >= self.over_out_mv
        if now.over_volts:
            return WHY_OVER_VOLTAGE
        # a reading at the end of its range may be anything beyond it
        if now.bus_ma >= self.over_ma or now.saturated:
            return WHY_OVER_CURRENT
        if now.too_hot:
            return WHY_OVER_TEMPERATURE
        if now.validity == NO_SENSOR:
            return WHY_SENSOR_LOST
        if now.pace_dtpm >= self.over_dtpm and now.validity != BOUND:
            return WHY_OVER_SPEED
        if self.asked:
            return WHY_ASKED
        if self.fading:
            return WHY_FADING
        return WHY_NONE

    def _drop(self):
        self.connected = False
        if self.let_go is not None:
            self.let_go.value(1)

    def _release(self, cause, now):
        self._drop()
        now.connected = False
        self.why = cause
        self.told_ms = self.gap_ms
        self.steady_ms = 0
        if cause == WHY_LOW_BUS:
            # the handle still turns and the motors give all they can: the volts fell, not
            # the pace. Without the load they recover, with it they never would. When the
            # handle is let go the capacitor gives the current, not the motors.
            self.collapsed = (
                now.validity == VALID
                and now.motor_ma * 2 >= now.bus_ma
                and now.raw_dtpm * 2 >= self.connect_dtpm
            )
            if self.collapsed or self.since_ms < FAILED_MS:
                self.fails = min(self.fails + 1, MOST_FAILS)
        elif cause == WHY_OVER_CURRENT:
            self.fails = min(self.fails + 1, MOST_FAILS)

    def _consider(self, cause, now):
        self.about_to_connect = False
        if cause != WHY_NONE:
            self.steady_ms = 0
            self.why = cause
            self.told_ms = self.gap_ms
            return
        if not self._can_carry(now):
            self.steady_ms = 0
            if not self.told_ms:
                self.why = WHY_NOT_YET
            return
        self.steady_ms = min(self.steady_ms + now.ms, MOST_WAIT_MS)
        wait = min(self.gap_ms << self.fails, MOST_WAIT_MS)
        if self.steady_ms < STEADY_MS << self.fails or self.since_ms < wait or self.busy:
            # half-way through the wait is a good moment for a flash erase
            self.about_to_connect = self.steady_ms >= STEADY_MS // 2
            if not self.told_ms:
                self.why = WHY_WAITING
            return
        if self.let_go is not None:
            self.let_go.value(0)
        self.connected = True
        now.connected = True
        self.why = WHY_NONE
        self.since_ms = 0
        self.steady_ms = 0

    def _can_carry(self, now):
        """Is there enough, and will there be? A pace that falls fast is gone when needed; and
        a bound that falls at all is the capacitor's voltage: the handle is slower than that."""
        least = min(self.connect_dtpm + self.fails * self.step_dtpm, self.most_dtpm)
        now.least_dtpm = least
        return (
            now.bus_mv >= self.connect_mv
            and now.pace_dtpm >= least
            and now.ahead_dtpm >= least
            and now.ahead_dtpm * 64 >= now.pace_dtpm * (63 if now.validity == BOUND else 56)
            and now.cue != STOP
            and now.cue != REST
        )

    def pulse(self):
        """The edge that keeps the load connected; from the end of a completed tick only."""
        if self.connected:
            self.level ^= 1
            self.pin.value(self.level)

    def calm(self, now):
        """May the loop look away for the length of a flash erase? Released: yes. Connected: only
        where hardware alone keeps every rating, and nothing is under way: not just connected, the
        bus not near its limit, the pace steady within an eighth."""
        if not self.connected:
            return True
        return (
            self.hardware_cut
            and self.since_ms >= CALM_MS
            and now.bus_mv < self.near_mv
            and now.cue != STOP
            and abs(now.raw_dtpm - now.pace_dtpm) << 3 <= now.pace_dtpm
        )

    def ask_release(self, now):
        self.asked = True
        if self.connected:
            self._release(WHY_ASKED, now)

    def trip(self, cause, now):
        """Seen between two ticks: this forbids the load."""
        if self.connected:
            self._release(cause, now)

    def halt(self):
        """Release: the program ends."""
        self._drop()

    def stalled(self, now):
        """The last edge is so old that the hardware has let go: wait as after any release."""
        if self.connected:
            self._release(WHY_WAITING, now)
