"""How well a sweep is read: coverage, errors, delays that cannot be told, and time, on sweeps of known truth.

``python benchmarks/sweeps.py [worlds of each kind] [first seed]`` prints the tables of sweeps_results.md.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

from linewright.evidence.sweeps.one_port import read_one_port
from linewright.evidence.sweeps.two_port import read_two_port
from linewright.model.sweep_result import Interval, SweepFinding
from sweep_worlds import KINDS, Kind, World, draw

Score = dict[str, list[tuple[float, float, float]]]
"""By figure: (inside the interval, relative error or error in dB, width) of every answer."""


def _note(score: Score, name: str, found: Interval | None, truth: float, scale: float = 1.0) -> None:
    if found is not None:
        score[name].append((found.holds(truth), (found.value - truth) / scale, (found.high - found.low) / scale))


def _judge(score: Score, world: World, found: SweepFinding, told: SweepFinding, named: SweepFinding) -> None:
    truth = world.truth
    for row in found.losses:
        _note(score, "matched loss, dB", row.matched_loss_db, truth.loss_at(row.frequency_hz))
        if row.insertion_loss_db is not None:
            hand = row.insertion_loss_db
            _note(score, "insertion loss for it, dB", hand, truth.loss_at(row.frequency_hz))
    if found.law is not None and truth.lawful:
        _note(score, "k1 (relative)", found.law.k1_db, truth.k1_db, truth.k1_db)
        _note(score, "k2 (relative)", found.law.k2_db, truth.k2_db, truth.k2_db)
    _note(score, "impedance, ohm", found.impedance_ohm, truth.zc_ohm)
    delay = truth.group_delay_s(*(found.law.valid_hz if found.law else (0.0, np.inf)))
    _note(score, "delay (relative)", found.delay_s, delay, delay)
    _note(score, "length from velocity factor (relative)", told.length_m, truth.length_m, truth.length_m)
    _note(score, "velocity factor from length", named.velocity_factor, truth.velocity_factor)


def _delays(count: dict[str, int], world: World, found: SweepFinding) -> None:
    """Count delays told, told wrongly (by more than a tenth of a turn), and lists that hold or lack the true one."""
    truth, turn = world.truth.group_delay_s(0.0, np.inf), 1.0 / float(np.diff(world.through.frequency_hz).min())
    if found.delay_s is not None:
        count["told"] += 1
        count["told wrongly"] += abs(found.delay_s.value - truth) > 0.1 * turn
        return
    count["listed"] += 1
    count["list lacks the true one"] += not any(abs(c.delay_s - truth) < 0.1 * turn for c in found.candidates)


def run(kind: Kind, worlds: int, seed: int) -> dict[str, tuple[Score, dict[str, int], list[float]]]:
    """Return scores by how the cable was swept: through, open and short, open alone."""
    out: dict[str, tuple[Score, dict[str, int], list[float]]] = {
        name: (defaultdict(list), defaultdict(int), []) for name in ("through", "open and short", "open")
    }
    for i in range(worlds):
        world = draw(np.random.default_rng([seed + i, KINDS.index(kind)]), kind)
        ways = {
            "through": lambda w=world, **k: read_two_port(w.through, **k),
            "open and short": lambda w=world, **k: read_one_port({"open": w.open, "short": w.short}, **k),
            "open": lambda w=world, **k: read_one_port({"open": w.open}, **k),
        }
        for name, read in ways.items():
            score, count, times = out[name]
            start = time.perf_counter()
            found = read()
            times.append(time.perf_counter() - start)
            told = read(velocity_factor=world.told_velocity_factor)
            named = read(length_m=world.told_length_m)
            _judge(score, world, found, told, named)
            _delays(count, world, found)
            for h in found.health:
                count[f"said: {h.check}"] += 1
    return out


def show(kind: Kind, worlds: int, seed: int) -> None:
    print(f"\n## {kind.name} ({worlds} worlds)\n")
    print("| swept | figure | answers | coverage | rms error | 95th percentile of error | median width |")
    print("|---|---|---|---|---|---|---|")
    rows = run(kind, worlds, seed)
    for name, (score, _, _) in rows.items():
        for figure, got in score.items():
            inside, error, width = (np.array(c, dtype=float) for c in zip(*got, strict=True))
            rms, p95 = float(np.sqrt(np.mean(error**2))), float(np.quantile(np.abs(error), 0.95))
            cells = (f"{inside.mean():.3f}", f"{rms:.4f}", f"{p95:.4f}", f"{np.median(width):.4f}")
            print(f"| {name} | {figure} | {len(got)} | {' | '.join(cells)} |")
    print()
    for name, (_, count, times) in rows.items():
        said = ", ".join(f"{k} {v}" for k, v in sorted(count.items()))
        print(f"{name}: {said}; {1e3 * float(np.median(times)):.0f} ms.")


def speed() -> None:
    """Hold the reading of 100,000 points against scikit-rf's reading of their file."""
    import skrf

    f = np.linspace(1e6, 1e9, 100_000)
    media = skrf.media.DefinedGammaZ0(
        skrf.Frequency.from_f(f, unit="Hz"), gamma=1e-4 * np.sqrt(f / 1e6) + 2j * np.pi * f / 2e8, z0_port=50.0, z0=52.0
    )
    network = media.line(20.0, "m")
    network.s += 1e-4 * np.random.default_rng(1).normal(size=network.s.shape)
    with tempfile.TemporaryDirectory() as place:
        network.write_touchstone("long", dir=place)
        start = time.perf_counter()
        read = skrf.Network(str(Path(place) / "long.s2p"))
        reading = time.perf_counter() - start
    from linewright.model.sweep import Sweep

    sweep = Sweep("long", read.f, read.s, np.full(2, 50.0 + 0j))
    times = []
    for _ in range(5):
        start = time.perf_counter()
        read_two_port(sweep)
        times.append(time.perf_counter() - start)
    print(f"\n100,000 points: scikit-rf reads the file in {reading:.2f} s; this takes {np.median(times):.2f} s.")


if __name__ == "__main__":
    n, first = (int(a) for a in (*sys.argv[1:], *("100", "0")[len(sys.argv) - 1 :]))
    for one in KINDS:
        show(one, n, first)
    speed()
