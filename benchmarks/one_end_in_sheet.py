"""Tests from one end on a bench sheet, beside the same tests by themselves: worlds of known truth.

``python benchmarks/one_end_in_sheet.py --worlds 300 --write`` keeps the table in ``one_end_in_sheet_results.md``.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.inference.bench.prove import prove
from linewright.verbs.one_end import prove_one_end
from one_end_worlds import KINDS, World, world

RESULTS = Path(__file__).with_name("one_end_in_sheet_results.md")
HEAD = """# Tests from one end on a bench sheet

Lines of known type and length, {worlds} worlds drawn a kind, seed {seed}; the generator is that of `one_end.py`. On the
sheet each method at each frequency is one loss with its uncertainty, weighed by the bench engine with all else there.

| method | losses | coverage on the sheet | by itself | RMSE on the sheet, dB | by itself, dB | median ms |
|---|---|---|---|---|---|---|
"""


def both(w: World) -> tuple[list[tuple[float, bool]], list[tuple[float, bool]], float]:
    """Return (error, covered) of every loss on the sheet and by the test itself, and the sheet's processor time."""
    test = replace(w.test, tag="x")
    piece = Piece("x", test.length_m, test.line, test.connectors)
    start = time.process_time()
    result = prove(BenchSheet("s", (), (piece,), (), one_end=(test,)))
    spent = time.process_time() - start
    said = [result.losses, prove_one_end(test).losses]
    return *(
        [
            (x.loss_db - w.loss_db[x.frequency_hz], x.loss_db_low <= w.loss_db[x.frequency_hz] <= x.loss_db_high)
            for x in some
        ]
        for some in said
    ), spent


def row(kind: str, worlds: int, seed: int) -> str:
    """Return one line of the table."""
    rng = np.random.default_rng(seed)
    found = []
    for k in range(worlds):
        w = world(rng, kind, analyser=bool(k % 2) or kind in ("antenna", "resonance"), several=k % 3 > 0)
        if w.test.line is not None:
            found.append(both(w))
    sheet, alone = (np.array([pair for f in found for pair in f[i]]) for i in (0, 1))
    rmse = [float(np.sqrt(np.mean(some[:, 0] ** 2))) for some in (sheet, alone)]
    return (
        f"| {kind} | {len(sheet)} | {sheet[:, 1].mean():.3f} | {alone[:, 1].mean():.3f} | {rmse[0]:.3f} |"
        f" {rmse[1]:.3f} | {1e3 * float(np.median([f[2] for f in found])):.0f} |"
    )


def main() -> None:
    """Score both ways and print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--worlds", type=int, default=300)
    asked.add_argument("--seed", type=int, default=21)
    asked.add_argument("--write", action="store_true")
    given = asked.parse_args()
    rows = [row(kind, given.worlds, given.seed) for kind in KINDS]
    text = HEAD.format(worlds=given.worlds, seed=given.seed) + "\n".join(rows) + "\n"
    print(text)
    if given.write:
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
