"""This program's firmware as files, by their paths on a board."""

from __future__ import annotations

from importlib import resources

PACKAGE = "/lib/steadyturn_fw"
MAIN = "/main.py"
# firmware/main.py, which is no part of the package: a test compares them
MAIN_PY = b"import steadyturn_fw.main\n\nsteadyturn_fw.main.run()\n"


def package_files() -> dict[str, bytes]:
    """The package's files, sorted by path; main.py is not among them."""
    found = {
        f"{PACKAGE}/{entry.name}": entry.read_bytes()
        for entry in resources.files("steadyturn_fw").iterdir()
        if entry.name.endswith(".py")
    }
    return dict(sorted(found.items()))
