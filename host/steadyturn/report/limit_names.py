"""The band's limits in a maker's words."""

from __future__ import annotations

NAME = {
    "board_wake": "board wakes", "board_fade": "board's supply", "start": "starting",
    "holding": "holding on", "collapse_margin": "too near collapse",
    "input_limit": "input current", "output_limit": "output current",
    "window_low": "window, low end", "window_high": "window, high end",
    "pass_through": "voltage passes through", "output_low": "volts at device, low",
    "output_high": "volts at device, high", "bus_cut": "over-voltage cut",
    "output_cut": "output cut", "clamp": "bus clamp", "motor_speed": "motor speed",
    "motor_current": "motor current", "winding_temperature": "winding hot",
    "mount_temperature": "mount hot", "arm_force": "arm's force", "arm_power": "arm's power",
    "comfort_low": "comfort, slow end", "comfort_high": "comfort, fast end",
    "open_circuit_capacitor": "capacitor, unloaded", "open_circuit_sensor": "sensor, unloaded",
    "open_circuit_converter": "converter, unloaded", "open_circuit_rectifier":
    "diodes, unloaded", "open_circuit_switch": "switch, unloaded",
    "open_circuit_device": "device, unloaded",
    "open_circuit_device_fault": "device, after a fault",
    "open_circuit_adc": "ADC pin, unloaded", "reservoir_adc": "ADC pin, full reservoir",
    **{f"single_fault_{part}": f"device, {part.replace('_', ' ')} failed" for part in (
        "firmware", "switch", "sensor", "alert", "bus_clamp", "bus_cut", "output_cut",
        "converter")},
    "set_point": "converter set too high", "clamp_power": "bus clamp's power",
    "sensor_without_alert": "sensor without alert",
}


def clash_line(clash: tuple[str, str] | None) -> str:
    """The two limits that leave no pace, in a sentence; "" for none.

    >>> clash_line(("start", "comfort_high"))
    "'starting' and 'comfort, fast end' clash."
    """
    if not clash:
        return ""
    first, second = (NAME.get(name, name) for name in clash)
    return f"'{first}' and '{second}' clash."
