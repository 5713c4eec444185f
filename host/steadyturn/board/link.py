"""The link's host side: one question, one framed answer, every wait with an end.

`steadyturn_fw.frames` has the words and the layout of a frame. Nothing that a
board sends is trusted: a frame counts only with the right CRC, kind, length and
content; everything else is skipped, and after a few tries the answer is Failed.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from steadyturn_fw import frames, pages

from steadyturn.board.framing import Frames
from steadyturn.board.stream import Stream
from steadyturn.board.text import printable
from steadyturn.errors import Failed

ANSWER_S = 1.0  # a flash erase may stop a board for 0.4 s, a full USB buffer for 0.5 s
TRIES = 3
SETTINGS_S = 10.0  # some 2 kB in pieces of 228 bytes take a tenth of that; a hostile board sends
# 65 kB in pieces of one
NOISE = 400  # bytes kept of what is no answer
PROMPTS = 3  # seen so often, it is there to stay
GOES_ON = 2  # the first protocol with frames.ASK_NEXT
FLASH_HINT = "'steadyturn flash RIG' brings the board up to date."
T = TypeVar("T")


class NoAnswer(Failed):
    """The port is open, but no valid answer came in time. noise: what came instead; prompt:
    MicroPython's own, so no program of ours is starting there."""

    def __init__(self, what: str, how: str, noise: bytes, prompt: bool = False) -> None:
        super().__init__(what, how)
        self.noise = noise
        self.prompt = prompt


class NotUnderstood(Failed):
    """The board speaks the link, but not this question or not in this layout."""


@dataclass(frozen=True, slots=True)
class Who:
    """What a board says of itself. Times in ms since its boot; no page is stored when
    first_seq > last_seq; format_id changes when its journal was made anew."""

    protocol: int
    page_version: int
    format_id: int
    boot: int
    t_ms: int
    first_seq: int
    last_seq: int
    unique_id: str
    firmware: str

    @property
    def stored(self) -> int:
        """Page numbers stored, at most (there may be gaps)."""
        return max(self.last_seq - self.first_seq + 1, 0)


class Link:
    """Questions to a running board. Raises NoAnswer, NotUnderstood, or Gone."""

    def __init__(self, stream: Stream, *, answer_s: float = ANSWER_S, tries: int = TRIES) -> None:
        self.stream = stream
        self.answer_s = answer_s
        self.tries = tries
        self._goes_on = False  # the board knows frames.ASK_NEXT
        self._next = -1  # number after the page that came last,
        self._under_way = False  # and it is asked for already

    # ---- the questions

    def who(self) -> Who:
        return self._met(self._ask(frames.ASK_WHO, _who))

    def wait(self, seconds: float) -> Who:
        """Who it is, once it answers; for a board that is still starting. At MicroPython's
        prompt nothing is, and it ends soon."""
        end = time.monotonic() + seconds
        prompts = 0
        while True:
            try:
                return self._met(self._ask(frames.ASK_WHO, _who, tries=1, answer_s=0.3))
            except NoAnswer as silent:
                prompts += silent.prompt  # one may be left from before its start
                if time.monotonic() >= end or prompts >= PROMPTS:
                    raise

    def state(self) -> dict[str, int]:
        """frames.STATE_FIELDS by name, units in the names."""
        return self._ask(frames.ASK_STATE, _state)

    def now(self) -> dict[str, int]:
        """frames.NOW_FIELDS by name: the last tick's readings, currents with their signs; known:
        the sum of frames.NOW_VOLTS and so on."""
        return self._ask(frames.ASK_NOW, _now)

    def settings(self) -> bytes:
        """The settings file as the board read it at its start (steadyturn_fw.fields has the
        format; whether it is in force: state's settings_ok); b"" when there was none."""
        for _ in range(self.tries):
            whole = self._settings_once()
            if whole is not None:
                return whole
        raise NoAnswer("The settings changed while they were read.", "Try again.", b"")

    def page(self, seq: int, last_seq: int = -1) -> bytes | None:
        """The first stored page numbered `seq` or later; None when there is none. Where pages
        up to last_seq will be wanted too, the next is asked for at once, which acknowledges this
        one: the board sends it while this one is looked at."""
        answer = self._next_page(seq) if seq == self._next else None
        if answer is None:
            answer = (self._ask(frames.ASK_PAGE + b" %d" % seq, partial(_page, seq=seq)),)
        page = answer[0]
        self._next = -1 if page is None else _number(page, pages.AT_SEQ, 4) + 1
        if page is not None and self._goes_on and self._next <= last_seq:
            with contextlib.suppress(Failed):  # this page is here; the next question tells
                self.stream.write(frames.ASK_NEXT + b"\n")
                self._under_way = True
        return page

    def _next_page(self, seq: int) -> tuple[bytes | None] | None:
        """What is under way; None: nothing is, or nothing came."""
        if not self._under_way:
            return None
        self._under_way = False
        accept = partial(_page, seq=seq)
        with contextlib.suppress(NoAnswer, NotUnderstood):  # the board may have started anew
            return (self._heard(frames.ASK_NEXT, accept, self.answer_s),)
        return None

    def flush(self) -> dict[str, int]:
        """Have the page that is being filled stored; the state after that."""
        return self._ask(frames.ASK_FLUSH, _state, answer_s=max(self.answer_s, 2.0))

    def forget(self, seq: int) -> Who:
        """Have the oldest file of the journal removed if the library has all pages up to
        `seq`; who it is after that. first_seq stays when nothing was to be removed."""
        return self._ask(frames.ASK_FORGET + b" %d" % seq, _who,
                         answer_s=max(self.answer_s, 2.0))

    def release(self) -> dict[str, int]:
        """Have the load released until the board's next boot; the state after that."""
        return self._ask(frames.ASK_RELEASE, _state)

    def asked(
        self, question: bytes, accept: Callable[[int, bytes], tuple[T] | None], *,
        tries: int | None = None, answer_s: float | None = None,
    ) -> T:
        """Any other question; accept as in `_ask`."""
        return self._ask(question, accept, tries=tries, answer_s=answer_s)

    def close(self) -> None:
        self.stream.close()

    # ---- how they are asked

    def _met(self, who: Who) -> Who:
        self._goes_on = who.protocol >= GOES_ON
        return who

    def _settings_once(self) -> bytes | None:
        """All pieces of one settings file, or None when its length changed under way."""
        whole = b""
        total = None
        end = time.monotonic() + SETTINGS_S
        while total is None or len(whole) < total:
            if time.monotonic() > end:
                raise NoAnswer("The board's settings do not come to an end.", FLASH_HINT, b"")
            offset = len(whole)
            question = frames.ASK_SETTINGS + b" %d" % offset
            got, piece = self._ask(question, partial(_piece, offset=offset))
            if total is not None and got != total:
                return None
            total = got
            whole += piece
        return whole if len(whole) == total else None

    def _ask(
        self,
        question: bytes,
        accept: Callable[[int, bytes], tuple[T] | None],
        *,
        tries: int | None = None,
        answer_s: float | None = None,
    ) -> T:
        """Ask until `accept` takes a frame; it returns its value in a 1-tuple, or None
        for a frame that is no answer to this question (a late answer to another)."""
        if self._under_way:  # its answer must not be taken for this one's
            self._next_page(0)
        noise = b""
        for _ in range(tries or self.tries):
            self._drain()
            self.stream.write(question + b"\n")
            try:
                return self._heard(question, accept, answer_s or self.answer_s)
            except NoAnswer as silence:
                noise = (noise + silence.noise)[:NOISE]
        raise _silence(noise)

    def _heard(
        self, question: bytes, accept: Callable[[int, bytes], tuple[T] | None], answer_s: float
    ) -> T:
        """The answer, if it comes in time."""
        noise = b""
        parser = Frames()
        end = time.monotonic() + answer_s
        while (left := end - time.monotonic()) > 0:
            data = self.stream.read(4096, left)
            noise = (noise + data)[:NOISE]
            for kind, payload in parser.feed(data):
                value = accept(kind, payload)
                if value is not None:
                    return value[0]
                if kind == frames.WRONG and payload and question.startswith(payload):
                    raise NotUnderstood(
                        f"The board's firmware does not know the question "
                        f"'{question.decode()}': it is of another version.",
                        FLASH_HINT,
                    )
        raise _silence(noise)

    def _drain(self) -> None:
        """Throw away what came unasked; a board that never stops sending ends it too."""
        end = time.monotonic() + 0.05
        while self.stream.read(4096, 0) and time.monotonic() < end:
            pass


def _silence(noise: bytes) -> NoAnswer:
    if not noise:
        return NoAnswer(
            "The board does not answer.",
            "Is it started, and does steadyturn's program run on it? " + FLASH_HINT,
            noise,
        )
    if frames.SAFE_MODE.encode() in noise:
        return NoAnswer(
            "The board is in safe mode: its button was held at the start, or three starts in a "
            "row have failed. The phone is disconnected.",
            "'steadyturn flash RIG' brings it up to date and starts it; so does its reset button.",
            noise,
        )
    if b">>>" in noise or b"Traceback" in noise or frames.ASK_WHO in noise:  # a prompt: it echoes
        return NoAnswer(
            "MicroPython answers, but steadyturn's program does not run on this board.",
            FLASH_HINT, noise, prompt=True,
        )
    return NoAnswer(
        f"The board sends something, but no valid answer: '{printable(noise)}'",
        "Another program may run on it, or the cable is bad. " + FLASH_HINT,
        noise,
    )


# ---- answers: a 1-tuple with the value, or None when the frame is no such answer


def _who(kind: int, payload: bytes) -> tuple[Who] | None:
    if kind != frames.WHO or len(payload) < frames.WHO_FIXED_BYTES:
        return None
    if not frames.LEAST_PROTOCOL <= payload[0] <= frames.PROTOCOL:
        raise NotUnderstood(
            f"The board speaks version {payload[0]} of the link, this program "
            f"{frames.LEAST_PROTOCOL} to {frames.PROTOCOL}.",
            FLASH_HINT,
        )
    return (
        Who(
            protocol=payload[0],
            page_version=payload[1],
            format_id=_number(payload, 2, 4),
            boot=_number(payload, 6, 3),
            t_ms=_number(payload, 9, 4),
            first_seq=_number(payload, 13, 4),
            last_seq=_number(payload, 17, 4),
            unique_id=payload[21:29].hex(),
            firmware=printable(payload[frames.WHO_FIXED_BYTES :], 32),
        ),
    )


def _state(kind: int, payload: bytes) -> tuple[dict[str, int]] | None:
    if kind != frames.STATE or len(payload) != frames.STATE_BYTES:
        return None
    return ({name: _number(payload, at, size) for name, at, size in frames.STATE_FIELDS},)


def _now(kind: int, payload: bytes) -> tuple[dict[str, int]] | None:
    if kind != frames.NOW or len(payload) != frames.NOW_BYTES:
        return None
    return ({name: int.from_bytes(payload[at : at + size], "little", signed=name.endswith("_ma"))
             for name, at, size in frames.NOW_FIELDS},)


def _page(kind: int, payload: bytes, seq: int) -> tuple[bytes | None] | None:
    if kind == frames.END:
        return (None,)
    if kind != frames.PAGE or len(payload) != pages.PAGE_BYTES:
        return None
    return (payload,) if _number(payload, pages.AT_SEQ, 4) >= seq else None


def _piece(kind: int, payload: bytes, offset: int) -> tuple[tuple[int, bytes]] | None:
    """(total length, bytes) of a piece of the settings that starts at `offset`."""
    if kind != frames.SETTINGS or len(payload) < 4 or _number(payload, 0, 2) != offset:
        return None
    total = _number(payload, 2, 2)
    piece = payload[4:]
    if offset < total and not piece:
        return None  # would never end
    return ((total, piece),)


def _number(payload: bytes, at: int, size: int) -> int:
    return int.from_bytes(payload[at : at + size], "little")


def settings_line(settings: bytes) -> bytes:
    """The line of a settings file that its CRC covers."""
    lines = settings.split(b"\n")
    return lines[1] if len(lines) > 1 else b""
