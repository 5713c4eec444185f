"""What each cue looks, sounds and feels like, once for board and host. Imports nothing.

Dark = give more. Light = enough. Broken light = too much. Patterns differ in shape,
so that colour and pitch only repeat what the shape says.
"""

BEAT = -1  # a step that lasts until the beat is over

# name, light, piezo, vibration: steps of (level, ms), repeated.
# Level 0: dark, silent, still. 1: lit, low tone, on. 2: high tone.
PATTERNS = (
    ("rest", ((1, 40), (0, 3960)), ((0, 4000),), ((0, 4000),)),
    ("faster", ((1, 120), (0, BEAT)), ((1, 60), (2, 60), (0, BEAT)), ((1, 120), (0, BEAT))),
    ("hold", ((1, 1000),), ((0, 1000),), ((0, 1000),)),
    (
        "slower",
        ((0, 120), (1, 120), (0, 120), (1, 500)),  # the wink first: it is what tells
        ((2, 60), (1, 60), (0, 840)),
        ((1, 120), (0, 120), (1, 120), (0, 600)),
    ),
    ("stop", ((1, 200), (0, 200)), ((1, 1000),), ((1, 200), (0, 200))),
    # one long wink for each percent delivered, in between while the cue is hold
    ("percent", ((1, 400), (0, 600), (1, 400)), ((1, 400), (0, 600)), ((1, 400), (0, 600))),
    # a fault: this once, then its count of long flashes, then the pause
    ("fault_lead", ((0, 800),), ((0, 800),), ((0, 800),)),
    ("fault_flash", ((1, 600), (0, 400)), ((1, 600), (0, 400)), ((1, 600), (0, 400))),
    ("fault_pause", ((0, 1000),), ((0, 1000),), ((0, 1000),)),
    # the count of percents: this once, a long one for each ten, the gap, a short one for each one
    ("count_lead", ((0, 800),), ((0, 800),), ((0, 800),)),
    (
        "count_ten",
        ((1, 1000), (0, 400)),
        ((2, 600), (0, 400)),
        ((1, 250), (0, 150), (1, 250), (0, 550)),
    ),
    ("count_gap", ((0, 600),), ((0, 600),), ((0, 600),)),
    ("count_one", ((1, 250), (0, 350)), ((2, 150), (0, 350)), ((1, 200), (0, 400))),
    # not one yet; also the answer when the count was set to nothing
    ("count_none", ((1, 80), (0, 160)) * 2, ((2, 80), (0, 160)) * 2, ((1, 80), (0, 160)) * 2),
)
PERCENT = 5
LEAD = 6
FLASH = 7
PAUSE = 8
COUNT_LEAD = 9
TEN = 10
GAP = 11
ONE = 12
NONE = 13

# the parade: rows in the order in which they are shown, each for so many ms, a gap between
PARADE = (
    (0, 4200), (1, 3000), (2, 2000), (3, 2400), (4, 2000), (PERCENT, 1400), (FLASH, 2000),
    (TEN, 1400), (ONE, 1200),
)

# lamp kind -> column of PATTERNS: the shapes are the same for all that shine
COLUMN = {"led": 1, "two_led": 1, "rgb": 1, "piezo": 2, "vibration": 3}

# what a pixel's colour and a second LED repeat, a row of PATTERNS each
MORE, ENOUGH, MUCH, DANGER, WRONG = 0, 1, 2, 3, 4
HUES = (
    MORE, MORE, ENOUGH, MUCH, DANGER, ENOUGH, WRONG, WRONG, WRONG,
    ENOUGH, ENOUGH, ENOUGH, ENOUGH, ENOUGH,
)

LOW_HZ = 1500
HIGH_HZ = 2500
VIBRATION_MS = 600  # a motor is on for no longer at a time, whatever follows what


def beat_ms(target_dtpm):
    """Length of the beat: a turn at the target pace, doubled or halved to 0.55-1.11 s."""
    ms = 600000 // target_dtpm
    while ms > 1111:
        ms //= 2
    while ms < 555:
        ms *= 2
    return ms
