"""Makes gearworks.json: tooth outlines by py-gearworks, a second generator of involute gears.

It brings a whole CAD kernel along, so that it is no test dependency. Its undercut is that of a
rack with sharp corners. To make the file again:

    python3 -m venv gearworks && gearworks/bin/pip install py-gearworks==0.0.24
    gearworks/bin/python tests/published/frozen/make_gearworks.py
"""

import json
from importlib.metadata import version
from math import radians
from pathlib import Path

import numpy as np
import py_gearworks

CASES = [(24, 0.0, 20.0), (12, 0.6, 20.0), (40, -0.3, 20.0), (17, 0.2, 25.0), (60, 0.0, 14.5)]


def half_tooth(teeth: int, shift: float, pressure_deg: float) -> list[list[float]]:
    """Radii and angles off the tooth's middle along one side, module 1."""
    gear = py_gearworks.SpurGear(
        number_of_teeth=teeth, module=1.0, profile_shift=shift, dedendum_coefficient=1.25,
        pressure_angle=radians(pressure_deg), enable_undercut=True, tip_truncation=0.0)
    profile = gear.gearcore.curve_gen_at_z(0.0)
    points = np.asarray(profile.tooth_curve(np.linspace(0, 1, 81)))
    mirror = np.asarray(profile.tooth_curve_mirror(np.linspace(0, 1, 81)))
    middle = (np.arctan2(points[:, 1], points[:, 0]).mean()
              + np.arctan2(mirror[:, 1], mirror[:, 0]).mean()) / 2
    radius = np.hypot(points[:, 0], points[:, 1])
    angle = abs(np.arctan2(points[:, 1], points[:, 0]) - middle)
    order = np.argsort(radius, kind="stable")
    return np.stack([radius[order], angle[order]], axis=1).round(9).tolist()


if __name__ == "__main__":
    made = {"py-gearworks": version("py-gearworks"),
            "teeth": [{"teeth": z, "shift": x, "pressure_deg": a,
                       "radius_and_angle": half_tooth(z, x, a)} for z, x, a in CASES]}
    path = Path(__file__).with_name("gearworks.json")
    path.write_text(json.dumps(made) + "\n")
