"""What to do where a port may not be opened."""

from __future__ import annotations

import os
import stat
import sys

AGAIN = "then log out and in again (a new terminal is not enough)."


def remedy(port: str) -> str:
    """On Linux by the group that the port's file has; elsewhere in general words."""
    if not sys.platform.startswith("linux"):
        return ("Ask whoever runs this machine for access to serial ports, and close every "
                "other program that may use this one.")
    import grp

    try:
        found = os.stat(port)
        group = grp.getgrgid(found.st_gid)
    except (OSError, KeyError):
        return "Ask whoever runs this machine for access to serial ports."
    return remedy_of_group(group.gr_name, group.gr_mem, bool(found.st_mode & stat.S_IWGRP))


def remedy_of_group(name: str, members: list[str], may_write: bool) -> str:
    if name == "root" or not may_write:
        return ("No group of users may open it: a udev rule has to give it one "
                "(MODE=\"0660\", GROUP=\"dialout\"), or ask whoever runs this machine.")
    import getpass

    try:
        me = getpass.getuser()
    except (OSError, KeyError):
        me = ""
    if me in members:
        return (f"You are in its group '{name}' already, but this session does not know yet: "
                "log out and in again (a new terminal is not enough).")
    return f"Join the group that owns it: 'sudo usermod -a -G {name} $USER', {AGAIN}"
