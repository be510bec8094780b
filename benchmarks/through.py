"""See through lines with known truth and print what came of it beside what was asked.

python benchmarks/through.py [--worlds 2000] [--curves 300] [--flat 300] [--seed 1] [--write]
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from linewright.core.nouns.through import Estimate, FlatWarning, Seen, ThroughResult
from linewright.inference.load.see import behind_loss, through
from linewright.inference.load.seen import seen_impedance, seen_return_loss, seen_swr
from through_worlds import Bridge, Cable, Impedance, draw_antenna, draw_bridge, reflection, rounded_swr

HERE = Path(__file__).parent
KINDS = ("SWR meter, step 0.1", "SWR meter, step 0.01", "return loss, step 0.1 dB", "analyser")
#: Name, span swept, band of the resonance: MHz.
SPANS = (
    ("7.0 to 7.2", (7.0, 7.2), (7.0, 7.2)),
    ("6.0 to 8.2", (6.0, 8.2), (7.0, 7.2)),
    ("14.0 to 14.35", (14.0, 14.35), (14.0, 14.35)),
    ("12.5 to 15.9", (12.5, 15.9), (14.0, 14.35)),
    ("28.0 to 29.7", (28.0, 29.7), (28.0, 29.7)),
    ("26 to 32", (26.0, 32.0), (28.0, 29.7)),
    ("144 to 146", (144.0, 146.0), (144.0, 146.0)),
    ("134 to 156", (134.0, 156.0), (144.0, 146.0)),
    ("430 to 440", (430.0, 440.0), (430.0, 440.0)),
    ("400 to 470", (400.0, 470.0), (430.0, 440.0)),
)
BELIEVED_DB = 1.0
HIDDEN = (1.0, 2.0, 4.0, 7.0, 10.0)


def _seen(rng: np.random.Generator, kind: str, bridge: Bridge, shown: np.ndarray, f: np.ndarray) -> Seen:
    read = bridge.reads(rng, reflection(shown), f)
    read = read * np.minimum(1.0, 0.995 / np.abs(read))
    if kind == "analyser":
        return seen_impedance(50 * (1 + read) / (1 - read), 0.1, frequency_hz=f)
    if kind.startswith("return"):
        return seen_return_loss(np.maximum(np.round(-20 * np.log10(np.abs(read)), 1), 0.0), 0.1, frequency_hz=f)
    step = 0.1 if kind.endswith("0.1") else 0.01
    return seen_swr(rounded_swr(read, step), step, frequency_hz=f)


def _bridge(rng: np.random.Generator, kind: str) -> Bridge:
    analyser = kind == "analyser"
    return draw_bridge(rng, 40.0 if analyser else 25.0, analyser=analyser)


def _cable(rng: np.random.Generator, loss_db: float, at_hz: float) -> Cable:
    """Return a cable of this loss, as long as cables of a usual attenuation have to be for it."""
    per_m = 0.01 * np.sqrt(at_hz / 1e6) * np.exp(rng.uniform(np.log(0.4), np.log(1.8)))
    z0, vf = rng.normal(50.0, 1.0), rng.uniform(0.66, 0.88)
    return Cable(loss_db, at_hz, rng.uniform(0.6, 0.98), z0, vf, loss_db / per_m)


def singles(kind: str, worlds: int, seed: int) -> Iterator[tuple[float, ThroughResult]]:
    """Yield the true |Γ| of an antenna and what was made of one reading of it, many times."""
    for number in range(worlds):
        rng = np.random.default_rng([seed, KINDS.index(kind), number])
        f = np.array([float(rng.choice([7.1e6, 14.2e6, 28.5e6, 145e6, 435e6]))])
        antenna = draw_antenna(rng, f[0] * np.exp(rng.normal(0, rng.choice([0.02, 0.15]))))
        loss, half = np.exp(rng.uniform(np.log(0.3), np.log(7.0))), rng.uniform(0.05, 0.25)
        cable = _cable(rng, loss, f[0])
        stated = max(loss * (1 + half / 1.96 * rng.standard_normal()), 0.05)
        seen = _seen(rng, kind, _bridge(rng, kind), cable.seen(antenna(f), f), f)
        line = behind_loss(stated, half * stated, at_hz=f[0])
        yield float(np.abs(reflection(antenna(f)))[0]), through(seen, line)


def single_table(worlds: int, seed: int) -> list[str]:
    """Return how single readings came out."""
    lines = [
        "| reading | coverage of antenna \\|Γ\\| | plain formula impossible | RMSE \\|Γ\\| | RMSE plain, cut at 1 |"
        " median width | line tightened | contradictions |",
        "|---" * 8 + "|",
    ]
    for kind in KINDS:
        rows = []
        for truth, r in singles(kind, worlds, seed):
            g = r.antenna_reflection
            rows.append((
                truth, g.low, g.high, np.nan if g.value is None else g.value, r.plain_reflection, r.loss_tightened,
                r.contradiction,
            ))  # fmt: skip
        truth, low, high, value, plain, tight, contra = np.array(rows, float).T
        ok = np.isfinite(value)
        cover = ((low <= truth) & (truth <= high)).mean()
        mine, theirs = _rms((value - truth)[ok]), _rms((np.minimum(plain, 1) - truth)[ok])
        cells = (f"{cover:.3f}", f"{(plain > 1).mean():.3f}", f"{mine:.3f}", f"{theirs:.3f}",
                 f"{np.median(high - low):.3f}", f"{tight.mean():.3f}", f"{contra.mean():.4f}")  # fmt: skip
        lines.append(f"| {kind} | " + " | ".join(cells) + " |")
    return lines


def _rms(error: np.ndarray) -> float:
    return float(np.sqrt(np.mean(error**2)))


def _truths(antenna: Impedance, f: np.ndarray) -> tuple[float, float, float]:
    """Return the lowest SWR, where it lies, and the width at SWR 2 around it, on a fine grid; nan where not inside."""
    fine = np.linspace(f[0], f[-1], 20001)
    m = np.abs(reflection(antenna(fine)))
    k = int(np.argmin(m))
    over = m > 1 / 3
    left, right = np.flatnonzero(over[:k]), np.flatnonzero(over[k:])
    inside = 0 < k < len(fine) - 1
    width = fine[k + right[0]] - fine[left[-1]] if len(left) and len(right) and not over[k] else np.nan
    return float((1 + m[k]) / (1 - m[k])), float(fine[k]) if inside else np.nan, float(width)


def curve_table(worlds: int, seed: int) -> list[str]:
    """Return how features of curves came out."""
    lines = [
        "| reading | coverage of best SWR | of resonance | of width at SWR 2 | of every point | told: resonance |"
        " told: width |",
        "|---" * 7 + "|",
    ]
    for kind in KINDS:
        got: list[tuple[float, ...]] = []
        for number in range(worlds):
            rng = np.random.default_rng([seed, 10 + KINDS.index(kind), number])
            middle = float(rng.choice([14.2e6, 28.5e6, 145e6, 435e6]))
            f = middle * np.linspace(0.92, 1.08, 61)
            antenna = draw_antenna(rng, middle * rng.uniform(0.97, 1.03))
            loss, half = np.exp(rng.uniform(np.log(0.3), np.log(5.0))), rng.uniform(0.05, 0.2)
            cable = _cable(rng, loss, middle)
            stated = loss * (1 + half / 1.96 * rng.standard_normal())
            seen = _seen(rng, kind, _bridge(rng, kind), cable.seen(antenna(f), f), f)
            r = through(seen, behind_loss(stated, half * stated, at_hz=middle))
            if r.contradiction:
                continue
            best, f0, width = _truths(antenna, f)
            m = np.abs(reflection(antenna(f)))
            swr = (1 + m) / (1 - m)
            points = np.mean([_holds(p.antenna_swr, s) for p, s in zip(r.curve, swr, strict=True)])
            got.append((
                _holds(r.best_swr, best), _holds(r.resonance_hz, f0), _holds(r.bandwidth_hz, width), float(points),
                r.resonance_hz.value is not None, r.bandwidth_hz.value is not None,
            ))  # fmt: skip
        means = np.nanmean(np.array(got, float), axis=0)
        lines.append(f"| {kind} | " + " | ".join(f"{x:.3f}" for x in means) + " |")
    return lines


def _holds(e: Estimate, truth: float) -> float:
    """Return 1 if an interval holds the truth, 0 if not, nan where there is none."""
    if e.low is None or e.high is None or not np.isfinite(truth):
        return float("nan")
    return float(e.low <= truth * (1 + 1e-9) and truth <= e.high * (1 + 1e-9))


def flat_table(worlds: int, seed: int, kind: str) -> list[str]:
    """Return how often curves are called too flat, by span and by what the line really loses."""
    heads = [f"{db:g} dB" for db in HIDDEN] + ["dummy load"]
    lines = [
        f"| span, MHz | {' | '.join(heads)} | cannot tell at {BELIEVED_DB:g} dB | useful from a span of, MHz |",
        "|---" * (len(heads) + 3) + "|",
    ]
    for at, (name, span, band) in enumerate(SPANS):
        cells, unsure, useful = [], 0.0, np.nan
        for column, db in enumerate((*HIDDEN, None)):
            flags, wide = [], []
            for number in range(worlds):
                rng = np.random.default_rng([seed, 20 + at, column, number])
                flat = _flatness(rng, kind, span, band, db)
                flags.append(flat.is_flat)
                if flat.useful_to_hz is not None and flat.useful_from_hz is not None:
                    wide.append((flat.useful_to_hz - flat.useful_from_hz) / 1e6)
            cells.append(f"{np.mean([x is True for x in flags]):.3f}")
            if column == 0:
                unsure, useful = float(np.mean([x is None for x in flags])), float(np.median(wide)) if wide else np.nan
        lines.append(f"| {name} | " + " | ".join(cells) + f" | {unsure:.2f} | {useful:.3g} |")
    return lines


def _flatness(
    rng: np.random.Generator, kind: str, span: tuple[float, float], band: tuple[float, float], db: float | None
) -> FlatWarning:
    """Return what is said of one curve; without a loss, of a dummy load behind the believed one."""
    f = np.linspace(span[0] * 1e6, span[1] * 1e6, 31)
    middle = float(f[15])
    antenna = draw_antenna(rng, rng.uniform(*band) * 1e6)
    cable = _cable(rng, BELIEVED_DB if db is None else db, middle)
    load = np.full(len(f), 50 * np.exp(rng.normal(0, 0.03)) + 0j) if db is None else antenna(f)
    seen = _seen(rng, kind, _bridge(rng, kind), cable.seen(load, f), f)
    flat = through(seen, behind_loss(BELIEVED_DB, 0.1 * BELIEVED_DB, at_hz=middle)).flat_warning
    assert flat is not None
    return flat


def time_lines(seed: int) -> list[str]:
    """Return warm processor times of a single reading and of a curve."""
    rng = np.random.default_rng(seed)
    f = np.linspace(134e6, 156e6, 101)
    antenna, cable = draw_antenna(rng, 145e6, "series"), _cable(rng, 3.0, 145e6)
    line, kind = behind_loss(3.0, 0.3, at_hz=145e6), KINDS[0]
    curve = _seen(rng, kind, _bridge(rng, kind), cable.seen(antenna(f), f), f)
    out = []
    for name, seen in (("a single reading", seen_swr(1.3)), ("a curve of 101 points", curve)):
        took = []
        for _ in range(60):
            start = time.process_time()
            through(seen, line)
            took.append(1e3 * (time.process_time() - start))
        median = float(np.median(took))
        mark = "met" if median < 20 else "NOT MET"
        out.append(f"Warm processor time of {name}: median {median:.1f} ms (target below 20 ms: {mark}).")
    return out


def report(worlds: int, curves: int, flat: int, seed: int) -> list[str]:
    """Run everything and return the text."""
    lines = [
        f"# Antennas behind lines, with known truth: {worlds} readings and {curves} curves a kind; seed {seed}",
        "",
    ]
    lines += ["Targets: coverage 0.94 to 0.98 for single readings.", "", *single_table(worlds, seed), ""]
    lines += ["## Curves: 61 points over 16 % of the middle frequency", "", *curve_table(curves, seed), ""]
    lines += [
        f"## Too flat: the line is believed to lose {BELIEVED_DB:g} dB; what it loses in truth heads the column",
        "",
        f"Share of curves called too flat, {flat} a cell. The first column is false alarms.",
        "",
    ]
    for kind in (KINDS[0], KINDS[3]):
        lines += [f"### {kind}", "", *flat_table(flat, seed, kind), ""]
    return [*lines, *time_lines(seed)]


def main() -> None:
    """Parse, run, print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--worlds", type=int, default=2000)
    ask.add_argument("--curves", type=int, default=300)
    ask.add_argument("--flat", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--write", action="store_true", help="write benchmarks/through_results.md")
    args = ask.parse_args()
    text = "\n".join(report(args.worlds, args.curves, args.flat, args.seed))
    print(text)
    if args.write:
        (HERE / "through_results.md").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
