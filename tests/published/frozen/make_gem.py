"""Makes gem.json: figures of gym-electric-motor's permanently excited DC machine.

The library brings gymnasium and its test tools along, so that it is no test dependency:

    python3 -m venv gem && gem/bin/pip install gym-electric-motor==3.0.3
    gem/bin/python tests/published/frozen/make_gem.py
"""

import json
from importlib.metadata import version
from pathlib import Path

import numpy as np
from gym_electric_motor.physical_systems.electric_motors import DcPermanentlyExcitedMotor

MACHINES = ((1.34, 0.0292), (0.05, 0.3), (25.0, 0.11))  # ohm, V s/rad

rows = []
for ohm, psi in MACHINES:
    motor = DcPermanentlyExcitedMotor(
        motor_parameter={"r_a": ohm, "l_a": 1e-3, "psi_e": psi, "j_rotor": 2e-6})
    for rad_s in (50.0, 300.0, 900.0):
        for share in (0.0, 0.4, 0.8, 1.2):  # of the EMF at the terminals; 1.2 drives a motor
            volts = share * psi * rad_s
            # di/dt is a straight line in i: its root is the steady current
            at_0, at_1 = (float(motor.electrical_ode(np.array([amps]), [volts], rad_s)[0])
                          for amps in (0.0, 1.0))
            amps = at_0 / (at_0 - at_1)
            rows.append({"ohm": ohm, "psi_v_s": psi, "rad_s": rad_s, "terminal_v": volts,
                         "amps_as_motor": amps,
                         "torque_as_motor_nm": float(motor.torque(np.array([amps])))})

path = Path(__file__).with_name("gem.json")
path.write_text(json.dumps(
    {"gym_electric_motor": version("gym-electric-motor"), "rows": rows}, indent=1) + "\n")
