"""The link's words for a bench: layouts and codes of the answers to `:bench`, `:step` and
`:samples`. bench.md has them in words.

Imports nothing; the host uses the same. Apart from frames.py, so that a board loads it only
when a host asks for a bench.
"""


def places(fields):
    """Of a text of "name:kind" with kinds u1, u2, u4, i2 and i4 in the order of the bytes:
    name -> (offset, bytes, signed). A text, because it costs a board less heap than rows."""
    found = {}
    at = 0
    for field in fields.split():
        name, kind = field.split(":")
        found[name] = at, int(kind[1]), kind[0] == "i"
        at += int(kind[1])
    return found


def packing(fields):
    """The same for `struct`."""
    kinds = {"u1": "B", "u2": "H", "u4": "I", "i2": "h", "i4": "i"}
    return "<" + "".join([kinds[field.split(":")[1]] for field in fields.split()])


def names(fields):
    return [field.split(":")[0] for field in fields.split()]


# ":bench end" ends it, and so does this long without one
BENCH_END = b"end"
BENCH_SILENT_MS = 15000
# what a bench order may ask for
(
    LOAD_NONE,  # released, second load off
    LOAD_DEVICE,  # connected
    LOAD_BOTH,  # connected, second load on
    LOAD_SECOND,  # released, second load on: not where the switch stands before the converter
) = range(4)
BENCH_LEAST_DTPM = 50
BENCH_MOST_DTPM = 5000
BENCH_MOST_TICKS = 16000  # then nothing more is added: sums of so many are small integers
BLOCK_TICKS = 25  # counted ticks in a block, 0.5 s
BLOCKS = 8  # the last ones, the newest last

# why there is no bench (any more)
BENCH_ENDS = (
    "none", "not_begun", "asked", "silent", "protection", "sensor_lost", "released_by_host",
    "no_settings", "program_ended", "no_memory",
)
(
    END_NONE, END_NOT_BEGUN, END_ASKED, END_SILENT, END_PROTECTION, END_SENSOR_LOST,
    END_RELEASED, END_NO_SETTINGS, END_PROGRAM, END_NO_MEMORY,
) = range(10)

# who tells the lamp of the pace
GUIDES = ("beat", "turn_sensor", "volts")
GUIDE_BEAT, GUIDE_TURN_SENSOR, GUIDE_VOLTS = range(3)

# why there was no step, or no whole one
STEP_REASONS = (
    "none", "no_bench", "no_second_load", "released", "no_current", "too_low", "too_much",
    "no_capacitor", "too_soon", "no_volts", "chip", "protection", "sensor_lost",
)
(
    STEP_DONE, STEP_NO_BENCH, STEP_NO_SECOND_LOAD, STEP_RELEASED, STEP_NO_CURRENT, STEP_TOO_LOW,
    STEP_TOO_MUCH, STEP_NO_CAPACITOR, STEP_TOO_SOON, STEP_NO_VOLTS, STEP_CHIP, STEP_PROTECTION,
    STEP_SENSOR_LOST,
) = range(13)

# BENCH: what was ordered, what is now, what was added up since the order, the last step; then
# BLOCKS times the sums of bus_mv (u4) and bus_ma (i4) over BLOCK_TICKS counted ticks
BENCH_FIELDS = (
    "t_ms:u4 on:u1 ended:u1 why:u1 order:u2 pace_dtpm:u2 tolerance_dtpm:u2 load:u1 "
    "connected:u1 second:u1 cue:u1 guide:u1 validity:u1 beat_ms:u2 "
    "now_mv:u2 now_ma:i4 now_dtpm:u2 "
    "ticks:u2 count:u2 missed:u2 saturated:u2 connected_count:u2 second_count:u2 "
    "flowing_count:u2 mv_sum:u4 ma_sum:i4 mv_min:u2 mv_max:u2 ma_min:i4 ma_max:i4 "
    "out_count:u2 out_mv_sum:u4 out_ma_sum:i4 "
    "pace_count:u2 pace_sum:u4 pulses:u2 pulses_us:u4 "
    "steps:u2 step_why:u1 step_samples:u2 blocks:u1"
)
BENCH_HEAD_BYTES = 91
BLOCK_BYTES = 8
BENCH_BYTES = 155

# SAMPLES: the head, then `sent` samples. mV = bus * bus_factor / 2**bus_shift + bus_offset_mv;
# mA = (amps - amps_zero) * amps_factor / 2**amps_shift + amps_offset_ma, amps signed where
# the chip is not the board's own ADC (amps_signed). Times count from the first sample
STEP_FIELDS = (
    "first:u2 total:u2 sent:u1 step:u2 reason:u1 amps_signed:u1 cycle_us:u2 on_us:u4 off_us:u4 "
    "bus_factor:u2 bus_shift:u1 bus_offset_mv:i2 "
    "amps_factor:u2 amps_shift:u1 amps_offset_ma:i2 amps_zero:u2"
)
STEP_HEAD_BYTES = 31
STEP_NEVER = 0xFFFFFFFF  # of on_us and off_us: it came not so far
SAMPLE_FIELDS = "t_us:u4 bus:u2 amps:u2"
STEP_SAMPLE_BYTES = 8
STEP_SAMPLES = 25  # in a frame
