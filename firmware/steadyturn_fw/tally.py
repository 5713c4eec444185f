"""Running totals in integers, exact to the microjoule over the machine's whole life.

A total is held as words of 16 bits, lowest first, so that nothing ever leaves the
small integers of a 32-bit board and a page takes the words as they are. What is
less than one unit is carried on to the next tick. Time is measured, in whole
milliseconds and the microseconds left over: power times time is added up piece by
piece, each product below 2**30 up to 65 V, 32 A and 0.4 s.
"""

from steadyturn_fw import pages
from steadyturn_fw.pages import VALID

MOST_COIL_MA = 32767  # its square is the largest that is a small integer
MOST_OUT_MW = 1000000  # times 1000 likewise; no converter here comes near
SMALL = (1 << 30) - 1


class Total:
    """A count of 16-bit words that only grows."""

    def __init__(self, words):
        self.words = [0] * words

    def add(self, amount):
        """amount: below 2**30. No loop and no call: nothing can cut a carry in half."""
        words = self.words
        low = words[0] + (amount & 0xFFFF)
        carry = (amount >> 16) + (low >> 16)
        next_ = words[1] + carry
        third = words[2] + (next_ >> 16)
        words[0] = low & 0xFFFF
        words[1] = next_ & 0xFFFF
        words[2] = third & 0xFFFF

    def put(self, page, at, size):
        words = self.words
        i = 0
        while i < size:
            page[at + i] = words[i >> 1] >> (i & 1) * 8 & 0xFF
            i += 1

    def take(self, page, at, size):
        words = self.words
        i = 0
        while i < len(words):
            words[i] = 0
            i += 1
        i = 0
        while i < size:
            words[i >> 1] |= page[at + i] << (i & 1) * 8
            i += 1

    def units(self):
        """As one integer: may be large, so not for the tick."""
        return self.words[0] | self.words[1] << 16 | self.words[2] << 32


class Energy:
    """A Total of uJ with what is below one."""

    def __init__(self):
        self.total = Total(3)
        self.nj = 0
        self.pj = 0
        self.added_uj = 0  # by the last tick

    def add(self, mw, uw, now):
        """Power mw mW + uw uW (below 1000) over the tick's time."""
        us = now.us
        pj = self.pj + uw * us
        self.pj = pj % 1000
        nj = self.nj + mw % 1000 * us + uw * now.ms
        nj += pj // 1000
        self.nj = nj % 1000
        nj = mw * now.ms + mw // 1000 * us + nj // 1000
        self.added_uj = nj
        self.total.add(nj)


class Losses:
    """What the converter and the path keep, from what goes in. Integers, mW and mA."""

    def __init__(self, settings):
        s = settings
        self.coil = s.coil
        self.out_mv = s.out_mv
        self.loss_uw = s.loss_uw
        self.loss_mv = s.loss_mv
        self.loss_mohm = s.loss_mohm
        self.after_mohm = s.path_mohm  # behind the shunt where the output is measured
        self.path_mohm = s.path_mohm + s.out_shunt_uohm // 1000
        self.loss_most = SMALL // 2 // max(1, s.loss_mohm)
        self.out_ma = 0  # out of the converter
        self.out_mw = 0  # at the device's socket
        self.out_uw = 0  # and the part below a milliwatt

    def _coil_uw(self, ma):
        """Loss at a coil current, uW; stops growing at a kilowatt."""
        ma = min(ma, MOST_COIL_MA)
        square = ma * ma
        thousands = square // 1000
        ohmic = min(thousands, self.loss_most) * self.loss_mohm
        ohmic += (square - thousands * 1000) * self.loss_mohm // 1000
        return ohmic + self.loss_mv * ma + self.loss_uw

    def _path(self, mohm):
        """Take off what the way from the converter to the device keeps."""
        self._take(self.out_mw, self.out_uw, self._path_uw(mohm))

    def _path_uw(self, mohm):
        ma = min(self.out_ma, MOST_COIL_MA)
        square = ma * ma
        thousands = square // 1000
        uw = SMALL // 2 // max(1, mohm)  # the thousands whose product is still small
        uw = min(thousands, uw) * mohm
        return uw + (square - thousands * 1000) * mohm // 1000

    def measured(self, out_mv, out_ma):
        """The output itself was measured: what reaches the device is that less the path."""
        ma = max(0, min(out_ma, MOST_COIL_MA))
        self.out_ma = ma
        self.out_mw = out_mv * (ma // 1000)
        self.out_uw = out_mv * (ma % 1000)
        self._path(self.after_mohm)

    def update(self, bus_mv, bus_ma, power):
        """Input power.mw mW + power.uw uW at bus_ma; sets out_mw, out_uw, out_ma.

        The output's current is both what is looked for and what the losses of a buck
        follow; the last tick's value is the start, and twice through is enough.
        """
        if self.coil == "linear":
            self._linear(min(self.out_mv, bus_mv), bus_mv, bus_ma)
        elif self.coil == "in":
            self._take(power.mw, power.uw, self._coil_uw(bus_ma))
        else:
            self._follow(bus_ma, power)
            self._amps()
            self._follow(bus_ma, power)
        self._amps()
        self._path(self.path_mohm)

    def _linear(self, volts, bus_mv, bus_ma):
        """Its headroom is lost: what comes out is the set point times the same current,
        less the current that feeds the constant loss."""
        lost = self.loss_uw // 100 * (volts * 100 // max(1, bus_mv))
        self._take(volts * (bus_ma // 1000), volts * (bus_ma % 1000), lost)

    def _follow(self, bus_ma, power):
        ma = self.out_ma
        if self.coil == "larger":
            ma = max(ma, bus_ma)
        self._take(power.mw, power.uw, self._coil_uw(ma))

    def _amps(self):
        """The current that leaves the converter with this output."""
        self.out_ma = min(self.out_mw, MOST_OUT_MW) * 1000 // self.out_mv

    def _take(self, mw, uw, lost_uw):
        """out = mw, uw less a loss, not below nothing."""
        lost_mw = lost_uw // 1000
        uw -= lost_uw - lost_mw * 1000
        mw += uw // 1000 - lost_mw
        self.out_mw = max(0, mw)
        self.out_uw = uw % 1000 if mw >= 0 else 0


class Tally:
    def __init__(self, settings):
        """settings: None on a board without any; nothing is added then."""
        if settings:
            self.losses = Losses(settings)
        self.mw = 0  # of this tick, into the converter
        self.uw = 0  # and the part below a milliwatt
        self.energy_in = Energy()
        self.energy_out = Energy()
        self.charge = Total(3)
        self.charge_nc = 0
        self.turns = Total(3)
        self.turns_rest = 0  # dtpm * ms; 600 are a thousandth of a turn
        self.on = 0
        self.band = 0
        self.connected = 0
        self.connections = 0
        # towards the next percent, mJ and uJ; without a capacity each 0.1 Wh counts
        self.percent_mj = (settings.percent_mj if settings else 0) or 360000
        self.part_mj = 0
        self.part_uj = 0
        self.percents = 0  # reached since boot
        self.counted = 0  # reached since the count began

    def add(self, now):
        """One tick. Turns are counted only where the pace is more than a bound."""
        ma = max(0, min(now.bus_ma, MOST_COIL_MA))
        self._charge(ma, now)
        self._power(now.bus_mv, ma)
        self.energy_in.add(self.mw, self.uw, now)
        if now.connected:
            losses = self.losses
            if now.out_known:
                losses.measured(now.out_mv, now.out_ma)
            else:
                losses.update(now.bus_mv, ma, self)
            self.energy_out.add(losses.out_mw, losses.out_uw, now)
            self._towards(self.energy_out.added_uj)
        if now.validity == VALID:
            self._turn(now)

    def _power(self, mv, ma):
        uw = mv * (ma % 1000)
        self.mw = mv * (ma // 1000) + uw // 1000
        self.uw = uw % 1000

    def _charge(self, ma, now):
        nc = self.charge_nc + ma * now.us
        self.charge.add(ma * now.ms + nc // 1000)
        self.charge_nc = nc % 1000

    def _turn(self, now):
        rest = self.turns_rest + now.raw_dtpm * now.ms + now.raw_dtpm * now.us // 1000
        self.turns.add(rest // 600)
        self.turns_rest = rest % 600

    def _towards(self, uj):
        self.part_uj += uj
        self.part_mj += self.part_uj // 1000
        self.part_uj %= 1000
        if self.part_mj >= self.percent_mj:
            self.part_mj -= self.percent_mj
            self.percents += 1
            self.counted += 1

    def count_from(self, begun_uj):
        """At boot: the count began when so much had gone out."""
        mj = (self.energy_out.total.units() - begun_uj) // 1000
        if mj < 0:
            return  # the totals are of a board that was formatted since
        self.counted = mj // self.percent_mj
        self.part_mj = mj % self.percent_mj

    def restart_count(self):
        self.counted = 0
        self.part_mj = 0
        self.part_uj = 0

    def put(self, page):
        """Into a page's tail."""
        self.energy_in.total.put(page, pages.AT_ENERGY_IN, 6)
        self.energy_out.total.put(page, pages.AT_ENERGY_OUT, 6)
        self.charge.put(page, pages.AT_CHARGE, 6)
        self.turns.put(page, pages.AT_TURNS, 5)
        put = pages.put
        put(page, pages.AT_ON, 4, self.on)
        put(page, pages.AT_BAND, 4, self.band)
        put(page, pages.AT_CONNECTED, 4, self.connected)
        put(page, pages.AT_CONNECTIONS, 2, self.connections)

    def take(self, page):
        """Go on from a page's tail, at boot."""
        self.energy_in.total.take(page, pages.AT_ENERGY_IN, 6)
        self.energy_out.total.take(page, pages.AT_ENERGY_OUT, 6)
        self.charge.take(page, pages.AT_CHARGE, 6)
        self.turns.take(page, pages.AT_TURNS, 5)
        get = pages.get
        self.on = get(page, pages.AT_ON, 4)
        self.band = get(page, pages.AT_BAND, 4)
        self.connected = get(page, pages.AT_CONNECTED, 4)
        self.connections = get(page, pages.AT_CONNECTIONS, 2)
        self.part_mj = self.energy_out.total.units() // 1000 % self.percent_mj
