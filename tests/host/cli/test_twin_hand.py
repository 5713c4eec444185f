"""steadyturn twin RIG --hand, on a terminal of its own, tapped in real time."""

from __future__ import annotations

import json
import re
import signal
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from steadyturn.cli.main import code

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
RIG = "lakeside-hut"
HANDLE = re.compile(r"handle\s+(\d+) turns/min")


def test_without_a_terminal_it_says_so(capsys):
    assert code(["twin", RIG, "--hand"]) == 2
    assert "a terminal" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(("arguments", "says"), [
    (["--hand", "--person", "none"], "--person: this does not go with --hand"),
    (["--hand", "--blank"], "--blank: this does not go with --hand"),
    (["--tap", "half"], "with --hand only"),
])
def test_what_does_not_go_together(arguments, says, capsys):
    assert code(["twin", RIG, *arguments]) == 2
    assert says in " ".join(capsys.readouterr().err.split())


class Tapper:
    """Taps a terminal on time and notes what it shows: (s, handle in turns/min, text)."""

    def __init__(self, terminal) -> None:
        self.terminal, self.start = terminal, time.monotonic()
        self.due = self.start
        self.seen: list[tuple[float, int, str]] = []

    def until(self, until_s: float, every_s: float) -> str:
        while (now := time.monotonic()) - self.start < until_s:
            if now >= self.due:
                self.terminal.press(" ")
                self.due += every_s
            self.terminal.pump(min(0.1, max(self.due - time.monotonic(), 0.0)))
            text = self.terminal.screen().text
            self.seen.append((now - self.start, int(HANDLE.search(text)[1]), text))
        return text


def test_taps_turn_it_and_q_leaves_the_terminal_as_it_was():
    from small_screen import OnTerminal

    with OnTerminal("twin", RIG, "--hand", "--json") as terminal:
        terminal.until("no power yet")
        tapper = Tapper(terminal)
        tapper.until(1.2, 0.5)
        assert tapper.seen[-1][1] > 15
        terminal.press("?")
        terminal.until("cranks nothing")
        terminal.press("q")
        assert terminal.end(None) == 0
        assert terminal.in_order()
        assert (terminal.after().text.strip(), terminal.after().at) == ("", (0, 0))
        done = json.loads(terminal.raw.decode().rpartition("\x1b[?1049l")[2])
        assert done["taps"] == 3
        assert done["turns"] > 0.3


@pytest.mark.soak
@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_any_end_leaves_the_terminal_as_it_was(end):
    from small_screen import OnTerminal

    with OnTerminal("twin", RIG, "--hand") as terminal:
        terminal.until("no power yet")
        Tapper(terminal).until(2.5, 0.6)
        assert terminal.end(end) == 0
        assert b"turns by" in terminal.raw
        assert terminal.in_order()
        assert b"Traceback" not in terminal.raw


@pytest.mark.soak
@pytest.mark.parametrize("interpreter", ["", "cpython"])
def test_an_outing_by_hand(tmp_path, interpreter, capsys):
    """In real time: slow taps, the lamp beats; taps on the beat, it holds; the load connects,
    and the pace sags; after it, what is in the flash is pulled and reviewed."""
    from small_screen import OnTerminal

    image, environ = tmp_path / "board.img", {}
    if interpreter:
        environ["STEADYTURN_MICROPYTHON"] = interpreter
    with OnTerminal("twin", RIG, "--hand", "--image", str(image), environ=environ) as terminal:
        terminal.until("no power yet")
        tapper = Tapper(terminal)
        assert "flashes on a beat" in tapper.until(6.0, 1.35)
        text = tapper.until(17.0, 60 / 69)
        assert "steady: just right" in text
        assert re.search(r"  connected, 2\.\d W", text)
        assert tapper.seen[-1][1] > 55
        at_s = next(t_s for t_s, _, text in tapper.seen if "  connected, 2" in text)
        before = max(pace for t_s, pace, _ in tapper.seen if at_s - 0.5 < t_s < at_s)
        after = min(pace for t_s, pace, _ in tapper.seen if at_s <= t_s < at_s + 1.0)
        assert after < before
        terminal.press("q")
        assert terminal.end(None) == 0
        assert terminal.in_order()
    if interpreter:
        return
    with OnTerminal("twin", RIG, "--image", str(image), "--person", "none") as served:
        port = re.search(r"/dev/pts/\d+", served.until("Ctrl-C ends it"))[0]
        library = str(tmp_path / "library")
        assert code(["pull", "--port", port, "--library", library]) == 0
        assert served.end() == 0
    capsys.readouterr()
    assert code(["review", "--library", library, "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)["figures"]
    assert figures["turns"] > 8
    assert figures["energy_out_j"] > 5
