"""Prove near-end tests with known truth and print what came of it beside the plain formula.

python benchmarks/one_end.py [--worlds 400] [--seed 1] [--write]
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from numpy.typing import NDArray

from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.inference.one_end.posterior import frequency_likelihoods
from linewright.inference.one_end.prove import prove_test
from one_end_worlds import KINDS, World, world

HERE = Path(__file__).parent
COLUMNS = ("truth", "loss", "low", "high", "hand", "known", "misread")
ANALYSER_ONLY = ("antenna", "resonance")
"""Methods that take a sweep or a resistance: no crude bridge shows them."""
LEAST, MOST = 0.94, 0.98
Table = NDArray[np.float64]


def plain_db(reading: OneEndReading, test: OneEndTest) -> float:
    """Return the loss by the plain formula, written apart from the engine's own."""
    if reading.quantity == "resistance_ohm":
        z0 = test.impedance_ohm or (test.line.impedance_ohm if test.line else 50.0)
        ratio = min(reading.value / z0, z0 / reading.value)
        return float(8.685889638 * np.arctanh(ratio)) if ratio < 1 else float("nan")
    if not np.isfinite(reading.value):
        return float("nan")
    loss_db = _return_loss_db(reading.value, reading.quantity) / 2
    if reading.far_end != "load":
        return loss_db
    if reading.direct is not None:
        return loss_db - _return_loss_db(reading.direct, reading.quantity) / 2
    return loss_db - _return_loss_db(reading.load_swr or 1.0, "swr") / 2


def _return_loss_db(value: float, quantity: str) -> float:
    if quantity == "return_loss_db":
        return value
    return float(20 * np.log10((value + 1) / (value - 1))) if value > 1 else float("nan")


def by_hand_db(test: OneEndTest, frequency_hz: float) -> float:
    """Return the mean of the plain figures at one frequency."""
    found = [plain_db(r, test) for r in test.readings if r.frequency_hz == frequency_hz]
    sound = [x for x in found if np.isfinite(x)]
    return float(np.mean(sound)) if sound else float("nan")


@dataclass(frozen=True, slots=True)
class Tally:
    """A row a loss (COLUMNS); a row a test of known type (RATIO); a row a reading (READING); seconds and readings."""

    losses: Table
    ratios: Table
    readings: Table
    seconds: Table

    @classmethod
    def join(cls, some: Sequence[Tally]) -> Tally:
        """Return several tallies as one."""
        return cls(*(np.concatenate([getattr(t, n) for t in some]) for n in cls.__slots__))


def measure(kind: str, worlds: int, seed: int, *, analyser: bool, several: bool) -> Tally:
    """Prove a set of worlds and return what came of it."""
    rows, ratios, readings, seconds = [], [], [], []
    for i in range(worlds):
        rng = np.random.default_rng([seed, KINDS.index(kind), analyser, several, i])
        w = world(rng, kind, analyser=analyser, several=several)
        start = time.process_time()
        result = prove_test(w.test)
        seconds.append((time.process_time() - start, len(w.test.readings)))
        rows += [_row(w, x.frequency_hz, (x.loss_db, x.loss_db_low, x.loss_db_high)) for x in result.losses]
        readings += [(float(c.row in w.misread), c.p_wrong, float(c.checked)) for c in result.readings]
        if result.ratio is not None:
            true = np.exp(np.mean([np.log(w.loss_db[f] / new) for f, new in w.new_db.items() if new]))
            ratios.append((float(true), result.p_worse_1_1, result.ratio_low, result.ratio_high))
    return Tally(np.array(rows), np.array(ratios).reshape(-1, 4), np.array(readings), np.array(seconds))


def _row(w: World, f: float, said: tuple[float, float, float]) -> tuple[float, ...]:
    return (w.loss_db[f], *said, by_hand_db(w.test, f), float(w.new_db[f] is not None), float(bool(w.misread)))


def one_by_one(kind: str, worlds: int, seed: int, *, analyser: bool) -> list[tuple[float, float]]:
    """Return, per frequency, how many standard deviations the truth lies from the likelihood's mean, and sd/truth."""
    found = []
    for i in range(worlds):
        rng = np.random.default_rng([seed, KINDS.index(kind), analyser, True, i])
        w = world(rng, kind, analyser=analyser, several=True)
        if not w.misread:
            said = [(x, w.loss_db[x.frequency_hz]) for x in frequency_likelihoods(w.test)]
            found += [((true - x.mean_db) / x.sd_db, x.sd_db / true) for x, true in said]
    return found


def one_by_one_table(worlds: int, seed: int) -> list[str]:
    """Return how well mean and standard deviation of each likelihood stand for it, for whoever joins them."""
    lines = [
        "## Likelihoods one by one (mean and sd, nothing misread)", "",
        "| method | instrument | within 1.96 sd | rms of error over sd | median of it | median sd over loss |",
        "|---|---|---|---|---|---|",
    ]  # fmt: skip
    for kind in KINDS:
        for analyser in (True,) if kind in ANALYSER_ONLY else (True, False):
            z, width = np.array(one_by_one(kind, worlds, seed, analyser=analyser)).T
            lines.append(
                f"| {kind} | {'analyser' if analyser else 'bridge'} | {np.mean(np.abs(z) < 1.96):.3f} |"
                f" {np.sqrt(np.mean(z**2)):.2f} | {np.median(z):+.2f} | {np.median(width):.2f} |"
            )
    return lines


def scores(t: Table) -> dict[str, float]:
    """Return the scores of a table."""
    truth, loss, low, high, hand, known, misread = t.T
    both = np.isfinite(hand)
    clean = both & (misread == 0) & (known == 0)
    return {
        "losses": len(t),
        "coverage": float(np.mean((truth >= low) & (truth <= high))),
        "coverage, type unknown": float(np.mean(((truth >= low) & (truth <= high))[known == 0])),
        "rmse": _rmse((loss - truth)[both]),
        "rmse by hand": _rmse((hand - truth)[both]),
        "rmse, type unknown": _rmse((loss - truth)[both & (known == 0)]),
        "rmse by hand, type unknown": _rmse((hand - truth)[both & (known == 0)]),
        "rmse, nothing misread": _rmse((loss - truth)[clean]),
        "rmse by hand, nothing misread": _rmse((hand - truth)[clean]),
        "median error": float(np.median(np.abs(loss - truth)[both])),
        "median error by hand": float(np.median(np.abs(hand - truth)[both])),
        "median relative width": float(np.median((high - low) / loss)),
    }


def _rmse(error: Table) -> float:
    return float(np.sqrt(np.mean(error**2))) if len(error) else float("nan")


def method_table(found: dict[str, Table]) -> list[str]:
    """Return what was asked beside what was measured, a row a method."""
    lines = [
        "| method | losses | coverage | 0.94 to 0.98 | RMSE, dB | by hand, dB | not worse |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, table in found.items():
        s = scores(table)
        inside = "met" if LEAST <= round(s["coverage"], 3) <= MOST else "NOT MET"
        better = "met" if s["rmse"] <= s["rmse by hand"] else "NOT MET"
        lines.append(
            f"| {name} | {s['losses']:.0f} | {s['coverage']:.3f} | {inside} | {s['rmse']:.3f} |"
            f" {s['rmse by hand']:.3f} | {better} |"
        )
    return lines


def detail_table(found: dict[str, Table]) -> list[str]:
    """Return every score, a column a set of worlds."""
    columns = {name: scores(t) for name, t in found.items()}
    names = list(next(iter(columns.values())))
    lines = ["| | " + " | ".join(columns) + " |", "|---" * (len(columns) + 1) + "|"]
    for name in names:
        digits = 0 if name == "losses" else 3
        lines.append(f"| {name} | " + " | ".join(f"{s[name]:.{digits}f}" for s in columns.values()) + " |")
    return lines


def verdict_table(found: dict[str, Tally]) -> list[str]:
    """Return how far verdicts and doubts of readings can be trusted, a row a method."""
    lines = [
        "## Verdicts on lines of known type, and misread readings", "",
        "| method | tests | ratio covered | called worse than 1.1x (P > 0.95) where it is not |"
        " where it is 1.4x to 2x | misread found (P > 0.8, checked) | of those flagged, misread |",
        "|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    for name, t in found.items():
        true, p, low, high = t.ratios.T
        wrong, p_wrong, checked = t.readings.T
        flagged = p_wrong > 0.8
        cells = (
            f"{len(true)}", f"{np.mean((true >= low) & (true <= high)):.3f}", _share(p > 0.95, true <= 1.1),
            _share(p > 0.95, (true >= 1.4) & (true <= 2.0)), _share(flagged, (wrong > 0) & (checked > 0)),
            _share(wrong > 0, flagged),
        )  # fmt: skip
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return lines


def _share(what: NDArray[np.bool_], among: NDArray[np.bool_]) -> str:
    return f"{np.mean(what[among]):.3f} of {among.sum()}" if among.any() else "none"


def report(worlds: int, seed: int, say: Callable[[str], None]) -> list[str]:
    """Run everything and return the text."""
    lines = [f"# Near-end tests with known truth: {worlds} worlds a set; seed {seed}", "", *INTRODUCTION, ""]
    methods: dict[str, Tally] = {}
    details = []
    for kind in KINDS:
        sets = {}
        for analyser in (True,) if kind in ANALYSER_ONLY else (True, False):
            for several in (False, True):
                name = f"{'analyser' if analyser else 'bridge'}, {'2 to 5 frequencies' if several else '1 frequency'}"
                say(f"{kind}: {name}")
                sets[name] = measure(kind, worlds, seed, analyser=analyser, several=several)
        methods[kind] = Tally.join(list(sets.values()))
        details += ["", f"## {kind}", "", *detail_table({name: t.losses for name, t in sets.items()})]
    seconds = np.concatenate([t.seconds for t in methods.values()])
    return [
        *lines, *method_table({name: t.losses for name, t in methods.items()}), "", *time_line(seconds), "",
        *verdict_table(methods), *details, "", *one_by_one_table(worlds, seed),
    ]  # fmt: skip


INTRODUCTION = (
    "Truth: the matched one-way loss of the line with the heat of its connectors, up to 15 dB. Half the tests know",
    "type and length. 2 % of the readings are misread. The generator (`one_end_worlds.py`) shares nothing with the",
    "engine but its nouns. By hand: half the return loss, its mean over open and short; half the difference of two",
    "return losses for a load; 8.686 atanh(R/Z0) at resonance; an antenna taken to reflect all.",
)


def time_line(seconds: Table) -> list[str]:
    """Return median, 95th percentile and longest processor time, on one core."""
    ms, n = 1e3 * seconds[:, 0], seconds[:, 1]
    median, p95 = np.percentile(ms, [50, 95])
    mark = "met" if median < 20 else "NOT MET"
    return [
        f"Warm processor time a test: median {median:.1f} ms (target below 20 ms: {mark}),"
        f" 95th percentile {p95:.0f} ms, longest {ms.max():.0f} ms;"
        f" {np.median(n):.0f} readings in the median test, {n.max():.0f} at most."
    ]


def main() -> None:
    """Parse, run, print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--worlds", type=int, default=400)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--write", action="store_true", help="write benchmarks/one_end_results.md")
    args = ask.parse_args()
    text = "\n".join(report(args.worlds, args.seed, lambda what: print(what, file=sys.stderr, flush=True)))
    print(text)
    if args.write:
        (HERE / "one_end_results.md").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
