"""The link's host side against boards that are good, slow, noisy and hostile."""

from __future__ import annotations

import random
import struct
import time
import zlib

import pytest
from fake_board import FakeBoard, MemoryStream, PtyBoard, page
from hypothesis import given, settings
from hypothesis import strategies as st
from steadyturn.board.framing import Frames, frame
from steadyturn.board.link import Link, NoAnswer, NotUnderstood
from steadyturn.board.stream import Busy, Gone, SerialStream
from steadyturn.errors import Failed
from steadyturn_fw import frames, pages


def link_to(board: FakeBoard, chop: int = 4096, **more: float) -> Link:
    return Link(MemoryStream(board, chop), answer_s=more.get("answer_s", 0.2))


def test_crc_is_the_one_of_the_check_value():
    # CRC-32/ISO-HDLC of "123456789" is CBF43926 (catalogue of parametrised CRC algorithms)
    assert zlib.crc32(b"123456789") == 0xCBF43926
    body = bytes((0x39, 0))
    assert frame(0x39, b"")[4:] == struct.pack("<I", zlib.crc32(body))


def test_who_reads_every_field():
    who = link_to(FakeBoard()).who()
    assert (who.protocol, who.boot, who.t_ms, who.first_seq, who.last_seq) == (2, 5, 1234, 3, 7)
    assert who.unique_id == "0001020304050607"
    assert who.firmware == "0.1.0"
    assert who.format_id == 0xC0FFEE
    assert who.stored == 5


def test_state_has_every_field_at_its_place():
    board = FakeBoard()
    for n, (name, _, size) in enumerate(frames.STATE_FIELDS):
        board.state[name] = (n + 3) * 7 % 256 ** size
    assert link_to(board).state() == board.state


def test_settings_come_in_pieces_and_are_put_together():
    board = FakeBoard()
    board.settings = bytes(32 + i % 90 for i in range(1501))
    assert link_to(board).settings() == board.settings
    board.settings = b""
    assert link_to(board).settings() == b""


def test_page_gives_this_or_a_later_one_and_none_at_the_end():
    link = link_to(FakeBoard())
    assert link.page(1) == page(3)
    assert link.page(5) == page(7)
    assert link.page(8) is None


def test_readings_keep_their_signs_and_an_older_board_is_told():
    board = FakeBoard()
    board.now.update(t_ms=77, known=3, bus_mv=6500, bus_ma=-7, out_ma=-65535)
    assert link_to(board).now() == {"t_ms": 77, "known": 3, "bus_mv": 6500, "out_mv": 0,
                                    "bus_ma": -7, "out_ma": -65535}
    board.answer = lambda line: frame(frames.WRONG, line[:20])
    with pytest.raises(NotUnderstood, match="another version"):
        link_to(board).now()


def all_pages(link: Link, last: int = 7) -> list[bytes]:
    found = []
    seq = 0
    while (got := link.page(seq, last)) is not None:
        found.append(got)
        seq = int.from_bytes(got[pages.AT_SEQ : pages.AT_SEQ + 4], "little") + 1
    return found


def test_pages_go_on_without_numbers_up_to_the_last():
    board = FakeBoard()
    link = link_to(board)
    link.who()
    assert all_pages(link) == [page(3), page(4), page(7)]
    assert board.asked[1:] == [b":page 0", b":+", b":+", b":page 8"]


def test_a_board_of_the_protocol_before_is_asked_by_number():
    board = FakeBoard()
    board.protocol = 1
    link = link_to(board)
    assert link.who().protocol == 1
    assert all_pages(link) == [page(3), page(4), page(7)]
    assert frames.ASK_NEXT not in board.asked


def test_a_board_that_started_anew_meanwhile_is_asked_by_number():
    board = FakeBoard()
    link = link_to(board)
    link.who()
    assert link.page(0) == page(3)
    board.sent = -1
    assert link.page(4, 7) == page(4)
    board.answer = lambda line: b"" if line == frames.ASK_NEXT else FakeBoard.answer(board, line)
    assert all_pages(link) == [page(3), page(4), page(7)]


def test_what_is_under_way_is_not_taken_for_another_answer():
    board = FakeBoard()
    link = link_to(board)
    link.who()
    assert link.page(4, 7) == page(4)  # 7 is under way
    assert link.page(3, 7) == page(3)
    assert link.state()["boot"] == 0
    assert link.page(4, 7) == page(4)
    assert link.settings() == b""
    assert link.page(5) == page(7)


def test_a_late_page_is_not_taken_for_the_answer():
    board = FakeBoard()
    board.before = frame(frames.PAGE, page(3)) + frame(frames.STATE, board.state_bytes())
    assert link_to(board).page(4) == page(4)


def test_release_and_flush_answer_with_the_state():
    link = link_to(FakeBoard())
    assert link.release()["why"] == 9
    assert link.flush()["connected"] == 0


@pytest.mark.parametrize("chop", [1, 3, 7])
def test_noise_and_cut_reads_do_not_matter(chop):
    board = FakeBoard()
    # what looks like a start and claims 232 bytes, half a start, text, a frame with a bad CRC
    bad = frame(frames.STATE, board.state_bytes())[:-1] + b"\x00"
    board.before = b"\xa5\x53S\xe8 boot\r\n\xa5" + bad + b"\xa5\x53"
    board.state["bus_mv"] = 7777
    assert link_to(board, chop).state()["bus_mv"] == 7777


@settings(max_examples=150, deadline=None)
@given(st.lists(st.one_of(st.binary(max_size=40), st.just(b"\xa5\x53"), st.integers(0, 5)),
                max_size=12), st.integers(1, 50))
def test_every_frame_in_noise_is_found_in_order(parts, chop):
    """Noise without a start is skipped whatever it is; frames between it are all found."""
    raw, sent = b"", []
    for part in parts:
        if isinstance(part, int):
            sent.append((frames.SETTINGS, bytes([part]) * part * 11))
            raw += frame(*sent[-1])
        else:
            raw += part.replace(b"\xa5", b"\x00") if part != b"\xa5\x53" else part
    parser, found = Frames(), []
    for at in range(0, len(raw), chop):
        found += parser.feed(raw[at : at + chop])
        assert len(parser._held) <= frames.FRAME_MAX
    assert found == sent


def test_a_lost_answer_is_asked_for_again():
    board = FakeBoard()
    good = board.answer
    board.answer = lambda line: b"" if len(board.asked) < 2 and not board.asked.append(line) \
        else good(line)
    assert link_to(board, answer_s=0.05).who().boot == 5
    assert len(board.asked) == 3


HOSTILE = {
    "silent": lambda _: b"",
    "zeros": lambda _: bytes(5000),
    "starts only": lambda _: b"\xa5\x53" * 3000,
    "wrong length": lambda _: frame(frames.WHO, b"\x01"),
    "state of another size": lambda _: frame(frames.STATE, bytes(frames.STATE_BYTES + 1)),
    "another kind": lambda _: frame(0x7A, bytes(40)),
    "too long": lambda _: b"\xa5\x53W\xff" + bytes(259),
    "a piece that never ends": lambda _: frame(frames.SETTINGS, struct.pack("<HH", 0, 900)),
    "a short page": lambda _: frame(frames.PAGE, bytes(219)),
    "a page before": lambda _: frame(frames.PAGE, page(1)),
    "escapes": lambda _: b"\x1b[2J\x1b]0;owned\x07\x9b31m" * 20,
    "a prompt": lambda line: line + b"\r\nTraceback (most recent call last):\r\n>>> ",
}


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("question", ["who", "state", "settings", "page", "flush"])
def test_a_hostile_board_ends_in_failed_and_in_time(kind, question):
    board = FakeBoard()
    board.answer = HOSTILE[kind]
    link = Link(MemoryStream(board), answer_s=0.02, tries=2)
    link.flush = lambda: link._ask(frames.ASK_FLUSH, lambda k, p: None)  # without its 2 s
    start = time.monotonic()
    with pytest.raises(Failed) as caught:
        getattr(link, question)(*([4] if question == "page" else []))
    assert time.monotonic() - start < 1
    assert all(" " <= c <= "~" for c in str(caught.value))


def test_endless_bytes_end():
    class Endless(MemoryStream):
        def read(self, max_bytes, timeout_s):
            return random.Random(1).randbytes(max_bytes)

    start = time.monotonic()
    with pytest.raises(NoAnswer):
        Link(Endless(FakeBoard()), answer_s=0.1, tries=2).who()
    assert time.monotonic() - start < 2


def test_escapes_in_a_firmware_name_are_not_kept():
    board = FakeBoard()
    board.firmware = b"1.0\x1b[31m\n\xff" + b"x" * 100
    name = link_to(board).who().firmware
    assert name.isprintable()
    assert "\x1b" not in name
    assert len(name) <= 32


def test_another_protocol_or_question_says_what_to_do():
    board = FakeBoard()
    board.protocol = 9
    with pytest.raises(NotUnderstood, match="version 9"):
        link_to(board).who()
    board.answer = lambda line: frame(frames.WRONG, line[:8])
    with pytest.raises(NotUnderstood, match="flash"):
        link_to(board).state()


def test_wait_ends_when_the_board_has_started_and_when_it_never_does():
    board = FakeBoard()
    good, start = board.answer, time.monotonic()
    board.answer = lambda line: good(line) if time.monotonic() > start + 0.4 else b"boot\r\n"
    assert link_to(board).wait(5).boot == 5
    board.answer = lambda line: b""
    with pytest.raises(NoAnswer):
        link_to(board).wait(0.2)


def test_over_a_port_and_unplugged():
    with PtyBoard(FakeBoard()) as pty:
        stream = SerialStream(pty.port)
        link = Link(stream)
        assert link.who().boot == 5
        assert link.page(3) == page(3)
        pty.unplug()
        with pytest.raises(Gone, match="unplugged"):
            link.state()
        stream.close()


def test_a_port_that_is_in_use_or_missing():
    with PtyBoard(FakeBoard()) as pty:
        first = SerialStream(pty.port)
        with pytest.raises(Busy, match="another program"):
            SerialStream(pty.port)
        first.close()
        SerialStream(pty.port).close()
    with pytest.raises(Failed, match="no such port"):
        SerialStream("/dev/ttyNONE7")
    with pytest.raises(Failed) as caught:
        SerialStream("/dev/tty\x1b[2J")
    assert "\x1b" not in str(caught.value)


def test_a_prompt_is_known_soon_and_not_by_what_was_left_before_a_start():
    board = FakeBoard()
    board.answer = lambda line: line + b"\r\n>>> "
    began = time.monotonic()
    with pytest.raises(NoAnswer, match="program does not run") as caught:
        link_to(board).wait(9)
    assert caught.value.prompt
    assert time.monotonic() - began < 2
    late = FakeBoard()
    answer, left = late.answer, [b">>> ", b"", b">>> "]
    late.answer = lambda line: left.pop() if left else answer(line)
    assert link_to(late).wait(9).boot == 5
