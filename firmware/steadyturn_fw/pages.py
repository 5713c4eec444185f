"""Layout of one journal page: the only place where it is written.

Imports nothing and uses plain integers, because the host reads pages with these
same constants. All numbers are little-endian. pages.md beside this file gives
the bytes in words, with worked pages in hex.
"""

PAGE_BYTES = 220
VERSION = 1  # of a page without FLAG_BURST and FLAG_SUMMARY
VERSION_WIDER = 2  # of one with either: a reader of version 1 would misread it
VERSIONS = (VERSION, VERSION_WIDER)
MAGIC_0 = 0x53  # "S"
MAGIC_1 = 0x74  # "t"

# ---- head: known when the page is begun
AT_MAGIC = 0
AT_VERSION = 2
AT_SHIFTS = 3  # low nibble: bus unit is 1 mV << n; high nibble: current unit is 1 mA << n
AT_SEQ = 4  # u32, never repeats on one board
AT_BOOT = 8  # u24
AT_T0 = 11  # u32, ms since this boot at the start of the first sample
HEAD_BYTES = 15

# ---- samples: 6 bytes each, 5 a second, sample i covers t0 + 200 * i to t0 + 200 * (i + 1) ms
AT_SAMPLES = 15
SAMPLES = 23
SAMPLE_BYTES = 6
SAMPLE_MS = 200
# bits of a sample, from bit 0 of byte 0 upwards
BITS_BUS = 12  # mean bus, 1 mV << shift
BITS_AMPS = 12  # mean current, 1 mA << shift
BITS_PACE = 10  # half turns per minute
BITS_BUS_PEAK = 4  # index into EXCESS, in bus units above the mean
BITS_AMPS_PEAK = 4  # index into EXCESS, in current units above the mean
BITS_CUE = 3
BITS_CONNECTED = 1
BITS_VALID = 2
NO_DATA = 0xFF  # all six bytes: a stall; nothing was measured in this 0.2 s

# ---- events: 5 bytes each: code u8, when i16 (10 ms units from t0), argument u16
AT_EVENTS = 153
EVENTS = 3
EVENT_BYTES = 5
EVENT_UNIT_MS = 10

# ---- tail: known when the page is closed; totals run since the board was new
AT_N_SAMPLES = 168
AT_N_EVENTS = 169
AT_FLAGS = 170
AT_PEAK_MV = 171  # u16, highest single reading in this page
AT_PEAK_MA = 173  # u16
AT_ENERGY_IN = 175  # u48, uJ into the converter, measured
AT_ENERGY_OUT = 181  # u48, uJ to the phone, inferred or measured (flag)
AT_CHARGE = 187  # u48, uC into the converter
AT_TURNS = 193  # u40, thousandths of a turn
AT_ON = 198  # u32, samples taken
AT_BAND = 202  # u32, samples with the pace inside the band
AT_CONNECTED = 206  # u32, samples with the load connected
AT_CONNECTIONS = 210  # u16, times the load was connected (wraps)
AT_FAULTS = 212  # u16, faults that began (wraps)
AT_EVENTS_LOST = 214  # u8, events that found no room, stays at 255
AT_RISE = 215  # u8, K: how much warmer than at rest the board takes the windings to be
AT_CRC = 216  # u32, CRC-32/ISO-HDLC of bytes 0 to 215

# ---- a summary: where a page has its samples. AT_SEQ and the totals are those of the last page
# it stands for, AT_T0 is the first one's; its events count whole seconds from there
AT_FIRST = 15  # u32, number of the first page it stands for
AT_STANDS_FOR = 19  # u32, pages
AT_FIRST_BOOT = 23  # u24; AT_BOOT but where there was no room for a summary a boot
AT_LENGTH = 26  # u32 ms, from the first sample to the end of the last one
AT_BY_CUE = 30  # 8 * u32, samples by cue
AT_BY_VALIDITY = 62  # 4 * u32, samples by validity
AT_NO_DATA = 78  # u32, samples in which nothing was measured
AT_TOP_PACE = 82  # u16, highest valid pace, half turns per minute
AT_PACE_SUM = 84  # u48, sum of the valid paces
AT_COLLAPSES = 90  # u16
AT_RELEASES = 92  # 16 * u16, by reason
REASONS_KEPT = 16
AT_FAULTS_BEGUN = 124  # 14 * u16, by fault
FAULTS_KEPT = 14
SUMMARY_EVENT_MS = 1000

FLAG_OUT_MEASURED = 1
FLAG_FADING = 2  # closed early because the supply was going
FLAG_VOLTS_ONLY = 4
FLAG_SATURATED = 8  # a reading stood at the end of its range
FLAG_FLUSHED = 16  # closed early because the host asked
FLAG_BURST = 32  # samples of one tick each, round a step of the load
FLAG_PACE_MEASURED = 128  # each pace that stands as valid is the turn sensor's
FLAG_SUMMARY = 64  # stands for all pages of its boot, which were given up for room

# ---- codes
CUES = ("rest", "faster", "hold", "slower", "stop", "fault")
REST, FASTER, HOLD, SLOWER, STOP, FAULT = range(6)

VALIDITY = ("valid", "bound", "volts_only", "no_sensor")
VALID, BOUND, VOLTS_ONLY, NO_SENSOR = range(4)
# in the link's state, where it is not two bits: valid, and by the turn sensor
STATE_VALIDITY = ("valid", "bound", "volts_only", "no_sensor", "measured")
MEASURED = 4

EVENT_NAMES = (
    "none", "boot", "connected", "released", "fault", "fault_end", "gap", "erase_connected",
    "host", "collapse", "settings", "slip", "load_step", "thinned", "previous_settings",
    "safe_mode", "bench",
)
(
    EV_NONE, EV_BOOT, EV_CONNECTED, EV_RELEASED, EV_FAULT, EV_FAULT_END, EV_GAP,
    EV_ERASE_CONNECTED, EV_HOST, EV_COLLAPSE, EV_SETTINGS, EV_SLIP, EV_LOAD_STEP, EV_THINNED,
    EV_PREVIOUS_SETTINGS, EV_SAFE_MODE, EV_BENCH,
) = range(17)

# why the load is released: argument of EV_RELEASED, and part of the link's state
REASONS = (
    "none", "not_yet", "low_bus", "over_voltage", "over_current", "over_speed", "sensor_lost",
    "settings_bad", "fading", "asked", "waiting", "over_temperature",
)
(
    WHY_NONE, WHY_NOT_YET, WHY_LOW_BUS, WHY_OVER_VOLTAGE, WHY_OVER_CURRENT, WHY_OVER_SPEED,
    WHY_SENSOR_LOST, WHY_SETTINGS_BAD, WHY_FADING, WHY_ASKED, WHY_WAITING, WHY_OVER_TEMPERATURE,
) = range(12)

# faults: argument of EV_FAULT and EV_FAULT_END; the number is the count of long flashes
FAULTS = (
    "none", "settings", "sensor", "over_voltage", "over_current", "journal", "program",
    "temperature", "gears",
)
(
    FAULT_NONE, FAULT_SETTINGS, FAULT_SENSOR, FAULT_OVER_VOLTAGE, FAULT_OVER_CURRENT,
    FAULT_JOURNAL, FAULT_PROGRAM, FAULT_TEMPERATURE, FAULT_GEARS,
) = range(9)

# peak codes: the recorded peak is at most this many units above the mean (15: or more)
EXCESS = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192)


# ---- writing: integers only, nothing allocated


def put(page, at, size, value):
    """Write a non-negative integer, low byte first."""
    while size:
        page[at] = value & 0xFF
        value >>= 8
        at += 1
        size -= 1


def get(page, at, size):
    value = 0
    while size:
        size -= 1
        value = value << 8 | page[at + size]
    return value


def excess_code(units):
    """Smallest code whose excess covers `units`."""
    code = 0
    while code < 15 and EXCESS[code] < units:
        code += 1
    return code


def put_sample(page, index, bus, amps, pace, bus_over, amps_over, cue, connected, valid):
    """Pack sample `index`: bus, amps and their peaks' excess in page units, pace in half
    turns per minute. Values beyond a field's range are stored as its largest."""
    at = AT_SAMPLES + index * SAMPLE_BYTES
    put_means(page, at, bus, amps)
    put_pace(page, at, pace, bus_over, amps_over)
    put_marks(page, at, cue, connected, valid)


# a sample in three parts: a board takes the frame of a long argument list from the heap


def put_means(page, at, bus, amps):
    """The first three bytes of the sample at `at`."""
    bus = min(bus, 0xFFF)
    amps = min(amps, 0xFFF)
    page[at] = bus & 0xFF
    page[at + 1] = bus >> 8 | (amps & 0x0F) << 4
    page[at + 2] = amps >> 4


def put_pace(page, at, pace, bus_over, amps_over):
    """The next two, and the lowest two bits of the last."""
    pace = min(pace, 0x3FF)
    code = excess_code(amps_over)
    page[at + 3] = pace & 0xFF
    page[at + 4] = pace >> 8 | excess_code(bus_over) << 2 | (code & 3) << 6
    page[at + 5] = code >> 2


def put_marks(page, at, cue, connected, valid):
    """The rest of the last, after put_pace."""
    page[at + 5] = page[at + 5] & 3 | cue << 2 | connected << 5 | valid << 6


# ---- CRC-32/ISO-HDLC as two 16-bit halves: the whole does not fit a small int on a board


def _halves():
    low = []
    high = []
    for byte in range(256):
        a = byte
        b = 0
        for _ in range(8):
            odd = a & 1
            a = a >> 1 | (b & 1) << 15
            b >>= 1
            if odd:
                a ^= 0x8320
                b ^= 0xEDB8
        low.append(a)
        high.append(b)
    return tuple(low), tuple(high)


CRC_LOW, CRC_HIGH = _halves()


class Crc:
    """Running CRC; `low` and `high` are its halves, inverted as at the end."""

    def __init__(self):
        self.low = 0
        self.high = 0

    def reset(self):
        self.low = 0
        self.high = 0

    def feed(self, data, start, stop):
        a = self.low ^ 0xFFFF
        b = self.high ^ 0xFFFF
        while start < stop:
            k = (a ^ data[start]) & 0xFF
            a = (a >> 8 | (b & 0xFF) << 8) ^ CRC_LOW[k]
            b = b >> 8 ^ CRC_HIGH[k]
            start += 1
        self.low = a ^ 0xFFFF
        self.high = b ^ 0xFFFF

    def store(self, page, at):
        page[at] = self.low & 0xFF
        page[at + 1] = self.low >> 8
        page[at + 2] = self.high & 0xFF
        page[at + 3] = self.high >> 8

    def matches(self, page, at):
        return (
            page[at] | page[at + 1] << 8 == self.low
            and page[at + 2] | page[at + 3] << 8 == self.high
        )
