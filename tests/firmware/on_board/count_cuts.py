"""Power cuts at every flash operation of setting the count of percents to nothing, many times.

After each cut, whole or torn, the count begins where it did before or where it was to begin,
nowhere else. Prints one JSON object.
"""

import json
import os
import vfs

import bench
import machine
import nor

from steadyturn_fw import count

TIMES = 60
TORN = int(os.getenv("TORN") or 3)


def after(image):
    """Where the count begins on a board with this flash."""
    nor.mount(nor.Flash(image), "/cut")
    count.FILE = "/cut/count.bin"
    try:
        return count.load()
    finally:
        vfs.umount("/cut")


def main():
    flash = nor.blank()
    b = bench.Bench("/flash")
    machine.recording = False
    b.set(7500, 0)
    b.run(4000)
    b.set(6500, 500)
    image = bytearray(flash.image)
    flash.log = []
    at = [0, 0]  # where the count began before, and is to begin
    flash.mark = lambda: (at[0], at[1])
    for _ in range(TIMES):
        b.run(400)
        at[1] = b.loop.tally.energy_out.total.units()
        b.loop.count.mark()
        at[0] = at[1]
    log = flash.log
    flash.log = None
    vfs.umount("/flash")
    found = {
        "operations": len(log), "erases": len([1 for op in log if op[1] is None]), "old": 0,
        "new": 0, "neither": 0, "cuts": 0,
    }
    chance = nor.Chance(7)
    spare = bytearray(len(image))
    for place, data, mark in log:
        for torn in range(TORN + 1):
            spare[:] = image
            if torn:
                ways = nor.WAYS_ERASE if data is None else nor.WAYS_PROGRAM
                nor.tear(spare, place, data, chance, ways[torn % len(ways)])
            got = after(spare)
            found["cuts"] += 1
            what = "new" if got == mark[1] else "old" if got == mark[0] else "neither"
            found[what] += 1
        nor.apply(image, place, data)
    print(json.dumps(found))


main()
