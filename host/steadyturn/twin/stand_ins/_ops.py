"""Messages between a virtual board and its hardware, once for both sides. Imports nothing.

Both ways they are whole 64-bit integers in the machine's byte order. The board asks
and waits; the hardware answers when the time asked for has passed.
"""

ASK_WORDS = 48
# words of a question
A_OP = 0
A_SEQ = 1
A_CLOCK = 2  # us, the board's own clock: what it has spent since the last answer included
A_1 = 3  # argument, by operation
A_2 = 4
A_COUNT = 5  # changes that follow
A_CHANGES = 6  # pairs: clock us, then code << 40 | pin << 32 | value
CHANGES_MOST = 12
A_READ_COUNT = 30  # readings that follow, where TWIN_READINGS is set
A_READS = 31  # clock us << 24 | what << 16 | value
READS_MOST = 17
READ_ADC = 0x80  # what: a register of the chip, an ADC channel from here on,
READ_CLOCK = 0xF0  # or the clock in us

ANSWER_WORDS = 32
# words of an answer
R_SEQ = 0
R_FLAGS = 1
R_CLOCK = 2  # us
R_INPUTS = 3  # bit n: level of pin n
R_ADC = 4  # channels, 0 to 65535, in the order of the wiring's ADC pins
ADC_CHANNELS = 6
R_REGISTERS = 10  # the sensor's registers from 0 on
REGISTERS = 18
R_PULSES = 28  # of a turn sensor, since the board has power
R_FAULT = 29  # what is wrong on the I2C bus: one of the FAULT_ codes, 0: nothing
R_HOST = 30  # 1: a USB host is there
R_PULSE_AT = 31  # us, when the last of the turn sensor's pulses came

SLEEP = 1  # argument 1: us
TIME = 2  # what time is it; answered at once
PROGRAM = 3  # argument 1: byte address; argument 2: bytes of data behind the message
ERASE = 4  # argument 1: byte address of the block
WRITE_REGISTER = 5  # arguments: register, value
RESET = 6  # like the reset button: the board never sees the answer
PROMPT = 7  # the programs have ended; the prompt follows
OUTPUT = 8  # argument 2: console bytes behind the message (boards without a terminal)
INPUT = 9  # bytes for the console: the answer's flags tell how many follow it
AGAIN = 10  # send Ctrl-C once more: it came inside a flash operation
START = 11  # the board's own programs come next
SOFT_RESET = 12
HEAP = 13  # arguments: bytes in use after a collection, bytes ever allocated

WITH_DATA = (PROGRAM, OUTPUT)

CHANGE_PIN = 1  # value: level
CHANGE_PWM = 2  # value: duty, 0 to 65535
CHANGE_READ = 3  # "pin": sensor register whose reading has a side effect
CHANGE_MODE = 4  # value: 1 output, 0 input
CHANGE_TONE = 5  # value: Hz of a PWM
CHANGE_PIXEL = 6  # value: 65536 * first + 256 * second + third byte sent to a pixel
CHANGE_FEED = 7  # value: ms until the watchdog bites, 0: it has been stopped
CHANGE_NOTE = 8  # value: of the register that outlives a reset
CHANGE_PLAY = 9  # value: percent at high level << 25 | us; behind what the pin plays already
CHANGE_STOP = 10  # what the pin plays ends, as it stands

FAULT_NACK = 1  # nobody answers
FAULT_STUCK = 2  # the data line stays low: each transfer ends with its time-out
FAULT_WRONG = 3  # another chip answers

INTERRUPT = 1  # Ctrl-C
LIVE = 2  # real time: ask for the time instead of reckoning it
NO_SENSOR = 4  # nobody answers on the I2C bus
MEASURE = 8  # tell the heap's figures, at once
WAITING_SHIFT = 8  # flags >> this: console bytes that wait (boards without a terminal)
