"""Boards as data: the pins used unless a rig names others. Imports nothing.

One row a board: the names in COLUMNS, in that order. supply_permille is the
divider in front of the reservoir's ADC pin, in thousandths. unused: -1.
"""

COLUMNS = (
    "i2c_id", "sda_pin", "scl_pin", "lamp_pin", "switch_pin", "bus_adc_pin", "supply_adc_pin",
    "supply_permille", "alert_pin", "button_pin", "turn_pin", "second_load_pin",
    "let_go_pin", "lamp2_pin",
    "amps_adc_pin", "heat_adc_pin",
)

BOARDS = {
    # a Pico measures its own VSYS on GP29 through a divider of three
    "pico": (0, 4, 5, 15, 16, 26, 29, 3000, 18, 14, 17, 22, 19, 13, 28, 27),
    # GP29 is shared with the radio there: two equal resistors to GP27 instead
    "pico_w": (0, 4, 5, 15, 16, 26, 27, 2000, 18, 14, 17, 22, 19, 13, 28, -1),
    "pico2": (0, 4, 5, 15, 16, 26, 29, 3000, 18, 14, 17, 22, 19, 13, 28, 27),
    # its thermistor is on the second converter, which a radio would disturb: none runs here
    "esp32_s3": (0, 8, 9, 4, 5, 1, 2, 2000, 6, 7, 10, 14, 11, 12, 3, 13),
    "esp32_c3": (0, 5, 6, 7, 10, 3, 4, 2000, 1, 0, 2, -1, 20, 21, -1, -1),
}

# a board that is not listed: the rig names its pins
OTHER = tuple([{"i2c_id": 0, "supply_permille": 2000}.get(name, -1) for name in COLUMNS])

# the LED that stands on the board: its kind and pin. A Pico W's hangs on the radio, where no
# PWM reaches it; that of an ESP32-S3-DevKitC-1 moved from 48 to 38 in version 1.1
OWN_LAMP = {
    "pico": ("led", 25),
    "pico_w": ("", -1),
    "pico2": ("led", 25),
    "esp32_s3": ("rgb", 48),
    "esp32_c3": ("rgb", 8),
    "other": ("", -1),
}
