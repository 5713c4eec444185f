"""What the lamp drives: an LED, two of them, a pixel, a piezo, a vibration motor.

`show(level, hue)` puts out one level of a pattern; the lamp calls it only when one of
the two has changed. All that is sent is made at the start: showing allocates nothing.

An LED or a motor is driven by hardware that plays the next second of the pattern by itself,
where the board has it: `play(levels, times, n, hue)`. So it runs on while a flash erase holds
the program up for 45 ms, at worst 400.
"""

from time import sleep_us

from machine import PWM, Pin, bitstream

from steadyturn_fw.patterns import HIGH_HZ, LOW_HZ, MUCH

try:
    from steadyturn_fw.player_pio import Player
except ImportError:
    try:
        from steadyturn_fw.player_rmt import Player  # type: ignore[assignment]
    except ImportError:
        Player = None  # type: ignore[assignment,misc]

LIGHT_HZ = 1000
# ns, high and low of a 0, high and low of a 1: WS2812 and its kin. A pixel's 24 bits take
# 30 us with the interrupts off.
TIMING = (400, 850, 800, 450)
LATCH_US = 300  # low for so long: what a pixel got before is over


class Single:
    """An LED or a motor on one pin."""

    def __init__(self, pin, percent, active_low):
        full = percent * 65535 // 100
        self.on = 65535 - full if active_low else full
        self.off = 65535 if active_low else 0
        # bound once: taking a method as a value allocates
        self.duty = PWM(Pin(pin), freq=LIGHT_HZ, duty_u16=self.off).duty_u16

    def show(self, level, hue):
        self.duty(self.on if level else self.off)


class Played:
    """An LED or a motor on one pin of hardware that plays."""

    def __init__(self, player):
        self.most_ms = player.most_ms
        self.start = player.play

    def play(self, levels, times, n, hue):
        self.start(levels, times, n)


class PlayedTwo:
    """As Two, on hardware that plays."""

    def __init__(self, first, second):
        self.most_ms = first.most_ms
        self.first = first.play
        self.second = second.play
        self.none = (0,)
        self.short = (1,)

    def play(self, levels, times, n, hue):
        self.first(levels, times, n)
        if hue >= MUCH:
            self.second(levels, times, n)
        else:
            self.second(self.none, self.short, 1)


class Two:
    """The first LED shows every shape; the second lights with it where it is too much, or
    something is wrong. So either alone still tells what matters."""

    def __init__(self, first, second):
        self.first = first.show
        self.second = second.show

    def show(self, level, hue):
        self.first(level, hue)
        self.second(level if hue >= MUCH else 0, hue)


class Piezo:
    def __init__(self, pin, active_low):
        pwm = PWM(Pin(pin), freq=LOW_HZ, duty_u16=65535 if active_low else 0)
        self.off = 65535 if active_low else 0
        self.duty = pwm.duty_u16
        self.tone = pwm.freq

    def show(self, level, hue):
        if level:
            self.tone(HIGH_HZ if level == 2 else LOW_HZ)
            self.duty(32768)
        else:
            self.duty(self.off)


class Pixel:
    """One pixel that takes green, red, blue; a colour for each hue."""

    def __init__(self, pin, percent, colors):
        self.pin = Pin(pin, Pin.OUT, value=0)
        self.dark = bytes(3)
        frames = []
        for rgb in colors:
            red, green, blue = rgb >> 16, rgb >> 8 & 255, rgb & 255
            frames.append(bytes([part * percent // 100 for part in (green, red, blue)]))
        self.frames = frames
        bitstream(self.pin, 0, TIMING, self.dark)

    def show(self, level, hue):
        bitstream(self.pin, 0, TIMING, self.frames[hue] if level else self.dark)


class Unknown:
    """Without settings nobody knows what is on the pins: each gets what lights it.

    A pixel keeps its colour while the level behind it stays high, and to an LED its bits
    are too short to be seen. A piezo only clicks.
    """

    def __init__(self, row):
        """row: thisboard.board_row's: the usual lamp pin, and that of the board's own LED."""
        pins = [row["lamp_pin"], row["own_lamp_pin"]]
        self.pins = [Pin(pin, Pin.OUT, value=0) for pin in pins if pin >= 0]
        self.lit = bytes((60, 60, 60))
        self.dark = bytes(3)

    def show(self, level, hue):
        for pin in self.pins:
            pin.value(0)
        sleep_us(LATCH_US)
        self._send(self.lit if level else self.dark)
        if level:
            sleep_us(LATCH_US)
            for pin in self.pins:
                pin.value(1)

    def _send(self, data):
        i = len(self.pins)
        while i:
            i -= 1
            bitstream(self.pins[i], 0, TIMING, data)


def fit(s):
    """The rig's own. A pin that the board lacks raises ValueError."""
    if s.lamp == "rgb":
        colors = (s.more_rgb, s.enough_rgb, s.much_rgb, s.danger_rgb, s.wrong_rgb)
        return Pixel(s.lamp_pin, s.lamp_percent, colors)
    if s.lamp == "piezo":
        return Piezo(s.lamp_pin, s.lamp_active_low)
    return played(s) or driven(s)


def driven(s):
    """By the program, a level at a time."""
    one = Single(s.lamp_pin, s.lamp_percent, s.lamp_active_low)
    if s.lamp2_pin < 0:
        return one
    return Two(one, Single(s.lamp2_pin, s.lamp_percent, s.lamp_active_low))


def played(s):
    """By hardware that plays; None where this board or its MicroPython has none."""
    if Player is None:
        return None
    try:
        one = Player(0, s.lamp_pin, s.lamp_percent, s.lamp_active_low)
        if s.lamp2_pin < 0:
            return Played(one)
        return PlayedTwo(one, Player(1, s.lamp2_pin, s.lamp_percent, s.lamp_active_low))
    except (ValueError, TypeError, AttributeError, OSError, MemoryError):
        return None  # a pin that is not there is told by `driven`
