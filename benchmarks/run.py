"""Prove benches with known truth and print what came of it beside what was asked.

python benchmarks/run.py [--worlds 500] [--kinds field,nominal] [--jobs 2] [--seed 1] [--write]
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from linewright.inference.bench.prove import prove
from score import VERDICTS, Tally, reliability, scores, tally, verdict_table
from worlds import World, world

HERE = Path(__file__).parent
#: Kinds whose assumptions are wrong on purpose: coverage may fall, but not below 0.93.
WRONG = ("nonlinear", "lawbreak", "nonlinear-nominal", "lawbreak-nominal")
DEFAULT = ("field", "nominal", "clean", *WRONG, "noisy", "blunders15", "smallslips", "single", "zeros")
#: The kinds held to the targets; drawn so many times as often, since benches come in good and bad clusters.
MAIN, MAIN_TIMES = ("field", "nominal"), 4
#: Numbers of the kinds in the random streams: append, never reorder.
NUMBERED = (
    "blunders15", "clean", "exact", "field", "lawbreak", "lawbreak-nominal", "noisy", "nominal", "nonlinear",
    "nonlinear-nominal", "single", "smallslips", "zeros",
)  # fmt: skip
Target = tuple[str, str, float, float]
TARGETS: tuple[Target, ...] = (
    ("coverage of the 95 % interval", "coverage", 0.94, 0.985),
    ("RMSE over by hand", "rmse over by hand", 0.0, 0.30),
    ("false 'worse than 1.1x' at P > 0.95", "false worse, ratio to 1.10", 0.0, 0.01),
    ("finds a 1.4 to 1.6x cable", "power 1.4 to 1.6", 0.86, 1.0),
    ("blunder AUC, readings checked", "blunder auc, checked", 0.995, 1.0),
    ("blunder precision", "blunder precision", 0.95, 1.0),
)


def make(kind: str, number: int, seed: int) -> World:
    """Return world ``number`` of a kind: the same for the same seed, whatever else is drawn."""
    return world(np.random.default_rng([seed, NUMBERED.index(kind), number]), kind)


def _one(task: tuple[str, int, int]) -> Tally | str:
    w = make(*task)
    try:
        return tally(w, prove(w.sheet))
    except Exception as error:
        return f"{task[0]} world {task[1]}: {type(error).__name__}: {error}"


def measure(kind: str, worlds: int, seed: int, jobs: int) -> tuple[Tally, list[str]]:
    """Return the joined tally of many worlds, and what failed."""
    tasks = [(kind, i, seed) for i in range(worlds)]
    if jobs == 1:
        got = [_one(t) for t in tasks]
    else:
        with ProcessPoolExecutor(jobs) as pool:
            got = list(pool.map(_one, tasks, chunksize=8))
    return Tally.join(t for t in got if isinstance(t, Tally)), [t for t in got if isinstance(t, str)]


def times_s(kind: str, worlds: int, seed: int) -> np.ndarray:
    """Return warm single-process seconds per bench, one column of seconds and one of readings."""
    sheets = [make(kind, i, seed).sheet for i in range(worlds)]
    prove(sheets[0])
    out = []
    for sheet in sheets:
        start = time.perf_counter()
        prove(sheet)
        out.append((time.perf_counter() - start, len(sheet.readings)))
    return np.array(out)


def target_table(s: dict[str, float]) -> list[str]:
    """Return the lines that set what was measured beside what was asked."""
    lines = ["| asked | measured | target | |", "|---|---|---|---|"]
    for name, key, low, high in TARGETS:
        wanted = (
            f"{low:g} to {high:g}"
            if low > 0 and high < 1
            else (f"at least {low:g}" if low > 0 else f"at most {high:g}")
        )
        lines.append(f"| {name} | {s[key]:.4f} | {wanted} | {'met' if low <= s[key] <= high else 'NOT MET'} |")
    return lines


def kind_table(results: dict[str, dict[str, float]]) -> list[str]:
    """Return every score, one column a kind of world."""
    kinds = list(results)
    names = list(next(iter(results.values())))
    lines = ["| | " + " | ".join(kinds) + " |", "|---" * (len(kinds) + 1) + "|"]
    for name in names:
        digits = 0 if name in ("losses", "readings", "pieces") else 3
        cells = [f"{results[k][name]:.{digits}f}" for k in kinds]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return lines


def reliability_table(t: Tally) -> list[str]:
    """Return how often P(worse than 1.1x) came true, and verdicts against the true ratio."""
    lines = ["| P(worse than 1.1x) | losses | mean P | true |", "|---|---|---|---|"]
    lines += [f"| {name} | {n} | {p:.3f} | {true:.3f} |" for name, n, p, true in reliability(t)]
    lines += ["", "| true ratio | " + " | ".join(VERDICTS) + " |", "|---" * 5 + "|"]
    names = ("to 1.05", "1.05 to 1.10", "1.10 to 1.25", "1.25 to 1.60", "above 1.60")
    lines += [
        f"| {n} | " + " | ".join(str(c) for c in row) + " |" for n, row in zip(names, verdict_table(t), strict=True)
    ]
    return lines


def time_table(seconds: np.ndarray) -> list[str]:
    """Return median, 95th percentile and longest time."""
    ms, n = seconds[:, 0] * 1e3, seconds[:, 1]
    worst = int(np.argmax(ms))
    median, p95 = np.percentile(ms, [50, 95])
    mark = "met" if median < 50 else "NOT MET"
    return [
        f"Warm time a bench: median {median:.1f} ms (target below 50 ms: {mark}), 95th percentile {p95:.0f} ms, "
        f"longest {ms[worst]:.0f} ms ({n[worst]:.0f} readings)."
    ]


def report(kinds: list[str], worlds: int, seed: int, jobs: int, timed: int) -> list[str]:
    """Run everything and return the text."""
    many = f"{worlds} worlds a kind, {worlds * MAIN_TIMES} of {' and '.join(MAIN)}"
    lines = [f"# Benches with known truth: {many}; seed {seed}", ""]
    results, failures, tallies = {}, [], {}
    for kind in kinds:
        print(f"{kind} ...", file=sys.stderr, flush=True)
        tallies[kind], failed = measure(kind, worlds * (MAIN_TIMES if kind in MAIN else 1), seed, jobs)
        results[kind] = scores(tallies[kind])
        failures += failed
    for kind in [k for k in MAIN if k in kinds]:
        lines += [
            f"## {kind}: what was asked",
            "",
            *target_table(results[kind]),
            "",
            *reliability_table(tallies[kind]),
            "",
        ]
    for kind in [k for k in WRONG if k in kinds]:
        c = results[kind]["coverage"]
        lines.append(
            f"Coverage under wrong assumptions, {kind}: {c:.3f} (target 0.93: {'met' if c >= 0.93 else 'NOT MET'})."
        )
    lines += ["", *kind_table(results), ""]
    lines += time_table(times_s(kinds[0], timed, seed)) if timed else []
    return [*lines, "", f"Failures: {len(failures)}.", *failures[:10]]


def main() -> None:
    """Parse, run, print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--worlds", type=int, default=500)
    ask.add_argument("--kinds", default=",".join(DEFAULT))
    ask.add_argument("--jobs", type=int, default=2)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--timed", type=int, default=100, help="benches timed in a single warm process; 0 for none")
    ask.add_argument("--write", action="store_true", help="write benchmarks/results.md")
    args = ask.parse_args()
    text = "\n".join(report(args.kinds.split(","), args.worlds, args.seed, args.jobs, args.timed))
    print(text)
    if args.write:
        (HERE / "results.md").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
