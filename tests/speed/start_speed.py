"""How long `steadyturn --help` takes against Python importing click, its parser. Run by hand:

    python tests/speed/start_speed.py [ROUNDS]

Both are whole processes, started in turn. The limit is 2.5 times. Each command's own help
stands below it, which imports that command's file too.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[2]
ENV = {**os.environ, "PYTHONPATH": os.pathsep.join(str(ROOT / p) for p in ("host", "firmware"))}
LIMIT = 2.5


def seconds(arguments: list[str]) -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, *arguments], env=ENV, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def ratios(of: dict[str, list[str]], rounds: int) -> dict[str, float]:
    """Medians over that of importing click, all taken in the same rounds."""
    of = {"": ["-c", "import click"], **of}
    taken: dict[str, list[float]] = {name: [] for name in of}
    for _ in range(rounds + 1):
        for name, arguments in of.items():
            taken[name].append(seconds(arguments))
    # the first round brings files into memory
    base = median(taken[""][1:])
    return {name: median(times[1:]) / base for name, times in taken.items() if name}


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    sys.path[:0] = [str(ROOT / "host")]
    from steadyturn.cli.table import COMMANDS

    program = ["-m", "steadyturn"]
    first = ratios({"nothing": ["-c", ""], "--help": [*program, "--help"],
                    "alone": program}, rounds)
    print(f"python alone       {first['nothing']:.2f} x importing click")
    print(f"steadyturn --help  {first['--help']:.2f} x importing click (limit {LIMIT})")
    print(f"steadyturn         {first['alone']:.2f} x")
    each = ratios({name: [*program, name, "--help"] for _, name, _, _ in COMMANDS},
                  max(3, rounds // 3))
    for name, ratio in each.items():
        print(f"  {name + ' --help':16} {ratio:.2f} x")
    if first["--help"] > LIMIT:
        sys.exit(f"--help takes {first['--help']:.2f} times as long as importing click")


if __name__ == "__main__":
    main()
