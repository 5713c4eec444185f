"""Every benchmark, one after the other; each prints ratios measured in one run.

    python tests/speed/run.py

These machines are shared: quote ratios and medians, not single times.
"""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
BENCHMARKS = ("point_speed.py", "batch_speed.py", "sizing_speed.py",
              "gears_speed.py", "dynamics_speed.py", "tick_ratio.py", "twin_speed.py",
              "decode_speed.py", "pull_speed.py", "decode_memory.py", "start_speed.py",
              "library_speed.py", "bench_speed.py", "learn_speed.py")


def main():
    failed = []
    for name in BENCHMARKS:
        print(f"== {name}", flush=True)
        if subprocess.run([sys.executable, str(HERE / name)], check=False).returncode:
            failed.append(name)
        print()
    if failed:
        sys.exit(f"failed: {', '.join(failed)}")


if __name__ == "__main__":
    main()
