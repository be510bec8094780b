"""How much processor time a bench takes as it grows, from 20 readings to 2,000, and at 10,000.

    python benchmarks/scaling.py [--largest 2000] [--write]

Two ways to grow: more pieces on the same meters and bands (a club day), or the same pieces read again and again.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from bench import Sizes
from linewright.core.nouns.bench import BenchSheet
from linewright.inference.bench.prove import prove
from worlds import world

OUT = Path(__file__).parent / "scaling.json"
TARGETS = (20, 50, 100, 200, 500, 1000, 2000, 10_000)


def grown(readings: int, way: str) -> BenchSheet:
    """Return a bench of about so many readings, grown by "pieces" or by "repeats"."""
    dials, bands = (1, 2) if readings < 50 else (2, 3) if readings < 200 else (3, 4)
    each = readings / (dials * bands)
    sizes = (
        Sizes(dials, bands, max(1, round(each / 2) - 1), 2)
        if way == "pieces"
        else Sizes(dials, bands, 3, round(each / 4))
    )
    return min(
        (world(np.random.default_rng([11, number]), "field", sizes).sheet for number in range(6)),
        key=lambda sheet: abs(len(sheet.readings) - readings),
    )


def timed_s(sheet: BenchSheet) -> float:
    """Return seconds of processor time of one warm run: the median of three where it is short."""
    seconds = []
    for _ in range(3):
        start = time.process_time()
        prove(sheet)
        seconds.append(time.process_time() - start)
        if seconds[0] > 5:
            break
    return float(np.median(seconds))


def main() -> None:
    """Grow benches, time them, print a table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--largest", type=int, default=2000)
    ask.add_argument("--write", action="store_true", help="keep the figures in scaling.json")
    args = ask.parse_args()
    prove(grown(20, "pieces"))
    rows = []
    print("| grown by | readings | pieces | blocks | time | per reading | order of growth |\n" + "|---" * 7 + "|")
    for way in ("pieces", "repeats"):
        before: tuple[int, float] | None = None
        for target in (t for t in TARGETS if t <= args.largest):
            sheet = grown(target, way)
            n, seconds = len(sheet.readings), timed_s(sheet)
            order = np.log(seconds / before[1]) / np.log(n / before[0]) if before else float("nan")
            blocks = len({(r.meter, r.frequency_hz) for r in sheet.readings})
            shown = f"{seconds * 1e3:.0f} ms" if seconds < 1 else f"{seconds:.1f} s"
            growth = f"{order:.1f}" if before else ""
            print(
                f"| {way} | {n} | {len(sheet.pieces)} | {blocks} | {shown} | {seconds / n * 1e3:.2f} ms | {growth} |",
                flush=True,
            )
            rows.append({"way": way, "readings": n, "pieces": len(sheet.pieces), "blocks": blocks, "seconds": seconds})
            before = (n, seconds)
    if args.write:
        OUT.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
