"""Makes gearpy.json: figures of gearpy, an independent library for gear trains and motors.

gearpy brings pandas along, so that it is no test dependency. To make the file again:

    python3 -m venv gearpy && gearpy/bin/pip install gearpy==1.3.1
    gearpy/bin/python tests/published/frozen/make_gearpy.py
"""

import json
from importlib.metadata import version
from math import pi
from pathlib import Path

from gearpy.mechanical_objects import DCMotor, Flywheel, SpurGear
from gearpy.powertrain import Powertrain
from gearpy.solver import Solver
from gearpy.units import (
    AngularPosition,
    AngularSpeed,
    Current,
    InertiaMoment,
    TimeInterval,
    Torque,
)
from gearpy.utils import add_fixed_joint, add_gear_mating

RPM = 2 * pi / 60
NO_LOAD_RPM, STALL_NM, NO_LOAD_A, STALL_A = 4000, 0.24, 0.15, 10.15


def motor(name: str = "motor") -> DCMotor:
    return DCMotor(name=name, inertia_moment=InertiaMoment(1e-5, "kgm^2"),
                   no_load_speed=AngularSpeed(NO_LOAD_RPM, "rpm"),
                   maximum_torque=Torque(STALL_NM, "Nm"),
                   no_load_electric_current=Current(NO_LOAD_A, "A"),
                   maximum_electric_current=Current(STALL_A, "A"))


def line() -> list[dict]:
    """The motor's own torque and current over its speed."""
    rows = []
    for share in (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0):
        one = motor()
        one.angular_speed = AngularSpeed(share * NO_LOAD_RPM, "rpm")
        one.compute_torque()
        one.compute_electric_current()
        rows.append({"speed_rpm": share * NO_LOAD_RPM,
                     "shaft_nm": one.driving_torque.to("Nm").value,
                     "motor_a": one.electric_current.to("A").value})
    return rows


def train(teeth: list[tuple[int, int]], efficiency: list[float], load_nm: float) -> dict:
    """A step-up train whose last wheel takes load_nm, turned steadily: torque that the
    driver gives and speed of the last wheel."""
    driver, wheel = motor("driver"), Flywheel("wheel", InertiaMoment(1e-4, "kgm^2"))
    add_fixed_joint(driver, wheel)
    before, gears = wheel, []
    for number, ((slow, fast), share) in enumerate(zip(teeth, efficiency, strict=True)):
        first = SpurGear(f"slow {number}", slow, InertiaMoment(1e-6, "kgm^2"))
        second = SpurGear(f"fast {number}", fast, InertiaMoment(1e-6, "kgm^2"))
        add_fixed_joint(before, first)
        add_gear_mating(first, second, share)
        gears += [first, second]
        before = second
    before.external_torque = lambda time, angular_position, angular_speed: Torque(load_nm, "Nm")
    chain = Powertrain(driver)
    before.angular_position = AngularPosition(0, "rad")
    before.angular_speed = AngularSpeed(0, "rad/s")
    Solver(chain).run(TimeInterval(0.0005, "sec"), TimeInterval(3, "sec"))
    return {"teeth": teeth, "efficiency": efficiency, "load_nm": load_nm,
            "driver_nm": driver.load_torque.to("Nm").value,
            "driver_rpm": driver.angular_speed.to("rpm").value,
            "last_rpm": before.angular_speed.to("rpm").value,
            "net_nm": driver.torque.to("Nm").value}


if __name__ == "__main__":
    made = {
        "gearpy": version("gearpy"),
        "motor": {"no_load_rpm": NO_LOAD_RPM, "stall_nm": STALL_NM, "no_load_a": NO_LOAD_A,
                  "stall_a": STALL_A},
        "line": line(),
        "trains": [train([(60, 20)], [0.85], 0.03),
                   train([(60, 12), (60, 15)], [0.9, 0.85], 0.004),
                   train([(50, 20), (75, 25), (65, 26)], [0.95, 0.9, 0.85], 0.005)],
    }
    path = Path(__file__).with_name("gearpy.json")
    path.write_text(json.dumps(made, indent=1) + "\n")
    print(path.read_text())
