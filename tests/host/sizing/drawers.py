"""Small drawers for the tests."""

from __future__ import annotations

from steadyturn.sizing.drawer import Drawer
from steadyturn.sizing.parts_file import read_drawer_text

MOTOR = """
[[motor]]
name = "printer motor"
count = 2
emf_v_per_krpm = 3.06
terminal_ohm = 1.34
no_load_a = 0.062
brush_drop_v = 0.18
max_rpm = 6000
max_a = 1.5
"""
CONVERTERS = """
[[converter]]
name = "down"
kind = "buck"
out_v = 5.1
start_v = 7.0
stop_v = 6.2
max_in_v = 24

[[converter]]
name = "both"
kind = "buck_boost"
out_v = 5.1
start_v = 3.6
stop_v = 3.1
max_in_v = 30
"""
REST = """
[stage]
efficiency = 0.88
[bank]
mount_max_c = 75
[bus]
capacitor_max_v = 35
[protection]
output_cut_v = 5.45
[load]
cable_m = 0.5
cable_awg = 24
"""
# a motor that nothing can be made of with these parts
HOPELESS = """
[[motor]]
name = "toy"
rated_v = 3
no_load_rpm = 9000
no_load_a = 0.2
terminal_ohm = 1.6
max_rpm = 12000
max_a = 0.9
[[converter]]
name = "late"
kind = "buck"
out_v = 5.1
start_v = 9
stop_v = 8
max_in_v = 24
[bank]
mount_max_c = 75
[protection]
output_cut_v = 5.45
"""


def drawer(text: str = MOTOR + CONVERTERS + REST) -> Drawer:
    return read_drawer_text(text, "drawer.toml")
