"""What is known in this tick: the parts of the loop read it and write their share here.

One object instead of long argument lists, and for a reason: MicroPython takes the
frame of a function with more than about ten locals and operands from the heap.
"""

from steadyturn_fw import pages

NEVER_MV = 1 << 17  # above all that can be read


class Now:
    def __init__(self):
        # time, by loop.py
        self.t_ms = 0  # since boot
        self.ms = 20  # since the last tick; less than one waits for the next
        # by sensor.py
        self.bus_mv = 0
        self.bus_ma = 0  # into the converter
        self.supply_mv = 0  # the board's reservoir
        self.volts = False  # bus_mv is known
        self.amps = False  # and bus_ma
        self.out_mv = 0  # at the converter's output; 0 where it is not known,
        self.out_ma = 0
        self.out_known = False  # which this tells
        self.too_hot = False  # by heat.py: the thermistor, or its wire is broken
        self.saturated = False  # a reading stood at the end of its range
        # by turn.py
        self.measured = False  # the pace is the turn sensor's
        self.turn_units = 0  # turned since the last tick by its pulses, in dtpm * ms
        # by estimate.py
        self.motor_ma = 0
        self.raw_dtpm = 0  # of this tick
        self.pace_dtpm = 0  # filtered
        self.ahead_dtpm = 0  # where the pace will be in about a reaction time
        self.validity = pages.NO_SENSOR
        self.silent_ticks = 0  # since current last flowed
        # by cue.py and switch.py
        self.cue = pages.REST
        self.connected = False
        self.over_volts = False  # at the converter's input or output
        self.least_dtpm = 0  # while released: the pace that connecting asks for
