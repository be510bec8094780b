"""Which part of a piece's loss grew, told of benches with known truth: how often a named part is the right one.

python benchmarks/growth.py [--worlds 300] [--kinds field,nominal] [--seed 1] [--write]
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from bench import lay_out
from cables import Cable
from linewright.inference.bench.findings import APART, GROWN, NAMES, SURE, UNCHANGED, growth_finding
from linewright.inference.bench.findings import MIN_GROWTH_DB as LEAST_DB
from linewright.inference.bench.pieces import beliefs_of
from worlds import KINDS, world

HERE = Path(__file__).parent


def truth(cable: Cable, hertz: float) -> tuple[str, np.ndarray]:
    """Return which part truly grew most at a frequency, and by how much each did, dB."""
    conductor, dielectric = (float(x) for x in cable.stock.line.law.parts_db_per_m(hertz))
    extra, power = cable.joint
    parts = np.array([
        cable.length_m * conductor * (cable.stock.conductor - 1),
        cable.length_m * dielectric * (cable.stock.dielectric - 1),
        extra * (hertz / 30e6) ** power,
    ])  # fmt: skip
    least = max(GROWN * cable.length_m * (conductor + dielectric), LEAST_DB)
    return NAMES[int(parts.argmax())] if parts.max() > least else "none", parts


def measure(kind: str, worlds: int, seed: int) -> list[tuple[str, np.ndarray, bool]]:
    """Return for every piece of known type: what truly grew, the four probabilities, whether bands lie apart."""
    out = []
    recipe = KINDS[kind]
    for number in range(worlds):
        keys = [seed, 77, number]
        setup = lay_out(np.random.default_rng(keys), recipe.model, single=recipe.single, coarse=recipe.coarse)
        sheet = world(np.random.default_rng(keys), kind).sheet
        for tag, belief in beliefs_of(sheet).items():
            bands = sorted({r.frequency_hz for r in sheet.readings if tag in r.path})
            if sheet.piece(tag).line is None or not bands:
                continue
            f = growth_finding(belief, bands)
            chances = np.array([f.p_conductor, f.p_dielectric, f.p_joint, f.p_none])
            out.append((truth(setup.cables[tag], bands[-1])[0], chances, bands[-1] / bands[0] >= APART))
    return out


def table(kind: str, rows: list[tuple[str, np.ndarray, bool]]) -> list[str]:
    """Return how often the part named was the right one."""
    lines = [
        f"## {kind}: {len(rows)} pieces of known type",
        "",
        "| part | truly grew | named | of these right | mean probability of these |",
        "|---" * 5 + "|",
    ]
    for k, name in enumerate(NAMES):
        least = UNCHANGED if name == "none" else SURE
        mine = [(t, p[k]) for t, p, apart in rows if p.argmax() == k and p[k] >= least and (apart or name == "none")]
        named = [(t == name, p) for t, p in mine]
        right = f"{np.mean([r for r, _ in named]):.3f} | {np.mean([p for _, p in named]):.3f}" if named else "- | -"
        lines.append(f"| {name} | {sum(t == name for t, _, _ in rows)} | {len(named)} | {right} |")
    return lines


def main() -> None:
    """Parse, run, print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--worlds", type=int, default=300)
    ask.add_argument("--kinds", default="field,nominal")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--write", action="store_true", help="write benchmarks/growth_results.md")
    args = ask.parse_args()
    lines = [f"# Which part grew: {args.worlds} benches a kind, seed {args.seed}", ""]
    for kind in args.kinds.split(","):
        lines += [*table(kind, measure(kind, args.worlds, args.seed)), ""]
    text = "\n".join(lines)
    print(text)
    if args.write:
        (HERE / "growth_results.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
