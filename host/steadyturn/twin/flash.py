"""The virtual board's flash: NOR rules on an image file.

Erasing sets a 4096-byte block to ones; programming only clears bits. An operation
that the power leaves half done leaves garbage: here from the seed. Times: Winbond
W25Q16JV, 45 ms for a 4 KiB block and 0.7 ms for a page of 256 bytes, typical.
"""

from __future__ import annotations

import random
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from steadyturn.errors import Failed, Problem, WrongInput

BLOCK = 4096
BLOCKS = 352
SIZE = BLOCK * BLOCKS
PAGE = 256
ERASE_US = 45_000
PAGE_US = 700
# behind the flash, in the image's file: the board's unique id, so that it goes with the image
ID_MARK = b"steadyturn board"
ID_BYTES = 8


@dataclass(frozen=True, slots=True)
class Operation:
    """One erase (data is None) or program at `at` bytes; t_s: when it began, virtual."""

    t_s: float
    at: int
    data: bytes | None

    @property
    def us(self) -> int:
        return ERASE_US if self.data is None else duration_us(self.at, len(self.data))


def duration_us(at: int, size: int) -> int:
    """Time to program `size` bytes from `at`: whole pages, begun ones included."""
    return ((at + size - 1) // PAGE - at // PAGE + 1) * PAGE_US if size else 0


def blank() -> bytearray:
    return bytearray(b"\xff" * SIZE)


def apply(image: bytearray, operation: Operation) -> None:
    """Do the whole operation on an image in memory."""
    if operation.data is None:
        image[operation.at : operation.at + BLOCK] = b"\xff" * BLOCK
    else:
        end = operation.at + len(operation.data)
        image[operation.at : end] = programmed(bytes(image[operation.at : end]), operation.data)


def tear(image: bytearray, operation: Operation, seed: int) -> None:
    """Do it as far as a power cut lets it: some bits done, some not, by the seed."""
    end = operation.at + (BLOCK if operation.data is None else len(operation.data))
    before = bytes(image[operation.at : end])
    image[operation.at : end] = torn(before, operation.data, random.Random(seed))


def programmed(before: bytes, data: bytes) -> bytes:
    """Programming clears bits and sets none."""
    size = len(data)
    both = int.from_bytes(before, "little") & int.from_bytes(data, "little")
    return both.to_bytes(size, "little")


def torn(before: bytes, data: bytes | None, chance: random.Random) -> bytes:
    """What a cut operation leaves. A program: each bit that was to be cleared may be.
    An erase: a start of the block may be blank, the rest garbage between old and blank."""
    size = len(before)
    old = int.from_bytes(before, "little")
    noise = int.from_bytes(chance.randbytes(size), "little")
    if data is not None:
        # a byte in front is whole, then some bits are missing, as in a page buffer cut off
        new = old & (int.from_bytes(data, "little") | noise)
        done = chance.randrange(size + 1) if size else 0
        whole = programmed(before[:done], data[:done])
        return whole + new.to_bytes(size, "little")[done:]
    new = old | noise
    done = chance.randrange(size + 1)
    return b"\xff" * done + new.to_bytes(size, "little")[done:]


class Flash:
    """The image file `path`; made blank if it is not there.

    unique: the board's id that is kept with the image (`make`), None where there is none.
    log: None, or a list that takes every operation. `start` begins an operation, which
    `finish` completes; `cut` leaves it torn. Raises WrongInput for a file that is no
    image, Failed when it cannot be read or written.
    """

    def __init__(self, path: Path, seed: int = 0) -> None:
        self.path = path
        self.log: list[Operation] | None = None
        self.erases = 0
        self.pages = 0
        self._chance = random.Random(f"flash {seed}")
        self._under_way: Operation | None = None
        self._file = _open(path)
        try:
            _hold(self._file, path)
            self.unique = _id_of(self._file)
        except BaseException:
            self._file.close()
            raise

    def start(self, t_s: float, at: int, data: bytes | None) -> int:
        """Begin to program `data` at byte `at` (or to erase the block there, None); us that
        it will take."""
        size = BLOCK if data is None else len(data)
        if not (at >= 0 and at + size <= SIZE):
            raise Failed(f"The virtual board writes outside its flash (byte {at}).")
        self._under_way = Operation(t_s, at, data)
        return self._under_way.us

    def finish(self) -> None:
        operation = self._under_way
        if operation is None:
            return
        self._under_way = None
        if operation.data is None:
            self.erases += 1
            self._write(operation.at, b"\xff" * BLOCK)
        else:
            self.pages += operation.us // PAGE_US
            before = self._read(operation.at, len(operation.data))
            self._write(operation.at, programmed(before, operation.data))
        if self.log is not None:
            self.log.append(operation)

    def cut(self) -> bool:
        """The power goes now; True: an operation was under way and is torn."""
        operation = self._under_way
        if operation is None:
            return False
        self._under_way = None
        size = BLOCK if operation.data is None else len(operation.data)
        before = self._read(operation.at, size)
        self._write(operation.at, torn(before, operation.data, self._chance))
        return True


    def read_all(self) -> bytes:
        return self._read(0, SIZE)

    def close(self) -> None:
        self._file.close()

    def _read(self, at: int, size: int) -> bytes:
        self._file.seek(at)
        data = self._file.read(size)
        if len(data) != size:
            raise Failed(f"{self.path}: the flash image has become shorter than it was.",
                         "Leave the file alone while a virtual board uses it.")
        return data

    def _write(self, at: int, data: bytes) -> None:
        self._file.seek(at)
        self._file.write(data)


def make(path: Path) -> None:
    """A blank image of a board of its own: with a unique id by chance. Raises Failed."""
    _write(path, blank() + ID_MARK + secrets.token_bytes(ID_BYTES))


def _id_of(file: IO[bytes]) -> bytes | None:
    file.seek(SIZE)
    behind = file.read()
    return behind[len(ID_MARK):] if behind.startswith(ID_MARK) else None


def _write(path: Path, data: bytes | bytearray) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise _unusable(path, error) from None


def _unusable(path: Path, error: OSError) -> Failed:
    return Failed(f"{path}: {error.strerror or error}.",
                  "The flash image must be a file that can be read and written.")


def _open(path: Path):  # type: ignore[no-untyped-def]  # an unbuffered binary file
    if path.exists():
        if not path.is_file():
            raise WrongInput(Problem(str(path), "", "", "it is not a file.",
                                     "Name a file for the flash image."))
        size = path.stat().st_size
        if size not in (SIZE, SIZE + len(ID_MARK) + ID_BYTES):
            raise WrongInput(Problem(
                str(path), "size", f"{size} bytes", f"a flash image has {SIZE} bytes.",
                "Name another file: a missing one is made.",
            ))
    try:
        if not path.exists():
            path.write_bytes(blank())
        return open(path, "r+b", buffering=0)
    except OSError as error:
        raise _unusable(path, error) from None


def _hold(file: IO[bytes], path: Path) -> None:
    """Keep other virtual boards off the image until it is closed: two would spoil it."""
    try:
        import fcntl
    except ImportError:  # Windows: virtual boards have no image of this kind there
        return
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise Failed(f"{path}: another virtual board runs on this image.",
                     "End that one first, or name another file.") from None
    except OSError:  # a file system without locks
        return


def refuse_foreign(path: Path) -> None:
    """WrongInput when a file of the right size holds something else than a board's flash:
    a board would format it at its first start."""
    _open(path).close()
    with open(path, "rb") as file:
        head = file.read(2 * BLOCK)
    if b"littlefs" not in head and head.strip(b"\xff"):
        raise WrongInput(Problem(
            str(path), "", "", "it holds no littlefs, and a board would format it.",
            "Name another file, or remove this one: a missing one is made.",
        ))


def prefixes(
    operations: list[Operation], start: bytes | None = None
) -> Iterator[tuple[int, bytearray, Operation]]:
    """(n, image after the first n operations, operation n that comes next); the image is
    the same object, changed from step to step: copy it to keep it."""
    image = bytearray(start) if start is not None else blank()
    for number, operation in enumerate(operations):
        yield number, image, operation
        apply(image, operation)
