"""How long sharing out takes, and how near to the proven bound it ends. Writes choice_results.md beside it.

Instances are drawn at random: lengths 3 to 40 m, routes 5 to 45 m, losses of thin to thick line on HF to UHF, three
sections to a run at most.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from linewright.choice.sharing import Sharing, solve

SIZES = ((10, 4, 0), (20, 6, 2), (40, 12, 3), (60, 20, 0), (60, 20, 3))
SECONDS = 5.4
"""What the first of the two searches of ``share_pieces`` may take."""
SEEDS = 3
RESULTS = Path(__file__).with_name("choice_results.md")


def instance(pieces: int, runs: int, offers: int, seed: int) -> Sharing:
    rng = np.random.default_rng(seed)
    length, route = rng.uniform(3, 40, pieces).round(1), rng.uniform(5, 45, runs).round(1)
    per_m, steep = rng.uniform(0.03, 0.25, pieces), rng.uniform(0.3, 6, runs)
    return Sharing(
        length, route, (per_m * length)[:, None] * steep, 0.05 * steep, 0.1 * steep,
        rng.uniform(0.03, 0.1, offers)[:, None] * steep, rng.uniform(1, 4, offers), np.full(offers, 8.0), 200.0, 3,
    )  # fmt: skip


def row(pieces: int, runs: int, offers: int) -> str:
    took, gaps, totals = [], [], []
    for seed in range(SEEDS):
        began = time.perf_counter()
        found = solve(instance(pieces, runs, offers, seed), SECONDS)
        took.append(time.perf_counter() - began)
        gaps.append(max(0.0, found.objective_db - found.bound_db))
        totals.append(found.objective_db)
    gap = ", ".join("proved" if g < 1e-3 else f"{g:.2f} of {total:.0f}" for g, total in zip(gaps, totals, strict=True))
    return f"| {pieces} | {runs} | {offers} | {', '.join(f'{t:.1f}' for t in took)} | {gap} |"


def main() -> None:
    rows = [row(*size) for size in SIZES]
    head = "| pieces | runs | lines on offer | seconds | gap to the proven bound, dB |"
    table = "\n".join([head, "|--:|--:|--:|---|---|", *rows])
    words = (
        "# Sharing out: time against pieces and runs\n\nWritten by `choice_speed.py`: three random instances a size,"
        f"\none search of at most {SECONDS:g} s each. A sharing-out makes two such searches and ends below 10 s.\n\n"
    )
    RESULTS.write_text(f"{words}{table}\n", encoding="utf-8")
    print(table)


if __name__ == "__main__":
    main()
