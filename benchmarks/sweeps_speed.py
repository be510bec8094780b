"""A sweep file of 100,000 points from its bytes to the report, beside scikit-rf's own read of the same file.

``python benchmarks/sweeps_speed.py``; one process, medians of five, the first call of each left out.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from linewright.catalogue import line_type
from linewright.verbs.sweep import read_sweep

POINTS, LENGTH_M = 100_000, 30.0


def write_sample(path: Path) -> None:
    """Write a sound line with a little noise as a two-port file."""
    rng, f = np.random.default_rng(1), np.linspace(1e6, 1e9, POINTS)
    law = line_type("RG-213/U").law
    through = np.exp(-LENGTH_M * law.db_per_m(f) / 8.686 - 2j * np.pi * f * LENGTH_M / (0.66 * 299_792_458.0))
    s = 1e-3 * (rng.standard_normal((POINTS, 4)) + 1j * rng.standard_normal((POINTS, 4)))
    s[:, 1:3] += through[:, None]
    np.savetxt(path, np.column_stack([f, s.view(np.float64)]), fmt="%.9g", header="HZ S RI R 50", comments="# ")


def median_s(work: Callable[[], object], times: int = 5) -> float:
    """Return the median time of a call, the first left out."""
    work()
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def main() -> None:
    """Time both and print their ratio."""
    import skrf

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.s2p"
        write_sample(path)
        theirs = median_s(lambda: skrf.Network(str(path)))
        ours = median_s(lambda: read_sweep([path], ["through"]))
    print(f"scikit-rf reads it in {theirs:.3f} s; the report takes {ours:.3f} s, {ours / theirs:.2f} times that.")


if __name__ == "__main__":
    main()
