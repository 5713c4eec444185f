"""Virtual seconds per real second of the virtual board, and where the time goes.

    python tests/speed/twin_speed.py [RIG] [SECONDS]

Cranking: a person who heeds the lamp, the whole firmware at 50 Hz. Rest: nobody cranks
and the board has no power.
"""

from __future__ import annotations

import os
import sys
import time

from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.person import Idle, Person
from steadyturn.twin.twin import Twin

WARM_UP_S = 10
TICKS_S = 50


def child_s(twin: Twin) -> float:
    """CPU time of the interpreter so far."""
    with open(f"/proc/{twin._engine.child.process.pid}/stat") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    name = sys.argv[1] if len(sys.argv) > 1 else "lakeside-hut"
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 120.0
    rig = read_rig(example_path(name) or name)
    twin = Twin(rig, person=Person(rig, 1))
    twin.prepare(encode(build(rig, find_band(rig, deep=False))))
    with twin:
        twin.run(WARM_UP_S)
        real, mine, its = time.perf_counter(), time.process_time(), child_s(twin)
        twin.run(seconds)
        real = time.perf_counter() - real
        mine, its = time.process_time() - mine, child_s(twin) - its
        ticks = seconds * TICKS_S
        print(f"cranking: {seconds / real:.0f} virtual seconds per real second; "
              f"{1e6 * real / ticks:.0f} us a tick")
        print(f"  firmware on MicroPython {1e6 * its / ticks:.0f} us of CPU a tick; machine, "
              f"sensor and exchange {1e6 * mine / ticks:.0f} us")
        machine, hand = twin._plant.machine, twin.person
        steps, began = machine.steps, time.process_time()
        machine.advance(twin.t_s + 20, hand, True, True)
        each = (time.process_time() - began) / (machine.steps - steps)
        print(f"  of that the machine's steps: {1e6 * each:.1f} us each, "
              f"{1e6 * each / TICKS_S / machine.step_s:.0f} us a tick")
    twin = Twin(rig, person=Idle())
    with twin:
        began = time.perf_counter()
        twin.run(3600)
        print(f"rest: {3600 / (time.perf_counter() - began):.0f} virtual seconds per real second")


main()
