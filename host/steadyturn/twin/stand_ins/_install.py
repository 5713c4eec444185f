"""Puts files from a folder of the host onto the flash image, without running them."""

import os

import _chan
import _flash
import _ops
import vfs

_chan.exchange(_ops.SLEEP)
_flash.mount(os.getenv("TWIN_IMAGE"))
vfs.mount(vfs.VfsPosix(os.getenv("TWIN_SOURCE")), "/host")


def _copy(folder):
    for entry in os.ilistdir("/host" + folder):
        name = folder + "/" + entry[0]
        if entry[1] & 0x4000:
            try:
                os.mkdir(name)
            except OSError:
                pass  # it is there
            _copy(name)
        else:
            with open("/host" + name, "rb") as source, open(name, "wb") as target:
                target.write(source.read())


_copy("")
print("installed")
_chan.exchange(_ops.PROMPT)
