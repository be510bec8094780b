"""Hold the engine against a general NUTS sampler on the same model.

    .venv-bench/bin/python benchmarks/nuts.py [--benches 5] [--write]     sample and compare
    python benchmarks/nuts.py --kept                                      compare with what was sampled before

The first needs jax and numpyro (the ``bench`` extra). Its outcome is kept in ``nuts_reference.json``.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from linewright.core.nouns.bench import BenchSheet
from linewright.inference.bench.prove import prove
from linewright.inference.priors import DEFAULT, Priors
from run import make

KEPT = Path(__file__).parent / "nuts_reference.json"
SEED = 5
LITTLE, APART = 1e-3, 1e9
"""Chance and spread of what the sampler's model leaves out; electrical lengths known so badly that each path's mismatch
is its own, as there."""


def benches(how_many: int) -> list[tuple[int, BenchSheet]]:
    """Return the first benches of middling size with two meters or more: world number and sheet."""
    out: list[tuple[int, BenchSheet]] = []
    number = 0
    while len(out) < how_many:
        sheet = make("nominal", number, SEED).sheet
        if len(sheet.meters) >= 2 and 25 <= len(sheet.readings) <= 90:
            out.append((number, sheet))
        number += 1
    return out


def engine(sheet: BenchSheet, priors: Priors) -> tuple[dict[str, tuple[float, float, float]], float]:
    """Return the engine's loss, low and high by piece and band, and its warm median time in seconds."""
    result, seconds = prove(sheet, priors=priors), []
    for _ in range(5):
        start = time.perf_counter()
        prove(sheet, priors=priors)
        seconds.append(time.perf_counter() - start)
    found = {_key(f.piece, f.frequency_hz): (f.loss_db, f.loss_db_low, f.loss_db_high) for f in result.losses}
    return found, float(np.median(seconds))


def _key(piece: str, frequency_hz: float) -> str:
    return f"{piece} @ {frequency_hz / 1e6:g} MHz"


def sample(sheet: BenchSheet, draws: int, chains: int) -> dict[str, Any]:
    """Return what NUTS makes of a bench: mean, sd, quantiles and split R-hat of every loss, and its time."""
    import jax
    from numpyro.diagnostics import split_gelman_rubin
    from numpyro.infer import MCMC, NUTS

    from linewright.inference.bench.design import lay_out
    from linewright.inference.bench.observations import blocks_of
    from nuts_model import target_of

    lay = lay_out(sheet, [b for b in blocks_of(sheet) if not b.dead], DEFAULT)
    target = target_of(lay, DEFAULT)
    keys = jax.random.split(jax.random.PRNGKey(1), chains)
    start = {
        name: jax.numpy.stack([v + 0.03 * jax.random.normal(jax.random.fold_in(key, i), v.shape) for key in keys])
        for i, (name, v) in enumerate(target.start.items())
    }
    mcmc = MCMC(
        NUTS(potential_fn=target.potential, target_accept_prob=0.9),
        num_warmup=draws, num_samples=draws, num_chains=chains, chain_method="sequential", progress_bar=False,
    )  # fmt: skip
    began = time.perf_counter()
    mcmc.run(jax.random.PRNGKey(2), init_params=start, extra_fields=("diverging",))
    seconds = time.perf_counter() - began
    drawn = mcmc.get_samples(group_by_chain=True)
    losses = np.asarray(jax.vmap(jax.vmap(target.losses_db))(drawn))
    rhat = split_gelman_rubin(losses)
    tags = [p.tag for p in sheet.pieces]
    found = {
        _key(tags[int(p)], float(f)): {
            "mean_db": float(losses[..., i].mean()), "sd_db": float(losses[..., i].std()),
            "low_db": float(np.quantile(losses[..., i], 0.025)), "high_db": float(np.quantile(losses[..., i], 0.975)),
            "rhat": float(rhat[i]),
        }
        for i, (p, f) in enumerate(zip(lay.strands.piece, lay.strands.frequency_hz, strict=True))
    }  # fmt: skip
    divergent = int(mcmc.get_extra_fields()["diverging"].sum())
    return {"losses": found, "seconds": seconds, "divergent": divergent, "priors": asdict(DEFAULT)}


def compare(sheet: BenchSheet, reference: dict[str, Any]) -> dict[str, float]:
    """Return how far the engine's losses lie from the sampler's, in its sd, and the ratios of widths and times.

    Both take the priors the sampler took.
    """
    priors: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in reference["priors"].items()}
    priors.setdefault("bench_aged_p", priors["aged_p"])  # one name for both when it was sampled
    priors.setdefault("joint_root_p", priors["joint_p"])
    for name in ("exponent_shift_in", "exponent_shift_out", "plug_reflection", "worn_tilt", "worn_tilt_spread"):
        priors.setdefault(name, 0.0)  # what its model does not know
    priors |= {"bend_spread": LITTLE, "bend_p": LITTLE, "other_p": LITTLE, "own_p": LITTLE}
    priors["delay_spread"] = APART
    found, seconds = engine(sheet, Priors(**priors))
    rows = [(found[key], ref) for key, ref in reference["losses"].items() if key in found]
    off = np.array([(e[0] - r["mean_db"]) / r["sd_db"] for e, r in rows])
    width = np.array([(e[2] - e[1]) / (r["high_db"] - r["low_db"]) for e, r in rows])
    return {
        "losses": len(rows), "median": float(np.median(abs(off))), "worst": float(np.max(abs(off))),
        "width": float(np.median(width)), "narrowest": float(width.min()), "widest": float(width.max()),
        "rhat": max(r["rhat"] for _, r in rows), "engine_s": seconds, "nuts_s": reference["seconds"],
        "times": reference["seconds"] / seconds,
    }  # fmt: skip


def table(rows: list[tuple[int, int, dict[str, float]]]) -> list[str]:
    """Return the comparison as lines of a table."""
    lines = [
        "| world | readings | losses | off, sd (worst) | width ratio (range) | R-hat | engine | NUTS | ratio |",
        "|---" * 9 + "|",
    ]
    for number, readings, c in rows:
        lines.append(
            f"| {number} | {readings} | {c['losses']} | {c['median']:.2f} ({c['worst']:.2f}) "
            f"| {c['width']:.2f} ({c['narrowest']:.2f} to {c['widest']:.2f}) | {c['rhat']:.3f} "
            f"| {c['engine_s'] * 1e3:.0f} ms | {c['nuts_s']:.0f} s | {c['times']:.0f} |"
        )
    times = np.array([c["times"] for _, _, c in rows])
    mark = "met" if times.min() >= 500 else "NOT MET"
    return [*lines, "", f"Ratio of times: {times.min():.0f} to {times.max():.0f} (target at least 500: {mark})."]


def main() -> None:
    """Parse, sample or recall, compare, print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--benches", type=int, default=5)
    ask.add_argument("--draws", type=int, default=1000, help="draws, and warm-up draws, a chain")
    ask.add_argument("--chains", type=int, default=4)
    ask.add_argument("--kept", action="store_true", help="compare with nuts_reference.json, sample nothing")
    ask.add_argument("--write", action="store_true", help="keep what was sampled in nuts_reference.json")
    args = ask.parse_args()
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    rows = []
    for number, sheet in benches(args.benches):
        reference = kept[str(number)] if args.kept else sample(sheet, args.draws, args.chains)
        kept[str(number)] = reference
        rows.append((number, len(sheet.readings), compare(sheet, reference)))
        print(table(rows)[-3], flush=True)
        if args.write and not args.kept:
            KEPT.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    print("\n" + "\n".join(table(rows)))


if __name__ == "__main__":
    main()
