"""The link's words and frame: what the host asks, how the board answers.

Imports nothing; the host uses the same constants. link.md beside this file has
the protocol in words. A question is one line of printable ASCII, at most 64
bytes, starting with ":" and ending with a line feed. An answer is one frame:
two start bytes, kind, length, payload, CRC-32 of kind, length and payload.
"""

START_0 = 0xA5
START_1 = 0x53
PROTOCOL = 2  # with ASK_NEXT; otherwise as 1
LEAST_PROTOCOL = 1
LINE_MAX = 64
FRAME_MAX = 240
PAYLOAD_MAX = 232
HEAD_BYTES = 4
CRC_BYTES = 4

ASK_WHO = b":who"  # -> WHO
ASK_STATE = b":state"  # -> STATE
ASK_SETTINGS = b":settings"  # ":settings OFFSET" -> SETTINGS: a piece of the settings in force
ASK_PAGE = b":page"  # ":page SEQ" -> PAGE: the first stored page with this number or a later one
ASK_NEXT = b":+"  # -> PAGE: the first page after the one just sent
ASK_FLUSH = b":flush"  # close and store the page being filled -> STATE
ASK_RELEASE = b":release"  # release the load until the next boot -> STATE
ASK_FORGET = b":forget"  # ":forget SEQ": remove the oldest file if the host has all in it -> WHO
ASK_NOW = b":now"  # the last tick's readings, with their signs -> NOW

ASK_BENCH = b":bench"  # ":bench PACE TOLERANCE LOAD": a bench order; alone: go on; "end" -> BENCH
ASK_STEP = b":step"  # switch the second load on and off, sampling quickly -> BENCH
ASK_SAMPLES = b":samples"  # ":samples N": the last step's, from number N on -> SAMPLES

SAFE_MODE = "steadyturn: safe mode"  # a line of text, and all that is said there

WHO = 0x57  # "W"
STATE = 0x53  # "S"
SETTINGS = 0x43  # "C": offset u16, total length u16, bytes
PAGE = 0x50  # "P": the page's bytes
END = 0x45  # "E": no stored page with this number or a later one
BENCH = 0x42  # "B"
SAMPLES = 0x4C  # "L": the head, then samples
NOW = 0x4E  # "N"
WRONG = 0x3F  # "?": the line was not understood; payload: its first bytes

# WHO: protocol u8, page version u8, format id u32 (made when the journal was), boot u24,
# t u32 ms, first seq u32, last seq u32 (first > last: none stored), unique id 8 bytes,
# firmware version text to the end
WHO_FIXED_BYTES = 29

# STATE: one row a field: name, offset, bytes; signed ones are named in STATE_SIGNED
STATE_FIELDS = (
    ("t_ms", 0, 4),
    ("boot", 4, 3),
    ("bus_mv", 7, 2),
    ("bus_ma", 9, 2),
    ("pace_dtpm", 11, 2),  # tenths of a turn per minute
    ("cue", 13, 1),
    ("connected", 14, 1),
    ("why", 15, 1),  # pages.REASONS, while released
    ("fault", 16, 1),
    ("validity", 17, 1),
    ("settings_ok", 18, 1),  # 1: in force; 2: the previous ones are, the newest were refused
    ("supply_mv", 19, 2),
    ("energy_in_uj", 21, 6),
    ("energy_out_uj", 27, 6),
    ("charge_uc", 33, 6),
    ("turns_m", 39, 5),
    ("on_samples", 44, 4),
    ("band_samples", 48, 4),
    ("connected_samples", 52, 4),
    ("connections", 56, 2),
    ("last_seq", 58, 4),
    ("settings_crc", 62, 4),
    ("late_ticks", 66, 2),
    ("sensor_errors", 68, 2),
)
STATE_BYTES = 70

# NOW: name, offset, bytes. Currents are signed; known: the sum of NOW_VOLTS and so on
NOW_FIELDS = (
    ("t_ms", 0, 4),
    ("known", 4, 1),
    ("bus_mv", 5, 2),
    ("out_mv", 7, 2),
    ("bus_ma", 9, 4),
    ("out_ma", 13, 4),
)
NOW_BYTES = 17
NOW_VOLTS = 1  # bus_mv is known,
NOW_AMPS = 2  # bus_ma,
NOW_OUT = 4  # out_mv and out_ma
NOW_END = 8  # a reading stands at the end of its range


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


# ---- bench: bench.md has the words. ":bench end" ends it, and so does this long without one
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
    "no_settings", "program_ended",
)
(
    END_NONE, END_NOT_BEGUN, END_ASKED, END_SILENT, END_PROTECTION, END_SENSOR_LOST,
    END_RELEASED, END_NO_SETTINGS, END_PROGRAM,
) = range(9)

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
