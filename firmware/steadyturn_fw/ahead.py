"""What the lamp will show in the next second if nothing new comes: for hardware that plays it.

It is told anew when the lamp's level changes otherwise than foreseen or in time, and before what
was told runs out. Every plan ends dark, so a program that hangs leaves no motor running; and
no plan has a flash that the lamp itself would have to hold back.
"""

from steadyturn_fw.patterns import BEAT

STEPS = 8  # as many words fit a state machine's queue; the last one is dark
AHEAD_MS = 1000
STALL_MS = 600  # so much is left at least: an erase takes 400 ms at worst, and a tick or two
RISES = 3


class Ahead:
    def __init__(self, light, lamp):
        self.lamp = lamp
        self.play = light.play
        self.most_ms = light.most_ms
        self.levels = [0] * STEPS
        self.times = [1] * STEPS
        self.left_ms = 0  # until it has to be told anew

    def stop(self):
        self.levels[0] = 0
        self.times[0] = 1
        self.play(self.levels, self.times, 1, 0)
        self.left_ms = 0

    def look(self):
        """Tell the hardware what is ahead."""
        lamp = self.lamp
        n = 1
        self.levels[0] = lamp.level
        self.times[0] = max(1, lamp.left_ms)
        if lamp.level:
            if lamp.most_ms:
                self.times[0] = max(1, min(lamp.left_ms, lamp.most_ms - lamp.on_ms))
        elif lamp.patterns[lamp.playing][lamp.step][0]:
            n = 0  # a flash that is held back: dark until it may come
        if n:
            n = self._follow(lamp)
        self.levels[n] = 0
        self.times[n] = 1
        self.play(self.levels, self.times, n + 1, lamp.hue)

    def _follow(self, lamp):
        """The steps after the one that stands; gives how many there are."""
        pattern = lamp.patterns[lamp.playing]
        step = lamp.step
        total = self.times[0]
        n = 1
        while n < STEPS - 1 and total < AHEAD_MS:
            step += 1
            if step == len(pattern):
                if not lamp.repeats():
                    break
                step = 0
            if not self._add(n, pattern[step], total):
                break
            total += self.times[n]
            n += 1
        else:
            # cut off: to be told anew while enough of it is left
            self.left_ms = max(20, min(total, self.most_ms) - STALL_MS)
            return n
        self.left_ms = total  # all that is known
        return n

    def _add(self, n, step, total):
        """Step n of the plan begins total ms from now. False: it must not be foreseen."""
        level = step[0]
        if level and not self.levels[n - 1] and not self._may_rise(n, total):
            return False
        self.levels[n] = level
        ms = step[1]
        if ms == BEAT:
            lamp = self.lamp
            ms = lamp.beat - lamp.patterns[lamp.playing][0][1]
        self.times[n] = ms
        return True

    def _may_rise(self, n, total):
        """Is the third flash before this one a second old by then?"""
        rises = 0
        i = 1
        while i < n:
            if self.levels[i] and not self.levels[i - 1]:
                rises += 1
            i += 1
        lamp = self.lamp
        if rises >= RISES:
            return False
        return lamp.now_ms + total - lamp.rise_ms[(lamp.next_rise + rises) % RISES] >= 1000
