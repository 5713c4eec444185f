"""Running totals in integers, exact to the microjoule over the machine's whole life.

A total is held as words of 16 bits, lowest first, so that nothing ever leaves the
small integers of a 32-bit board and a page takes the words as they are. What ticks add
waits in one small integer until there is enough of it: carrying words at every tick
would cost a fifth of it. Time is whole milliseconds (the loop's clock carries the rest),
power times time is added up piece by piece, each product below 2**30 up to 65 V, 32 A
and 0.2 s. The functions of a tick are few and long, because calls are what is dear.
"""

from steadyturn_fw import pages
from steadyturn_fw.pages import VALID

MOST_COIL_MA = 32767  # its square is the largest that is a small integer
SMALL = (1 << 30) - 1
FULL = 1 << 29  # so much waits at most; one tick adds less than this
PART_UJ = 1000000  # percents are looked for when so much has gone out


class Total:
    """A count of 16-bit words that only grows. unit: how many of what is added are one of it."""

    def __init__(self, words, unit=1):
        self.words = [0] * words
        self.unit = unit
        self.small = 0  # added, not yet carried into the words; below 2**30

    def add(self, amount):
        """amount: below FULL. In the ticks' own functions the same three lines stand inline."""
        self.small += amount
        if self.small >= FULL:
            self.settle()

    def settle(self):
        """Carry into the words. No loop, no jump and no call: nothing can cut it in half."""
        words = self.words
        amount = self.small // self.unit
        low = words[0] + (amount & 0xFFFF)
        carry = (amount >> 16) + (low >> 16)
        next_ = words[1] + carry
        third = words[2] + (next_ >> 16)
        words[0] = low & 0xFFFF
        words[1] = next_ & 0xFFFF
        words[2] = third & 0xFFFF
        self.small -= amount * self.unit

    def put(self, page, at, size):
        self.settle()
        words = self.words
        i = 0
        while i < size:
            page[at + i] = words[i >> 1] >> (i & 1) * 8 & 0xFF
            i += 1

    def take(self, page, at, size):
        self.small = 0
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
        self.settle()
        return self.words[0] | self.words[1] << 16 | self.words[2] << 32


class Energy:
    """A Total of uJ with what is below one."""

    def __init__(self):
        self.total = Total(3)
        self.nj = 0

    def add(self, mw, uw, ms):
        """Power mw mW + uw uW (below 1000) over the tick's time; gives the uJ that were added."""
        nj = self.nj + uw * ms
        uj = mw * ms + nj // 1000
        total = self.total
        small = total.small + uj
        self.nj = nj % 1000
        total.small = small
        if small >= FULL:
            total.settle()
        return uj


def plain_ma(mohm):
    """The largest current whose loss in a resistance is a small integer in nW."""
    ma = MOST_COIL_MA
    while ma > SMALL // max(1, mohm) // ma:
        ma -= ma // 64 or 1
    return ma


def ohmic_uw(ma, mohm):
    """Loss in a resistance at any current, uW; stops growing at half a kilowatt."""
    square = ma * ma
    thousands = square // 1000
    uw = min(thousands, SMALL // 2 // max(1, mohm)) * mohm
    return uw + (square - thousands * 1000) * mohm // 1000


class Losses:
    """What the converter and the path keep, from what goes in. Integers, mW, uW and mA."""

    def __init__(self, settings):
        s = settings
        self.linear = s.coil == "linear"
        self.by_in = s.coil == "in"
        self.larger = s.coil == "larger"
        self.out_mv = s.out_mv
        self.loss_uw = s.loss_uw
        self.loss_mv = s.loss_mv
        self.loss_mohm = s.loss_mohm
        self.after_mohm = s.path_mohm  # behind the shunt where the output is measured
        self.path_mohm = s.path_mohm + s.out_shunt_uohm // 1000
        # up to these currents every product is a small integer
        self.coil_ma = plain_ma(s.loss_mohm)
        self.path_ma = plain_ma(self.path_mohm)
        self.out_ma = 0  # out of the converter
        self.out_mw = 0  # at the device's socket
        self.out_uw = 0  # and the part below a milliwatt

    def _coil_uw(self, ma):
        """Loss at a coil current, uW."""
        if ma <= self.coil_ma:
            return ma * ma * self.loss_mohm // 1000 + self.loss_mv * ma + self.loss_uw
        ma = min(ma, MOST_COIL_MA)
        return ohmic_uw(ma, self.loss_mohm) + self.loss_mv * ma + self.loss_uw

    def update(self, bus_mv, bus_ma, mw, uw):
        """Input power mw mW + uw uW at bus_ma; sets out_mw, out_uw, out_ma.

        The output's current is both what is looked for and what the losses of a buck
        follow; the last tick's value is the start, and twice through is enough.
        """
        if self.by_in:
            if bus_ma <= self.coil_ma:
                uw -= bus_ma * bus_ma * self.loss_mohm // 1000
                uw -= self.loss_mv * bus_ma + self.loss_uw
            else:
                uw -= self._coil_uw(bus_ma)
        elif self.linear:
            mw = 0
            uw = self._linear_uw(bus_mv, bus_ma)
        else:
            self._follow(bus_ma, mw, uw)
            uw -= self._coil_uw(self._coil_ma(bus_ma))
        self._leave(mw, uw)
        self._path(mw, uw, self.path_mohm)

    def _linear_uw(self, bus_mv, bus_ma):
        """Its headroom is lost: what comes out is the set point times the same current,
        less the current that feeds the constant loss."""
        if bus_mv <= 0:
            return 0
        volts = min(self.out_mv, bus_mv)
        lost = volts * 100 // bus_mv
        lost *= self.loss_uw // 100
        return volts * min(bus_ma, SMALL // volts) - lost

    def _follow(self, bus_ma, mw, uw):
        """A first look at the output's current."""
        uw -= self._coil_uw(self._coil_ma(bus_ma))
        self._leave(mw, uw)

    def _coil_ma(self, bus_ma):
        return max(bus_ma, self.out_ma) if self.larger else self.out_ma

    def _leave(self, mw, uw):
        """The current that leaves the converter with this output."""
        mw += uw // 1000
        self.out_ma = min(mw, SMALL // 1000) * 1000 // self.out_mv if mw > 0 else 0

    def _path(self, mw, uw, mohm):
        """Take off what the way from the converter to the device keeps; not below nothing."""
        ma = self.out_ma
        if ma <= self.path_ma:
            uw -= ma * ma * mohm // 1000
        else:
            uw -= ohmic_uw(min(ma, MOST_COIL_MA), mohm)
        mw += uw // 1000
        self.out_mw = mw if mw > 0 else 0
        self.out_uw = uw % 1000 if mw >= 0 else 0

    def measured(self, out_mv, out_ma):
        """The output itself was measured: what reaches the device is that less the path."""
        ma = out_ma if out_ma > 0 else 0
        if ma > MOST_COIL_MA:
            ma = MOST_COIL_MA
        self.out_ma = ma
        self._path(out_mv * (ma // 1000), out_mv * (ma % 1000), self.after_mohm)


class Tally:
    def __init__(self, settings):
        """settings: None on a board without any; nothing is added then."""
        if settings:
            self.losses = Losses(settings)
        self.energy_in = Energy()
        self.energy_out = Energy()
        self.charge = Total(3)  # uC
        self.turns = Total(3, 600)  # thousandths, of 600 dtpm * ms
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
        """One tick. Turns are counted by the turn sensor's pulses, without these where the
        pace is more than a bound."""
        ms = now.ms
        ma = now.bus_ma
        if ma < 0:
            ma = 0
        elif ma > MOST_COIL_MA:
            ma = MOST_COIL_MA
        total = self.charge
        total.small += ma * ms
        if total.small >= FULL:
            total.settle()
        units = now.turn_units
        if now.validity == VALID and not now.measured:
            units += now.raw_dtpm * ms
        if units:
            total = self.turns
            total.small += units
            if total.small >= FULL:
                total.settle()
        self._energy(now, ma)

    def _energy(self, now, ma):
        uw = now.bus_mv * (ma % 1000)
        mw = now.bus_mv * (ma // 1000) + uw // 1000
        uw %= 1000
        self.energy_in.add(mw, uw, now.ms)
        if now.connected:
            if now.out_known:
                self.losses.measured(now.out_mv, now.out_ma)
            else:
                self.losses.update(now.bus_mv, ma, mw, uw)
            uw = self.energy_out.add(self.losses.out_mw, self.losses.out_uw, now.ms)
            self.part_uj += uw
            if self.part_uj >= PART_UJ:
                self._towards()

    def _towards(self):
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
