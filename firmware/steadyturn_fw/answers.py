"""What the link's answers are made of: numbers of the running loop, put into a frame."""

from machine import unique_id

from steadyturn_fw import frames, pages

MOST = 65535
AT = {}  # field of the state -> offset
SIZE = {}  # and bytes
for _row in frames.STATE_FIELDS:
    AT[_row[0]] = _row[1]
    SIZE[_row[0]] = _row[2]


class Answers:
    def __init__(self, loop):
        self.loop = loop
        self.frame = b""
        self.at = 0

    # ---- what is asked for

    def host_seen(self):
        self.loop.host_seen()

    def flush_asked(self):
        self.loop.writing.flush()

    def release_asked(self):
        self.loop.release()

    def forget_asked(self, seq):
        """Up to this number the host has everything; an erase keeps to a released load."""
        if not self.loop.now.connected and self.loop.writing.may_write():
            self.loop.store.forget(seq)

    def settings_body(self):
        """The settings file as it was read at boot: all of it, so that the host can compare."""
        return self.loop.loaded.file

    def copy_page(self, seq, target):
        """The first stored page numbered `seq` or later into `target`; False: there is none."""
        return self.loop.store.copy(seq, target)

    def page_at_hand(self, seq):
        """Can that be done without the flash?"""
        return self.loop.store.ahead.has(seq)

    def fill_who(self, frame, at):
        loop = self.loop
        put = pages.put
        frame[at] = frames.PROTOCOL
        frame[at + 1] = pages.VERSION_WIDER
        i = 0
        while i < 4:
            frame[at + 2 + i] = loop.store.format_id[i]
            i += 1
        put(frame, at + 6, 3, loop.journal.boot)
        put(frame, at + 9, 4, loop.now.t_ms)
        put(frame, at + 13, 4, loop.store.first_seq)
        put(frame, at + 17, 4, loop.store.last_seq)
        name = unique_id()
        i = 0
        while i < 8:
            frame[at + 21 + i] = name[i] if i < len(name) else 0
            i += 1

    # ---- the readings alone, for who compares them with a meter

    def fill_now(self, frame, at):
        now = self.loop.now
        put = pages.put
        put(frame, at, 4, now.t_ms)
        frame[at + 4] = self._known(now)
        put(frame, at + 5, 2, now.bus_mv)
        put(frame, at + 7, 2, now.out_mv)
        put(frame, at + 9, 4, now.bus_ma)
        put(frame, at + 13, 4, now.out_ma)

    def _known(self, now):
        """In the order of frames.NOW_VOLTS ... NOW_END."""
        if self.loop.sensor is None:
            return 0
        return now.volts | now.amps << 1 | now.out_known << 2 | now.saturated << 3

    # ---- the state

    def fill_state(self, frame, at):
        self.frame = frame
        self.at = at
        self._readings()
        self._switch()
        self._totals(self.loop.tally, frame, at)
        self._counters()

    def _put(self, name, value):
        pages.put(self.frame, self.at + AT[name], SIZE[name], value)

    def _readings(self):
        now = self.loop.now
        self._put("t_ms", now.t_ms)
        self._put("bus_mv", now.bus_mv)
        self._put("bus_ma", max(0, now.bus_ma))
        self._put("pace_dtpm", now.pace_dtpm)
        self._put("cue", now.cue)
        known = now.measured and now.validity == pages.VALID
        self._put("validity", pages.MEASURED if known else now.validity)
        self._put("supply_mv", min(now.supply_mv, MOST))

    def _switch(self):
        loop = self.loop
        fitted = loop.sensor is not None
        self._put("connected", 1 if loop.now.connected else 0)
        self._put("why", loop.switch.why if fitted else pages.WHY_SETTINGS_BAD)
        self._put("fault", loop.faults.shown)
        ok = 2 if loop.loaded.previous else 1
        self._put("settings_ok", ok if fitted else 0)
        self._put("sensor_errors", loop.sensor.errors if fitted else 0)

    def _totals(self, tally, frame, at):
        tally.energy_in.total.put(frame, at + AT["energy_in_uj"], SIZE["energy_in_uj"])
        tally.energy_out.total.put(frame, at + AT["energy_out_uj"], SIZE["energy_out_uj"])
        tally.charge.put(frame, at + AT["charge_uc"], SIZE["charge_uc"])
        tally.turns.put(frame, at + AT["turns_m"], SIZE["turns_m"])

    def _counters(self):
        loop = self.loop
        self._put("boot", loop.journal.boot)
        self._put("on_samples", loop.tally.on)
        self._put("band_samples", loop.tally.band)
        self._put("connected_samples", loop.tally.connected)
        self._put("connections", loop.tally.connections)
        self._put("last_seq", loop.store.last_seq)
        self._put("late_ticks", loop.late)
        loop.loaded.crc.store(self.frame, self.at + AT["settings_crc"])
