"""The screen on which a virtual machine is cranked: the lamp, and what the hand would feel."""

from __future__ import annotations

import textwrap
import time
from typing import Any

from steadyturn.report import paceband
from steadyturn.report.calm_lamp import CalmLamp
from steadyturn.report.commands import command_lines
from steadyturn.report.fitting import BLANK, Block, fit, labelled
from steadyturn.report.style import fill, item, quantity, shown_path, wrap
from steadyturn.report.terminal import Line, Terminal

FRAME_S = 0.04  # a flash of 0.12 s is three frames
SMOOTH_S = 0.3  # of the pace as a number: push and pull within a turn are nobody's to read
NARROW = 60  # columns; with fewer the lamp stands above the figures
MOST_COLUMNS = 100
BAR = 20

# what one tap is
TAP = {0.5: "half a turn", 1.0: "one turn", 2.0: "two turns"}
# what a lamp of this kind is, as it stands in the middle of it
LAMP = {"led": "lamp", "two_led": "lamps", "rgb": "pixel", "piezo": "sound", "vibration": "buzz"}
SAYS = {
    "dark": "nothing yet", "rest": "rest", "faster": "flashes on a beat: give more",
    "hold": "steady: just right", "slower": "winks twice: a little less",
    "stop": "even flashes: slow right down",
}
BOARD = {"off": "no power yet: turn", "booting": "starting", "starting": "starting",
         "running": "running", "prompt": "its program does not run"}
HELP = (
    "Tap the space bar as if each tap were {tap}: the handle follows the pace of your taps, "
    "and stops when you do.",
    "Dark = give more. Light = enough. Broken light = too much. No light at all: the board has "
    "no power yet. The beat of the flashes is a good pace to tap.",
    "The phone's load is felt: the handle falls behind your taps until the arm leans in.",
    "space cranks, p pulls the phone's plug or puts it in, ? shows or hides this, q ends. "
    "Holding the space bar down cranks nothing.",
)


class HandScreen:
    """Makes frames. `cranking` names the rig, the band and the port."""

    def __init__(self, cranking: Any, unicode: bool) -> None:
        self.cranking, self.unicode = cranking, unicode
        self.help = False
        self.lamp = CalmLamp()
        self._pace_tpm, self._shown_s = 0.0, 0.0

    def lines(self, moment: Any, columns: int, rows: int, now_s: float) -> list[Line]:
        """The whole screen at a moment; now_s of a steady clock, for the lamp."""
        lit = self.lamp.show(now_s, moment.lights, moment.lit)
        share = min(max(moment.t_s - self._shown_s, 0.0) / SMOOTH_S, 1.0)
        self._pace_tpm += share * (moment.pace_tpm - self._pace_tpm)
        self._shown_s = moment.t_s
        columns = min(columns, MOST_COLUMNS)
        if columns < NARROW:
            return self._narrow(moment, lit, columns, rows)
        width = columns * 2 // 5
        height = min(9, max(3, rows // 3), rows)
        box = self._box(lit, moment, width, height)
        room = columns - width - 2
        beside = fit([*self._feel(moment, room), BLANK, *self._rest(moment, room)], height)
        beside += [""] * (height - len(beside))
        top: list[Line] = [[*box[n], ("  ", ""), *_pieces(beside[n])] for n in range(height)]
        head = Block([[(f" {self._head()}"[:columns], "dim")]], 7)
        below = [Block(self._help(columns), 2)] if self.help else [
            *self._bar(moment, columns), BLANK, *self._more(columns)]
        return fit([head, BLANK, Block(top, 0), Block(self._says(moment, columns), 1), BLANK,
                    *below, BLANK, _keys(columns)], rows)

    def _narrow(self, moment: Any, lit: bool, columns: int, rows: int) -> list[Line]:
        box = self._box(lit, moment, columns, min(5, max(1, rows // 3)))
        help_rows = self._help(columns)
        feel = [Block(help_rows[:max(rows - len(box) - 2, 0)], 2)] if self.help else [
            *self._feel(moment, columns), *self._bar(moment, columns),
            *self._rest(moment, columns)]
        return fit([Block(box, 0), Block(self._says(moment, columns), 1), *feel,
                    _keys(columns)], rows)

    # ---- parts

    def _head(self) -> str:
        return (f"each tap of the space bar is {TAP[self.cranking.turns_a_tap]}; "
                f"virtual: {self.cranking.rig}")

    def _box(self, lit: bool, moment: Any, width: int, height: int) -> list[list[tuple[str, str]]]:
        """The lamp: full when it is lit, an empty frame when not."""
        name = LAMP.get(self.cranking.lamp_kind, "lamp")
        if lit:
            full = "\N{FULL BLOCK}" if self.unicode else "#"
            style = f"bold {_colour(moment.rgb)}"
            return [[(" " + full * (width - 1), style)] for _ in range(height)]
        across, down, corners = ("\N{BOX DRAWINGS LIGHT HORIZONTAL}",
                                 "\N{BOX DRAWINGS LIGHT VERTICAL}",
                                 "\N{BOX DRAWINGS LIGHT DOWN AND RIGHT}"
                                 "\N{BOX DRAWINGS LIGHT DOWN AND LEFT}"
                                 "\N{BOX DRAWINGS LIGHT UP AND RIGHT}"
                                 "\N{BOX DRAWINGS LIGHT UP AND LEFT}") \
            if self.unicode else ("-", "|", "++++")
        inner = max(width - 3, 0)
        rows = [f" {down}{' ' * inner}{down}" for _ in range(height)]
        rows[height // 2] = f" {down}{name[:inner]:^{inner}}{down}"
        if height > 2:
            rows[0] = f" {corners[0]}{across * inner}{corners[1]}"
            rows[-1] = f" {corners[2]}{across * inner}{corners[3]}"
        return [[(row, "dim")] for row in rows]

    def _says(self, moment: Any, columns: int) -> list[Line]:
        text = SAYS.get(moment.says, moment.says)
        if moment.board == "off":
            text = "no light: the board has no power yet, turn"
        return labelled("lamp", text, columns, "bold")

    def _feel(self, moment: Any, columns: int) -> list[Block]:
        tapped = f"{moment.tapped_tpm:.0f} turns/min" if moment.tapped_tpm else "-"
        share = moment.effort_nm / moment.most_nm
        full, empty = ("\N{FULL BLOCK}", "\N{MIDDLE DOT}") if self.unicode else ("#", ".")
        effort = fill(share, min(10, max(columns - 30, 4)), full, empty)
        return [
            Block(labelled("taps", tapped, columns), 3),
            Block(labelled("handle", f"{self._pace_tpm:.0f} turns/min", columns, "bold"), 1),
            Block(labelled("arm", f"{effort} {moment.effort_nm:.1f} of {moment.most_nm:.1f} N m",
                           columns), 3),
        ]

    def _rest(self, moment: Any, columns: int) -> list[Block]:
        gained = "" if moment.percent is None else f", {moment.percent:+.2f} %"
        if not moment.plugged:
            phone = "its plug is pulled (p)" + gained
        elif moment.connected:
            phone = f"connected, {moment.out_w:.1f} W{gained}"
        else:
            phone = "not connected" + gained
        return [
            Block(labelled("phone", phone, columns, "bold" if moment.connected else ""), 2),
            Block(labelled("volts", f"{moment.bus_v:.2f} V, {moment.bus_a:.2f} A", columns), 3),
            Block(labelled("board", BOARD.get(moment.board, moment.board), columns), 6),
        ]

    def _bar(self, moment: Any, columns: int) -> list[Block]:
        made = self.cranking
        band = paceband.band_of(made.low_tpm, made.target_tpm, made.high_tpm)
        if band is None:
            return [Block(labelled("band", "no pace works for this rig", columns), 4)]
        if columns < BAR:
            return []
        bar = paceband.rows(self._pace_tpm, False, band, columns - 2, indent=" ",
                            unicode=self.unicode)
        return [Block(bar, 4, bar[:2], 6)]

    def _more(self, columns: int) -> list[Block]:
        made = self.cranking
        blocks = []
        if made.because:
            blocks.append(Block(labelled("note", f"nothing is on the board: {made.because}",
                                         columns, "bold red"), 2))
        if made.port:
            blocks.append(Block(labelled("port", f"{made.port}, for 'steadyturn watch --port "
                                         f"{made.port}' elsewhere", columns), 8))
        if made.not_exercised:
            blocks.append(Block(labelled("note", "on CPython, without "
                                         + ", ".join(made.not_exercised), columns), 9))
        return blocks

    def _help(self, columns: int) -> list[Line]:
        tap = TAP[self.cranking.turns_a_tap]
        return [f" {row}" for text in HELP
                for row in textwrap.wrap(text.format(tap=tap), max(columns - 2, 16))]


def starting(rig: str, columns: int, rows: int) -> list[Line]:
    """What is on the screen until there is a machine to turn."""
    said = [f" {row}" for row in textwrap.wrap(
        "starting the board: its firmware is put on, which takes some seconds ...",
        max(columns - 2, 16))]
    return fit([Block([[(f" virtual: {rig}"[:columns], "dim")]], 2), BLANK,
                Block(said, 0, said[:1], 1), BLANK,
                _keys(columns)], rows)


def show_hand(cranking: Any, terminal: Terminal) -> None:
    """Crank until q is pressed, or the keyboard goes."""
    with terminal:
        screen = HandScreen(cranking, terminal.unicode)
        while True:
            keys = terminal.keys(FRAME_S)
            if not keys.startswith("\x1b"):  # a cursor or function key
                for key in keys:
                    if key == " ":
                        cranking.tap()
                    elif key in "qQ\x03\x04":
                        return
                    elif key in "pP":
                        cranking.plug()
                    elif key in "?hH":
                        screen.help = not screen.help
            moment = cranking.moment()
            terminal.draw(screen.lines(moment, *terminal.size(), time.monotonic()))


def text(done: Any) -> str:
    """What came of it, and what to do with the board's journal."""
    if not done.turns:
        lines = [f"{done.rig}: not a turn."]
    else:
        share = "" if not done.turning_s else \
            f", {100 * done.band_s / done.turning_s:.0f} % of the time in the band"
        gained = "" if done.percent is None else f", {done.percent:+.2f} %"
        lines = [
            wrap(f"{done.rig}: {done.turns:.0f} turns by {done.taps} taps of "
                 f"{TAP[done.turns_a_tap]} in {done.turning_s:.0f} s{share}.", ""),
            item(f"{quantity(done.energy_out_wh, 'Wh')} to the phone{gained}; "
                 f"{quantity(done.arm_wh, 'Wh')} from the arm; connected for "
                 f"{done.connected_s:.0f} s, {_times(done.connections, 'connection')}.", ""),
            item("These are the model's own figures; the board's stand in its journal.", ""),
        ]
    if done.not_exercised:
        lines.append(item("Not tried here, for want of MicroPython: "
                          + ", ".join(done.not_exercised) + ".", ""))
    if done.image and not done.not_exercised:
        rig = shown_path(done.rig_file)
        lines += ["", item("Its journal, with this in one terminal", ""),
                  command_lines(f"steadyturn twin {rig} --image {shown_path(done.image)} "
                                "--person none"),
                  item("and in another, with the port that it names:", ""),
                  command_lines("steadyturn pull --port PORT"),
                  command_lines(f"steadyturn review --rig {rig}")]
    elif not done.not_exercised:
        lines += ["", item("Its journal is gone with it; with --image FILE it is kept, for "
                           "'steadyturn pull' and 'steadyturn review'.", "")]
    return "\n".join(lines) + "\n"


def _keys(columns: int) -> Block:
    text = " space cranks, p phone's plug, ? help, q ends" if columns >= NARROW \
        else " space  p plug  ? help  q end"
    return Block([[(text, "dim")]], 8)


def _times(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _colour(rgb: tuple[int, int, int] | None) -> str:
    """The nearest of the terminal's colours; an LED is yellow.

    >>> _colour(None), _colour((200, 0, 0)), _colour((0, 0, 255))
    ('yellow', 'red', 'cyan')
    """
    if rgb is None:
        return "yellow"
    red, green, blue = (part > max(rgb) / 2 for part in rgb)
    return {(True, False, False): "red", (False, True, False): "green",
            (True, True, False): "yellow", (True, False, True): "magenta",
            (False, True, True): "cyan", (False, False, True): "cyan"}.get(
                (red, green, blue), "")


def _pieces(line: Line) -> list[tuple[str, str]]:
    return [(line, "")] if isinstance(line, str) else list(line)
