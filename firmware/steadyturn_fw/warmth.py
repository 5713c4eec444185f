"""The winding's temperature from what it loses, and what that does to the pace.

First order, as in the host's model/thermal.md: the winding ends
(copper watts * warm_ck_per_w + other watts * warm_case_ck_per_w) / 100 K above where a
machine begins that has stood for long, on the way there with the time constant warm_s.
Copper's resistance rises with it and the magnets' EMF falls, so that the same pace gives
fewer volts; source_mohm and emf_uv_per_tpm are those of a winding without any rise.

A board that boots has no clock: it cannot know how long the machine has cooled. It begins
with half of the rise that its newest page tells, so that it is off by half of that at most,
be it the next minute or the next day, and by less with each time constant.
"""

COPPER = 393  # of 100,000, per K: 0.393 %, as the host's model
MAGNETS = 200  # ferrite: -0.2 % per K, from memory, likewise
SECOND_MS = 1000
MOST_MA = 32767  # its square is the largest that is a small integer
MOST_MW = 30000  # times 30,000 likewise
MOST_DTPM = 9000  # times 100,000 likewise
MOST_MK = 200000
FINE = 10  # bits of fraction in the rise


class Warmth:
    def __init__(self, settings):
        s = settings
        self.emf_uv = s.emf_uv_per_tpm
        self.ohm = s.source_mohm // 1000
        self.mohm = s.source_mohm % 1000
        self.lag_s = s.warm_s
        self.wound = s.warm_ck_per_w
        self.case = s.warm_case_ck_per_w
        self.rest_uw = s.warm_rest_uw_per_tpm
        self.rise = 0  # mK << FINE
        self.ms = 0
        self.ticks = 0
        self.squares = 0  # mA * mA / 1000, added up
        self.paces = 0

    def begin(self, last_k, estimate):
        """At boot: the newest page's rise, K."""
        self.rise = last_k * 500 << FINE
        self.apply(estimate)

    def rise_k(self):
        return min((self.rise >> FINE) // 1000, 255)

    def update(self, now, estimate):
        """A tick's losses; once a second `estimate` gets the constants of that warmth."""
        ma = min(now.motor_ma, MOST_MA)
        self.squares += ma * ma // 1000
        self.paces += min(now.pace_dtpm, MOST_DTPM)
        self.ticks += 1
        self.ms += now.ms
        if self.ms >= SECOND_MS:
            self.step(estimate)
            self.apply(estimate)

    def step(self, estimate):
        """What the last second has done to the rise, with the resistance as it was."""
        kilo = self.squares // self.ticks
        copper_mw = min(kilo * estimate.ohm + kilo * estimate.mohm // 1000, MOST_MW)
        rest_mw = min(self.paces // self.ticks * self.rest_uw // 10000, MOST_MW)
        goal_mk = copper_mw * self.wound // 100 + rest_mw * self.case // 100
        goal_mk = min(goal_mk, MOST_MK)
        # a slow tick's second is a little more than one: its milliseconds count
        way = (goal_mk << FINE) - self.rise
        self.rise += way // self.lag_s
        self.ms -= SECOND_MS
        self.ticks = 0
        self.squares = 0
        self.paces = 0

    def apply(self, estimate):
        mk = self.rise >> FINE
        more = mk * COPPER // 1000  # of 100,000
        estimate.set_ohm(self.ohm * 1000 + self.mohm + self.ohm * more // 100
                         + self.mohm * more // 100000)
        less = min(mk * MAGNETS // 1000, 60000)
        uv = self.emf_uv
        estimate.emf_uv = max(1, uv - uv // 1000 * less // 100 - uv % 1000 * less // 100000)
