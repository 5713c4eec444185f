"""A pull against `mpremote fs cp` of the same bytes, from the same virtual board.

    python tests/speed/pull_speed.py [LOGS]

Both talk to a console that models full-speed USB (twin/usb.py: 256 bytes, packets of 64, 19 in a
frame of 1 ms). Both are whole commands, each a process with its start. A person cranks meanwhile:
during the pull the loop goes on, and ticks that came late are compared with as long without
questions; mpremote stops the program first.

mpremote sees by its name that a port is a pseudo-terminal and then leaves out the 10 ms that it
waits on a board's port whenever nothing has come yet. So it is measured twice: by a name like a
board's, which is the comparison, and by the pseudo-terminal's own.

What goes over the wire is counted in a pull through the same code in this process.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from steadyturn.board.connect import connect
from steadyturn.board.link import Link
from steadyturn.board.stream import SerialStream
from steadyturn.jobs.pull import pull_from
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sessions.library import Library
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.person import Steady
from steadyturn.twin.prepare import firmware
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests/host/sessions")]
from page_maker import Recorder  # noqa: E402

LOG_PAGES = 160
MOST_LOGS = 14  # with more a board begins to make summaries of the oldest
LEAST_RATIO = 5.0
MOST_WIRE = 1.15
START_S = 15.0

# of a real board, ms; firmware/budget.md, its columns with cache; the last three are guesses
TICK = 2.75  # the dearest steady tick
SEND, READY = 0.8, 0.7  # `:+`, and making a page ready
READ = 2.0 / 8  # of eight pages from the flash, a page's share
LEFT = 2.0  # link.SEND_MS: so long before a tick nothing is sent
LOOK = 0.3  # link.STREAM_US half over, and a turn of the loop
WIRE = 4 / 19  # four packets
HOST = (0.2, 1.0)  # from the last packet until the next question is there: new and old hosts


class Counted:
    """A stream that counts what passes."""

    def __init__(self, stream: SerialStream) -> None:
        self.stream = stream
        self.came = self.went = 0

    def read(self, most: int, timeout_s: float) -> bytes:
        data = self.stream.read(most, timeout_s)
        self.came += len(data)
        return data

    def write(self, data: bytes) -> None:
        self.went += len(data)
        self.stream.write(data)

    def close(self) -> None:
        self.stream.close()


def timed(*words: str) -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", *words], check=True, capture_output=True, timeout=600)
    return time.perf_counter() - began


def late(port: str) -> tuple[int, int]:
    """(ticks that came late since the board started, samples of 0.2 s taken)."""
    with connect(port) as board:
        board.link.wait(START_S)
        state = board.link.state()
    return state["late_ticks"], state["on_samples"]


def wire(port: str, library: Path, payload: int) -> bool:
    with Library(library) as shelf:
        stream = Counted(SerialStream(port))
        link = Link(stream)
        link.wait(START_S)
        got = pull_from(link, shelf, port=port)
        link.close()
    share = (stream.came + stream.went) / got.bytes
    print(f"on the wire for a byte of the journal: {stream.came / got.bytes:.3f} from the board, "
          f"{stream.went / got.bytes:.3f} to it, together {share:.3f} (at most {MOST_WIRE})")
    return share <= MOST_WIRE and got.bytes >= payload


def predicted() -> list[float]:
    """kB/s, with old hosts and with new ones."""
    rates = []
    for host in HOST:
        cycle = SEND + max(READY + READ, WIRE + host) + LOOK
        rates.append((20.0 - TICK - LEFT) / cycle * pages.PAGE_BYTES / 20.0)
    return sorted(rates)


def main() -> None:
    logs = min(int(sys.argv[1]) if len(sys.argv) > 1 else 8, MOST_LOGS)
    rig = read_rig(example_path("lakeside-hut"))
    recorder = Recorder(seq=1, boot=1)
    names = [f"{n:06d}.log" for n in range(1, logs + 1)]
    journal = {name: b"".join(recorder.page() for _ in range(LOG_PAGES)) for name in names}
    payload = sum(map(len, journal.values()))
    twin = Twin(rig, person=Steady(60.0))
    twin.prepare(encode(build(rig, find_band(rig, deep=False))),
                 {**firmware(), **{f"/journal/{n}": data for n, data in journal.items()}})
    with twin, tempfile.TemporaryDirectory() as name:
        good = measure(twin, Path(name), journal, payload)
    sys.exit(0 if good else 1)


def measure(twin: Twin, folder: Path, journal: dict[str, bytes], payload: int) -> bool:
    port = str(twin.port)
    named = folder / "ttyACM0"
    named.symlink_to(port)
    begin = late(port)
    stream = SerialStream(port)  # as long as a pull takes, and nobody asks
    idle_s = payload / 100_000 + 1.0
    time.sleep(idle_s)
    stream.close()
    middle = late(port)
    pull_s = timed("steadyturn", "pull", "--port", port, "--library", str(folder / "one"))
    end = late(port)
    good = wire(port, folder / "two", payload)
    with Library(folder / "one", readonly=True) as shelf:
        stored = shelf.pages(shelf.boards()[0])
    assert stored.startswith(b"".join(journal.values()))
    print(f"pull: {payload / 1000:.0f} kB in {pull_s:.1f} s, {payload / pull_s / 1000:.0f} kB/s")
    print(f"  late ticks: {end[0] - middle[0]} in it, {middle[0] - begin[0]} in {idle_s:.1f} s "
          f"without questions; {end[1] - middle[1]} samples taken meanwhile")
    for what, by in (("a board's port", named), ("a pseudo-terminal", port)):
        copies = folder / what.replace(" ", "-")
        copies.mkdir()
        took = timed("mpremote", "connect", str(by), "fs", "cp",
                     *(f":journal/{name}" for name in journal), str(copies))
        assert all((copies / name).read_bytes() == data for name, data in journal.items())
        ratio = took / pull_s
        least = f" (at least {LEAST_RATIO:g})" if by is named else ""
        print(f"mpremote fs cp as on {what}: {took:.1f} s, {payload / took / 1000:.0f} kB/s; "
              f"the pull is {ratio:.1f} times as fast{least}")
        good &= by is not named or ratio >= LEAST_RATIO
    low, high = predicted()
    print(f"predicted for a real RP2040, not measured: {low:.0f} to {high:.0f} kB/s.\n"
          f"  Of each 20 ms {TICK} go to the tick, {LEFT} are left before the next. A page takes "
          f"{SEND} for\n  the answer; then {READY + READ:.2f} for making the next ready, or "
          f"{WIRE:.2f} on the wire and {HOST[0]} to {HOST[1]} in\n  the host, whichever is "
          f"longer; and {LOOK} until the question is seen.\n  mpremote's waits are the same on a "
          "board, its answers no quicker than here.")
    return good


main()
