"""Makes gearpy_lewis.json: bending stress of spur gears by gearpy, an independent library.

gearpy brings pandas along, so that it is no test dependency. To make the file again:

    python3 -m venv gearpy && gearpy/bin/pip install gearpy==1.3.1
    gearpy/bin/python tests/published/frozen/make_gearpy_lewis.py
"""

import json
from importlib.metadata import version
from pathlib import Path

from gearpy.mechanical_objects import MatingMaster, SpurGear
from gearpy.units import Force, InertiaMoment, Length

CASES = [(12, 2.0, 20.0, 100.0), (15, 1.5, 12.0, 60.0), (20, 2.0, 10.0, 100.0),
         (30, 1.0, 10.0, 40.0), (60, 2.0, 17.5, 275.0), (100, 1.25, 11.0, 90.0)]


def stress(teeth: int, module_mm: float, width_mm: float, force_n: float) -> float:
    gear = SpurGear("gear", teeth, InertiaMoment(1e-6, "kgm^2"), module=Length(module_mm, "mm"),
                    face_width=Length(width_mm, "mm"))
    gear.mating_role = MatingMaster
    gear.tangential_force = Force(force_n, "N")
    gear.compute_bending_stress()
    return gear.bending_stress.to("MPa").value


if __name__ == "__main__":
    made = {"gearpy": version("gearpy"),
            "rows": [{"teeth": z, "module_mm": m, "width_mm": b, "force_n": f,
                      "bending_mpa": stress(z, m, b, f)} for z, m, b, f in CASES]}
    path = Path(__file__).with_name("gearpy_lewis.json")
    path.write_text(json.dumps(made, indent=1) + "\n")
    print(path.read_text())
