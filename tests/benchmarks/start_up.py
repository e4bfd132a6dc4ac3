"""How long `voicenotes --help` takes beside `import typer` in the same Python; prints the ratio.

    python tests/benchmarks/start_up.py [rounds]

Both are started in turn, so that a busy machine slows both alike; the medians are compared. The aim is
a ratio of at most 3.
"""

from __future__ import annotations

import subprocess
import sys
import time
from statistics import median

COMMANDS = {
    "import typer": [sys.executable, "-c", "import typer"],
    "voicenotes --help": [sys.executable, "-m", "voicenotes", "--help"],
}


def seconds_of(command: list[str]) -> float:
    """Wall time of one run; CalledProcessError when it fails."""
    begin = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    for command in COMMANDS.values():
        seconds_of(command)
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(rounds):
        for name, command in COMMANDS.items():
            times[name].append(seconds_of(command))
    typer, ours = (median(times[name]) for name in COMMANDS)
    for name, taken in times.items():
        print(f"{name:<18} median {median(taken) * 1000:6.1f} ms, best {min(taken) * 1000:6.1f} ms")
    print(f"ratio {ours / typer:.2f}")


if __name__ == "__main__":
    main()
