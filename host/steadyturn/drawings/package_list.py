"""firmware/package.json: the firmware's files for `mpremote mip install`, from the package."""

from __future__ import annotations

import json

import steadyturn_fw

from steadyturn.firmware import MAIN, PACKAGE, package_files

TARGET = "/lib"  # where mip puts what a list names


def package_text() -> str:
    """JSON as MicroPython's docs, reference/packages, describe it: [on the board, source]."""
    names = [path.removeprefix(TARGET + "/") for path in package_files()]
    assert all(f"{TARGET}/{name}".startswith(PACKAGE) for name in names)
    urls = [[name, name] for name in names] + [[".." + MAIN, MAIN.lstrip("/")]]
    rows = ",\n    ".join(json.dumps(pair) for pair in urls)
    return (f'{{\n  "urls": [\n    {rows}\n  ],\n  "deps": [],\n'
            f'  "version": {json.dumps(steadyturn_fw.VERSION)}\n}}\n')
