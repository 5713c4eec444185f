"""hardware/pins.md from the firmware's own board table."""

from __future__ import annotations

from steadyturn_fw.boards import BOARDS, COLUMNS, OWN_LAMP

MEANING = {
    "i2c_id": "I2C block",
    "sda_pin": "SDA of the sensor",
    "scl_pin": "SCL of the sensor",
    "lamp_pin": "lamp",
    "switch_pin": "load switch (pulses)",
    "bus_adc_pin": "bus divider",
    "supply_adc_pin": "reservoir",
    "supply_permille": "reservoir divider",
    "alert_pin": "sensor's alert",
    "button_pin": "button",
    "turn_pin": "turn sensor",
    "second_load_pin": "second load (`second_load_ohm`)",
    "let_go_pin": "load switch (let go)",
    "amps_adc_pin": "shunt amplifier (`adc`)",
    "heat_adc_pin": "thermistor",
    "lamp2_pin": "second LED (`two_led`)",
}


def pins_text() -> str:
    """Markdown: one row a signal, one column a board; GPIO numbers."""
    names = list(BOARDS)
    lines = [
        "# Pins",
        "",
        "GPIO numbers used unless a rig's `[board.pins]` names others. Made from the",
        "firmware's board table; `tests/host/drawings` compares.",
        "",
        "| signal | key in `[board.pins]` | " + " | ".join(f"`{n}`" for n in names) + " |",
        "|" + "---|" * (len(names) + 2),
    ]
    for column, key in enumerate(COLUMNS):
        cells = []
        for name in names:
            value = BOARDS[name][column]
            if key == "supply_permille":
                cells.append(f"{value / 1000:g} : 1")
            else:
                cells.append("-" if value < 0 else str(value))
        lines.append(f"| {MEANING[key]} | `{key}` | " + " | ".join(cells) + " |")
    own = [OWN_LAMP[name] for name in names]
    cells = [f"{kind}, {pin}" if kind else "-" for kind, pin in own]
    lines += [
        "| the board's own LED | | " + " | ".join(cells) + " |",
        "",
        "The board's own LED (kind, pin) is no lamp unless a rig says so, for example",
        '`lamp = "led"` with `lamp_pin = 25` on a Pico; without settings the firmware shows',
        "its fault there too. A Pico W's hangs on the radio and cannot be used; that of an",
        "ESP32-S3-DevKitC-1 is on pin 38 since version 1.1. Any other board: `kind =",
        '"other"`, with all pins named in `[board.pins]`.',
        "",
        "The divider in front of the bus ADC pin is the rig's `divider` in `[sensor]`.",
        "A pin of an ADC bears 3.3 V and no more: choose the divider for the highest",
        "open-circuit volts `steadyturn pace` names, not for the window; `steadyturn check`",
        "says when it is too small. Its upper arm has 10 kohm or more: what a failure brings",
        "then stays below a few milliamperes.",
        "",
        "A thermistor (`ntc_at` in `[protection]`) goes from its pin to ground, a resistor",
        "(`ntc_series_ohm`) from 3.3 V to the pin, glued flat to what it watches: converter,",
        "switch, or motor mount. It is an ADC pin; where the board's row has none, name one",
        "that is free (a Pico W's 28 with a sensor chip: `amps_adc_pin = -1`).",
    ]
    return "\n".join(lines) + "\n"
