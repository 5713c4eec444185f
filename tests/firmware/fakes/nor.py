"""A flash chip in RAM under littlefs: NOR's rules, a log of operations, erases counted.

A program only clears bits, an erase sets a sector's. An operation that the power cut short
leaves what is said at `tear`.
"""

import vfs

BLOCK = 4096
BLOCKS = 352  # a Pico's
OPTIONS = {"progsize": 256, "readsize": 32, "lookahead": 32}  # as the rp2 port mounts it
BLANK = b"\xff" * BLOCK
WAYS_PROGRAM = ("half", "weak")
WAYS_ERASE = ("half", "weak", "nearly")


class Flash:
    def __init__(self, image):
        self.image = image
        self.blocks = len(image) // BLOCK
        self.log = None  # [(at, bytes or None for an erase, mark)]
        self.mark = None  # called for each: what is true at this moment
        self.erases = [0] * self.blocks
        self.programmed = 0  # bytes

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        buffer[:] = memoryview(self.image)[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        if self.log is not None:
            self.log.append((at, bytes(buffer), self.mark()))
        self.programmed += len(buffer)
        program(self.image, at, buffer)

    def ioctl(self, op, argument):
        if op == 4:
            return self.blocks
        if op == 5:
            return BLOCK
        if op == 6:
            if self.log is not None:
                self.log.append((argument * BLOCK, None, self.mark()))
            self.erases[argument] += 1
            erase(self.image, argument * BLOCK)
        return 0


def blank(blocks=BLOCKS):
    """A new, formatted flash, mounted at /flash."""
    flash = Flash(bytearray(BLANK * blocks))
    vfs.VfsLfs2.mkfs(flash, **OPTIONS)
    mount(flash, "/flash")
    flash.erases = [0] * blocks
    return flash


def mount(flash, where):
    vfs.mount(vfs.VfsLfs2(flash, **OPTIONS), where)


def apply(image, at, data):
    if data is None:
        erase(image, at)
    else:
        program(image, at, data)


def program(image, at, data):
    old = bytes(memoryview(image)[at : at + len(data)])
    if old == BLANK[: len(data)]:
        image[at : at + len(data)] = data
        return
    for i in range(len(data)):
        image[at + i] &= data[i]


def erase(image, at):
    image[at : at + BLOCK] = BLANK


class Chance:
    def __init__(self, seed):
        self.seed = seed & 0x7FFFFFFF

    def below(self, most):
        self.seed = (self.seed * 1103515245 + 12345) & 0x7FFFFFFF
        return (self.seed >> 8) % most


def tear(image, at, data, chance, way):
    """The operation was under way when the power went. half: done up to some byte, the next
    256 in between, the rest as before; weak: every byte somewhere in between; nearly: an erase
    that left a few bits down."""
    size = BLOCK if data is None else len(data)
    done = chance.below(size + 1)
    if way == "nearly":
        image[at : at + size] = BLANK
        for _ in range(8):
            image[at + chance.below(size)] &= ~(1 << chance.below(8))
        return
    if way == "weak":
        first, last = 0, size
    else:
        first, last = done, min(size, done + 256)
        if data is None:
            image[at : at + done] = BLANK[:done]
        else:
            program(image, at, data[:done])
    for i in range(first, last):
        noise = chance.below(256)
        if data is None:
            image[at + i] |= noise  # some bits are up already
        else:
            image[at + i] &= data[i] | noise  # some are down already
