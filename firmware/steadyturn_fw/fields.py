"""The settings' fields and ranges, once for board and host. Imports nothing.

The settings file is JSON in three lines, so that the CRC covers bytes and not a
reading of them:

    {"crc": "1a2b3c4d", "settings":
    {"version": 3, ...}
    }

crc: CRC-32/ISO-HDLC of the second line without its line feed, eight hex digits.
All fields are required, but those of MAY_MISS, and no others are allowed.
"""

VERSION = 3
FILE = "/settings.json"

CHIPS = ("ina226", "ina219", "ina3221", "adc")
LAMPS = ("led", "two_led", "rgb", "piezo", "vibration")
PLACES = ("enable", "bus_switch", "output_switch")
COILS = ("in", "out", "larger", "linear")

# whole numbers: name, low, high, meaning
WHOLE = (
    ("version", 3, 3, "layout of the settings"),
    # wiring
    ("i2c_id", 0, 1, "I2C block of the chip"),
    ("sda_pin", 0, 48, "pin"),
    ("scl_pin", 0, 48, "pin"),
    ("lamp_pin", 0, 48, "pin"),
    ("lamp2_pin", -1, 48, "pin of a second LED, -1: none"),
    ("switch_pin", 0, 48, "pin whose pulses keep the load connected"),
    ("button_pin", -1, 48, "pin of the button to ground, -1: none"),
    ("let_go_pin", -1, 48, "pin that releases the load at once while it is high, -1: none"),
    ("bus_adc_pin", -1, 48, "ADC pin behind the bus divider, -1: none"),
    ("supply_adc_pin", -1, 48, "ADC pin that sees the board's reservoir, -1: none"),
    ("amps_adc_pin", -1, 48, "ADC pin of the shunt's amplifier, -1: none"),
    ("turn_pin", -1, 48, "pin of the turn sensor to ground, -1: none"),
    ("second_load_pin", -1, 48, "pin that connects the second load while it is high, -1: none"),
    ("heat_adc_pin", -1, 48, "ADC pin of a thermistor to ground, -1: none"),
    ("lamp_active_low", 0, 1, "1: the lamp lights at low level"),
    ("lamp_percent", 1, 100, "brightness"),
    ("more_rgb", 1, 16777215, "colour for more, 65536 red + 256 green + blue"),
    ("enough_rgb", 1, 16777215, "colour for enough"),
    ("much_rgb", 1, 16777215, "colour for too much"),
    ("danger_rgb", 1, 16777215, "colour of stop"),
    ("wrong_rgb", 1, 16777215, "colour of faults"),
    ("watchdog", 0, 1, "1: a board that hangs starts anew, while no USB host is there"),
    # sensor
    ("address", 8, 119, "I2C address"),
    ("shunt_uohm", 500, 1000000, "shunt"),
    ("out_shunt_uohm", 0, 1000000, "shunt at the converter's output, below 500: none"),
    ("bus_gain_ppm", 800000, 1200000, "correction of volts"),
    ("bus_offset_mv", -500, 500, "correction of volts"),
    ("amps_gain_ppm", 800000, 1200000, "correction of current"),
    ("amps_offset_ma", -500, 500, "correction of current"),
    ("out_bus_gain_ppm", 800000, 1200000, "correction of the output's volts"),
    ("out_bus_offset_mv", -500, 500, "correction of the output's volts"),
    ("out_amps_gain_ppm", 800000, 1200000, "correction of the output's current"),
    ("out_amps_offset_ma", -500, 500, "correction of the output's current"),
    ("amplifier_permille", 1000, 500000, "gain of the shunt's amplifier, in thousandths"),
    ("amplifier_zero_mv", 0, 3000, "what the amplifier gives without current"),
    ("divider_permille", 1000, 100000, "bus volts = ADC volts * this / 1000"),
    ("supply_permille", 1000, 100000, "reservoir volts = ADC volts * this / 1000"),
    # machine, for the pace: E = bus + source_mohm * I + drop_mv * I / (I + knee)
    ("emf_uv_per_tpm", 1000, 2000000, "EMF of the bank per turn a minute at the handle"),
    ("source_mohm", 1, 500000, "resistance of bank and wiring, warm"),
    ("drop_mv", 0, 5000, "brushes and diodes at full current"),
    ("drop_knee_ma", 1, 2000, "current at which half of that drop is there"),
    ("conduct_ma", 1, 500, "below this current the pace is a bound"),
    ("supply_ma", 0, 2000, "what the board itself draws from the bus, past the sensor"),
    ("capacitor_uf", 0, 100000, "on the bus"),
    ("second_load_mohm", 0, 1000000, "second load, 0: none"),
    # the winding's warmth, which raises source_mohm and lowers emf_uv_per_tpm
    ("warm_s", 0, 30000, "time constant, 0: not corrected, both are those of a warm winding"),
    ("warm_ck_per_w", 0, 30000, "0.01 K of winding per W of the bank's copper loss, in the end"),
    ("warm_case_ck_per_w", 0, 20000, "the same per W lost in brushes and bearings"),
    ("warm_rest_uw_per_tpm", 0, 100000, "lost there per turn a minute"),
    # turn sensor
    ("turn_pulses", 1, 24, "pulses a turn of the handle"),
    ("slip_permille", 50, 900, "turns by pulses and by volts further apart than this: gears"),
    ("slip_ms", 500, 60000, "for this long"),
    # band
    ("low_dtpm", 50, 5000, "tenths of a turn a minute"),
    ("target_dtpm", 50, 5000, "tenths of a turn a minute"),
    ("high_dtpm", 50, 5000, "tenths of a turn a minute"),
    ("rest_dtpm", 10, 2000, "below this the handle counts as resting"),
    ("window_low_mv", 500, 65000, "converter input, loaded"),
    ("window_high_mv", 500, 65000, "converter input, loaded"),
    ("hysteresis_dtpm", 0, 1000, "how far inside an edge hold begins again"),
    ("slack_dtpm", 0, 500, "how far past an edge hold is kept"),
    ("dwell_ms", 0, 5000, "shortest time of a cue"),
    # load switch
    ("connect_mv", 500, 65000, "bus at which the load may be connected"),
    ("connect_dtpm", 50, 5000, "pace at which the load may be connected"),
    ("release_mv", 300, 65000, "bus below which the load is released, before collapse"),
    ("over_mv", 1000, 65000, "bus above which the load is released at once"),
    ("over_out_mv", 0, 65000, "measured output above which the load is released at once, 0: none"),
    ("over_ma", 10, 30000, "current above which the load is released at once"),
    ("over_dtpm", 50, 9000, "pace above which the load is released"),
    ("gap_ms", 2000, 60000, "shortest time between connections"),
    ("heat_limit_mv", 0, 3300, "thermistor's pin: below this too hot, the load is released"),
    ("heat_back_mv", 0, 3300, "thermistor's pin: above this cool enough again"),
    ("heat_open_mv", 0, 3300, "thermistor's pin: above this its wire is broken"),
    ("hardware_cut", 0, 1, "1: hardware alone keeps every rating: may erase while connected"),
    # what goes out, inferred from what goes in; losses follow the coil's current
    ("out_mv", 800, 60000, "converter set point"),
    ("loss_uw", 0, 5000000, "constant loss"),
    ("loss_mv", 0, 3000, "loss per coil ampere"),
    ("loss_mohm", 0, 10000, "loss per coil ampere squared"),
    ("path_mohm", 0, 5000, "switch and cable between converter (its output shunt) and device"),
    ("percent_mj", 0, 1000000000, "energy at the device's socket for one percent, 0: unknown"),
    # the board's own supply
    ("fade_mv", 0, 60000, "reservoir: release and save, 0: not watched"),
    ("forbid_mv", 0, 60000, "reservoir: below this nothing is written"),
    # journal
    ("bus_shift", 0, 6, "bus unit in samples is 1 mV << this"),
    ("amps_shift", 0, 6, "current unit in samples is 1 mA << this"),
)

# whole numbers too, which stand there only where a reading was corrected by a meter: when, and
# how far from the truth a corrected reading is, at most (95 of 100): the root of the squares of a
# share of it and of a part that is always there. The board needs none of them.
MAY_MISS = (
    ("bus_corrected_day", 1, 65535, "day of the correction, counted from 2000-01-01"),
    ("bus_within_ppm", 0, 500000, "of a corrected reading, 95 %"),
    ("bus_within_uv", 0, 5000000, "and besides, 95 %"),
    ("amps_corrected_day", 1, 65535, "the same of the current"),
    ("amps_within_ppm", 0, 500000, "of a corrected reading, 95 %"),
    ("amps_within_ua", 0, 5000000, "and besides, 95 %"),
    ("out_bus_corrected_day", 1, 65535, "the same of the output's volts"),
    ("out_bus_within_ppm", 0, 500000, "of a corrected reading, 95 %"),
    ("out_bus_within_uv", 0, 5000000, "and besides, 95 %"),
    ("out_amps_corrected_day", 1, 65535, "the same of the output's current"),
    ("out_amps_within_ppm", 0, 500000, "of a corrected reading, 95 %"),
    ("out_amps_within_ua", 0, 5000000, "and besides, 95 %"),
)

# one of a list: name, choices, meaning
CHOICE = (
    ("chip", CHIPS, "sensor"),
    ("lamp", LAMPS, "lamp kind"),
    ("place", PLACES, "where the load switch stands"),
    ("coil", COILS, "which current the converter's losses follow"),
)

# text: name, most characters (printable ASCII), meaning
TEXT = (
    ("rig", 48, "name of the rig these settings were made from"),
    ("label", 24, "name of the board"),
)

# pairs that must stand in this order: lower, higher
ORDER = (
    ("low_dtpm", "target_dtpm"),
    ("target_dtpm", "high_dtpm"),
    ("rest_dtpm", "low_dtpm"),
    ("window_low_mv", "window_high_mv"),
    ("release_mv", "connect_mv"),
    ("connect_mv", "over_mv"),
    ("window_high_mv", "over_mv"),
    ("high_dtpm", "over_dtpm"),
    ("heat_limit_mv", "heat_back_mv"),
    ("heat_back_mv", "heat_open_mv"),
    ("forbid_mv", "fade_mv"),
)
