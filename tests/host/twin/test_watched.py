"""A virtual board that is watched for long: the rate, and its loop undisturbed."""

from __future__ import annotations

import itertools
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from steadyturn.jobs.watch import watch
from steadyturn.twin.person import Person
from steadyturn.twin.twin import Twin

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the virtual board needs POSIX")


def intervals(looks):
    return sorted(b.time_s - a.time_s for a, b in itertools.pairwise(looks))


def test_ten_looks_a_second_and_no_tick_late(hut, hut_image):
    with Twin(hut, image=hut_image, person=Person(hut, 2)) as twin:
        if twin.port is None:
            pytest.skip("no MicroPython here")
        twin.run(6)
        looks = [look for look in watch(twin.port, seconds=1.0) if look.answering]
        assert intervals(looks)[len(looks) // 2] == pytest.approx(0.1, abs=0.03)
        assert looks[-1].late_ticks - looks[0].late_ticks <= 5
        assert looks[-1].bus_v > 2


def watched(port, seconds):
    """The answered looks of `steadyturn watch --json`, a process of its own as in life."""
    done = subprocess.run(
        [sys.executable, "-m", "steadyturn", "watch", "--json", "--seconds", str(seconds),
         "--port", port], capture_output=True, text=True, check=True, env={
             **os.environ, "PYTHONPATH": os.pathsep.join(
                 str(Path(__file__).parents[3] / name) for name in ("host", "firmware"))})
    looks = [SimpleNamespace(**json.loads(line)) for line in done.stdout.splitlines()]
    return [look for look in looks if look.answering]


@pytest.mark.soak
def test_a_minute_and_a_half(hut, hut_image, capsys):
    """Late ticks are told, not judged: here a busy machine makes them. That asking ten times a
    second makes none, test_twin_jitter shows in granted time."""
    with Twin(hut, image=hut_image, person=Person(hut, 2)) as twin:
        twin.run(8)
        looks = watched(twin.port, 90.0)
    between = intervals(looks)
    rate = len(between) / sum(between)
    late = looks[-1].late_ticks - looks[0].late_ticks
    with capsys.disabled():
        print(f"\n{rate:.2f} looks a second over {sum(between):.0f} s, 1 of 100 later than "
              f"{1000 * between[len(between) * 99 // 100]:.0f} ms, the last after "
              f"{1000 * between[-1]:.0f} ms; {late} late ticks of {50 * sum(between):.0f}")
    assert rate > 9.5
    assert {look.boot for look in looks} == {1}


@pytest.mark.soak
def test_it_goes_on_when_the_board_comes_back_on_another_port(hut_image):
    """`steadyturn twin` is killed and started again on the same flash: the same board, under
    whatever name comes next, while another terminal is in the way of the old one."""
    from small_screen import OnTerminal

    def serve():
        return OnTerminal("twin", "lakeside-hut", "--image", str(hut_image))

    def port_of(terminal):
        return re.search(r"on (/dev/\S+)", terminal.until("Ctrl-C ends it"))[1]

    with serve() as first:
        old = port_of(first)
        with OnTerminal("watch", "--port", old) as view:
            view.until("turns/min")
            first.end(signal.SIGKILL)
            view.until("reconnecting")
            taken = [os.openpty() for _ in range(3)]  # the next port is another one
            with serve() as second:
                new = port_of(second)
                assert new != old
                view.until("connected again after", 30)
                view.raw = b"\x1b[?1049h"
                view.resize(90, 30)
                view.until(new)
                view.pump(0.3)
                assert f"now on {new}" in view.screen(90, 30).text
                assert view.end() == 0
                assert view.in_order()
                assert second.end() == 0
            for pair in taken:
                for number in pair:
                    os.close(number)


@pytest.mark.soak
@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_any_end_of_a_watch_leaves_the_board_running(hut, hut_image, end):
    from small_screen import OnTerminal

    with Twin(hut, image=hut_image, person=Person(hut, 2)) as twin:
        twin.run(8)
        for _ in range(5):
            with OnTerminal("watch", "--port", twin.port) as view:
                view.until("turns/min")
                view.pump(0.3)
                view.end(end)
        time.sleep(0.2)
        looks = [look for look in watch(twin.port, seconds=4.0) if look.answering]
        assert {look.boot for look in looks} == {1}
        assert any(look.connected for look in looks)
        assert len(twin.truth.boots_s) == 1
