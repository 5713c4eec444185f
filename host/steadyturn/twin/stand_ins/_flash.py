"""The flash chip as a block device: read from the image, changed by the hardware's side."""

import os

import _chan
import _ops

BLOCK = 4096
BLOCKS = 352


class Flash:
    def __init__(self, path):
        self._image = open(path, "rb")

    def readblocks(self, block, data, offset=0):
        while True:
            try:
                self._image.seek(block * BLOCK + offset)
                self._image.readinto(data)
                return
            except KeyboardInterrupt:
                _chan.exchange_data(_ops.AGAIN, 0, b"")

    def writeblocks(self, block, data, offset=0):
        _chan.exchange_data(_ops.PROGRAM, block * BLOCK + offset, data)

    def ioctl(self, op, value):
        if op == 4:
            return BLOCKS
        if op == 5:
            return BLOCK
        if op == 6:
            _chan.exchange_data(_ops.ERASE, value * BLOCK, b"")
        return 0


def mount(path):
    """Put littlefs with a Pico's settings at the root; a flash that holds none is formatted,
    as a board does at its first start."""
    import vfs

    flash = Flash(path)
    options = {"progsize": 256, "readsize": 32, "lookahead": 32}
    try:
        system = vfs.VfsLfs2(flash, **options)
    except OSError:
        vfs.VfsLfs2.mkfs(flash, **options)
        system = vfs.VfsLfs2(flash, **options)
    vfs.umount("/")
    vfs.mount(system, "/")
    os.chdir("/")
