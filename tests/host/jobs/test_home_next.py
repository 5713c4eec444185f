"""Each situation's one next step, and that its command finds the board it means."""

from __future__ import annotations

import pytest
from steadyturn.jobs.home_next import BoardHere, LastPull, RigHere, next_step
from steadyturn_fw import VERSION

HUT, FERRY = RigHere("hut.toml", "Lakeside hut", 0), RigHere("ferry.toml", "Night ferry", 0)
WRONG = RigHere("wrong.toml", "", 2)


def board(state="ours", *, port="A", virtual=False, rig="Lakeside hut", waiting=0,
          firmware=VERSION, unique_id="aa"):
    ours = state == "ours"
    return BoardHere(port, "", virtual, state, unique_id if ours else "", "", rig if ours else "",
                     firmware if ours else None, waiting, "", "")


PULLED = LastPull("aa", 60.0, 12, True)
OLD = LastPull("aa", 9e5, 12, True)


@pytest.mark.parametrize(("rigs", "drawers", "boards", "last", "step"), [
    ([], [], [], None, "demo"),
    ([], ["d.toml"], [], None, "size d.toml"),
    ([HUT], [], [], None, "check hut.toml"),
    ([HUT, FERRY], [], [], None, "check RIG"),
    ([WRONG], [], [], None, "check wrong.toml"),
    ([WRONG], [], [board()], None, "check wrong.toml"),
    # without a board: what the last pull left to do
    ([], [], [], PULLED, "review"),
    ([HUT], [], [], PULLED, "review"),
    ([HUT], [], [], OLD, "check hut.toml"),
    ([], [], [], LastPull("aa", 60.0, 12, False), "pull"),
    ([], [], [], LastPull("aa", 9e5, 0, True), "sessions"),
    # one board
    ([], [], [board()], None, "new my.toml"),
    ([HUT], [], [board(waiting=3)], None, "pull"),
    ([WRONG], [], [board(waiting=3)], None, "pull"),
    ([HUT], [], [board()], PULLED, "review"),
    ([HUT], [], [board(unique_id="bb")], PULLED, "watch"),
    ([HUT], [], [board()], OLD, "watch"),
    ([HUT], [], [board(rig="")], None, "flash hut.toml"),
    ([HUT], [], [board(firmware="0.0.1")], None, "flash hut.toml"),
    ([HUT, FERRY], [], [board(firmware="0.0.1", rig="Night ferry")], None, "flash ferry.toml"),
    ([HUT, FERRY], [], [board("other version")], None, "flash RIG"),
    ([HUT], [], [board("no answer")], None, "flash hut.toml"),
    ([HUT], [], [board("busy")], None, "ports"),
    ([HUT], [], [board("no permission")], None, "ports"),
    # several
    ([HUT], [], [board(), board(port="B", waiting=1)], None, "pull --port B"),
    ([HUT], [], [board()], None, "bringup hut.toml --html bringup.html"),
    ([HUT], [], [board("no answer"), board(port="B")], OLD, "watch"),
    ([HUT], [], [board("no answer"), board("no answer", port="B")], None,
     "flash hut.toml --port A"),
    ([HUT], [], [board("busy"), board(port="B", waiting=1)], None, "pull"),
    ([HUT], [], [board(), board("other version", port="B")], None, "flash hut.toml --port B"),
    # a virtual one
    ([HUT], [], [board(virtual=True, port="V")], None, "watch --port V"),
    ([HUT], [], [board(), board(virtual=True, port="V")], OLD, "watch"),
    ([HUT], [], [board("busy", virtual=True, port="V")], None, "ports"),
])
def test_next(rigs, drawers, boards, last, step):
    command, because = next_step(rigs, drawers, boards, last)
    assert command == f"steadyturn {step}"
    assert because.endswith(".")


@pytest.mark.parametrize("here", [board("no answer"), board(rig=""), board("other version")])
def test_a_rig_without_a_band_is_not_flashed(here):
    command, because = next_step([HUT], [], [here], None, lambda file: file != "hut.toml")
    assert command == "steadyturn pace hut.toml"
    assert because.endswith(".")
