"""Score the search for faults on synthetic coax: ``python benchmarks/faults.py [worlds a kind and end] [seed]``."""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np

from fault_worlds import ENDS, KINDS, World, draw
from linewright.core.nouns.sweep import FaultFinding, Sweep
from linewright.inference.sweep.along import Known, find_faults


def looked_at(world: World, rng: np.random.Generator, velocity_u: float, length_u: float) -> FaultFinding | str:
    """Return what is found when velocity factor and length are known no better than people know them."""
    vf = world.velocity_factor * (1 + velocity_u * rng.normal())
    length = world.length_m * (1 + length_u * rng.normal())
    ports = world.s.shape[1]
    sweep = Sweep("synthetic", world.frequency_hz, world.s, np.full(ports, 50.0 + 0j))
    known = Known((vf, velocity_u * vf or 1e-6), (length, length_u * length + 0.01))
    return find_faults(sweep, world.far_end, known)


def run(each: int, seed: int, velocity_u: float = 0.004, length_u: float = 0.005, *, loud: bool = False) -> dict:
    """Return counts over ``each`` worlds of every kind and far end, and as many clean ones again."""
    score = {"n": 0, "missed": 0, "clean": 0, "false": 0, "extra": 0, "over_1_percent": 0, "refused": 0}
    errors, relative, inside, times, table = [], [], [], [], {}
    for kind in KINDS:
        for far_end in ENDS:
            for i in range(each * (3 if kind == "none" else 1)):
                rng = np.random.default_rng([seed, KINDS.index(kind), ENDS.index(far_end), i])
                world = draw(rng, kind, far_end)
                start = time.perf_counter()
                found = looked_at(world, rng, velocity_u, length_u)
                times.append(time.perf_counter() - start)
                if isinstance(found, str):
                    score["refused"] += 1
                    continue
                if kind == "none":
                    score["clean"] += 1
                    score["false"] += len(found.faults)
                    if loud and found.faults:
                        print("false", seed, far_end, i, found.faults)
                    continue
                score["n"] += 1
                slack = world.cell_m + 3 * velocity_u * world.distance_m
                hits = [x for x in found.faults if abs(x.distance_m - world.distance_m) < slack]
                score["extra"] += len(found.faults) - bool(hits)
                if loud and len(found.faults) != 1:
                    print(
                        kind,
                        far_end,
                        i,
                        f"L {world.length_m:.2f} d {world.distance_m:.3f} cell {world.cell_m:.3f}",
                        [(round(x.distance_m, 3), x.kind, round(x.size, 3)) for x in found.faults],
                    )
                if not hits:
                    score["missed"] += 1
                    continue
                best = min(hits, key=lambda x: abs(x.distance_m - world.distance_m))
                error = abs(best.distance_m - world.distance_m)
                errors.append(error / world.cell_m)
                relative.append(error / world.distance_m)
                inside.append(best.low_m <= world.distance_m <= best.high_m)
                table.setdefault((kind, far_end), Counter())[best.kind] += 1
    score |= {
        "median_error_cells": float(np.median(errors)),
        "p95_error_cells": float(np.quantile(errors, 0.95)),
        "most_error_cells": float(max(errors)),
        "over_1_cell": int(np.sum(np.array(errors) > 1)),
        "over_1_percent": int(np.sum(np.array(relative) > 0.01)),
        "inside_interval": float(np.mean(inside)),
        "mean_s": float(np.mean(times)),
        "p95_s": float(np.quantile(times, 0.95)),
        "kinds": {f"{k}, {e}": dict(c) for (k, e), c in table.items()},
    }
    return score


if __name__ == "__main__":
    asked = [int(x) for x in sys.argv[1:3]]
    each, seed = (asked + [10, 1][len(asked) :])[:2]
    for name, u in (
        ("velocity factor exact", (0.0, 0.0)),
        ("velocity factor to 0.4 %, length to 0.5 %", (0.004, 0.005)),
    ):
        print(f"## {name}")
        for key, value in run(each, seed, *u, loud="loud" in sys.argv).items():
            print(f"- {key}: {value}")
