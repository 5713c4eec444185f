"""The clocks of a board wrap at 2**30, and the virtual board's do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from steadyturn.rig.types import Rig
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin

WRAP_S = 2**30 / 1e6  # of ticks_us: 17.9 minutes


def test_the_board_goes_on_over_the_wrap(hut: Rig, hut_image: Path) -> None:
    """Cranked from a little before it on, and charging meanwhile."""
    begin = WRAP_S - 20
    person = Person(hut, 1, plan=((0.0, "stop"), (begin, "follow")))
    with Twin(hut, image=hut_image, seed=1, person=person) as twin:
        twin.run(WRAP_S + 25)
        truth = twin.truth
        assert twin.glimpse().connected
    assert len(truth.boots_s) == 1
    assert truth.deaths_s == ()
    crossing = [s for s in truth.switchings if WRAP_S - 10 < s.t_s < WRAP_S + 10]
    assert crossing == []


def test_differences_are_a_boards(hut: Rig, tmp_path: Path) -> None:
    main = b"""
import time
with open('/said', 'w') as file:
    for a, b in ((5, 0x3FFFFFFB), (0x3FFFFFFB, 5), (0x1FFFFFFF, 0), (0x20000000, 0), (7, 7)):
        file.write('%d %d,' % (time.ticks_diff(a, b), time.ticks_add(b, a)))
"""
    rig = replace(hut, supply=replace(hut.supply, feed="usb"))
    image = tmp_path / "a.img"
    twin = Twin(rig, image=image)
    twin.prepare(files={"/main.py": main})
    with twin:
        twin.run(1)
    from images import mounted

    with mounted(image.read_bytes()).open("/said", "r") as file:
        assert file.read() == ("10 0,-10 0,536870911 536870911,-536870912 536870912,0 14,")
