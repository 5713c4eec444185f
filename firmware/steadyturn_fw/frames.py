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

# their layouts and codes stand in bench_frames.py
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
