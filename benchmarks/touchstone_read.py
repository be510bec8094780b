"""How long a Touchstone file takes to read, beside scikit-rf's own reading of it.

    python benchmarks/touchstone_read.py [--points 100000] [--ports 2] [--rounds 9]

The two readers take turns, so that a busy moment of the machine meets both; medians are shown. The target is at most
1.5 times scikit-rf's own read at 100,000 points of a two-port.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from linewright.files.touchstone import read_touchstone

MOST_TIMES = 1.5


def written(folder: Path, points: int, ports: int) -> Path:
    """Write a file of random numbers as an analyser prints them, and return its path."""
    rng = np.random.default_rng(7)
    frequency_hz = np.linspace(1e6, 3e9, points)
    numbers = rng.uniform(-0.7, 0.7, (points, ports * ports * 2))
    path = folder / f"sweep.s{ports}p"
    with path.open("w", encoding="ascii") as out:
        out.write("# Hz S RI R 50\n")
        for f, row in zip(frequency_hz, numbers, strict=True):
            pairs = [f"{x:.9f}" for x in row]
            # Version 1: a two-port's point on one row, a row of the matrix on each row from three ports on.
            each = len(pairs) if ports < 3 else 2 * ports
            out.write(f"{f:.3f} " + "\n".join(" ".join(pairs[i : i + each]) for i in range(0, len(pairs), each)) + "\n")
    return path


def seconds(read: Callable[[Path], object], path: Path) -> float:
    """Return how long one reading takes."""
    start = time.perf_counter()
    read(path)
    return time.perf_counter() - start


def main() -> None:
    """Write a file, read it both ways in turn, print the medians."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--points", type=int, default=100_000)
    ask.add_argument("--ports", type=int, default=2)
    ask.add_argument("--rounds", type=int, default=9)
    asked = ask.parse_args()
    import skrf

    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), asked.points, asked.ports)
        turns = [(seconds(read_touchstone, path), seconds(skrf.Network, path)) for _ in range(asked.rounds + 1)][1:]
    ours, theirs = np.median(turns, axis=0)
    print(f"{asked.points} points, {asked.ports} ports, median of {asked.rounds}")
    print(f"guarded read    {ours:.3f} s")
    print(f"scikit-rf alone {theirs:.3f} s")
    print(f"ratio           {ours / theirs:.2f} (at most {MOST_TIMES})")


if __name__ == "__main__":
    main()
