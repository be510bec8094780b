"""How well a sweep is read: coverage, errors, delays that cannot be told, and time, on sweeps of known truth.

``python benchmarks/sweeps.py [--worlds 100] [--seed 3000] [--write]`` prints the tables, and keeps them in
``sweeps_results.md`` if asked to. The measured sweeps of ``tests/data/touchstone`` stand beside their reference
numbers. ``--claims 10 --seed 100`` judges what is claimed of whole and damaged lines instead (``sweeps_claims.py``,
kept in ``sweeps_claims_results.md``).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import tomllib
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from linewright.core.nouns.sweep import Interval, Sweep, SweepFinding
from linewright.files.touchstone import read_touchstone
from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.two_port import read_two_port
from sweep_worlds import KINDS, Kind, World, draw
from sweeps_claims import run as run_claims
from sweeps_claims import tables as claim_tables

HERE = Path(__file__).parent
WAYS = ("through", "open and short", "open")
LOSS, BARE = "matched loss, dB", "bare insertion loss taken for it, dB"


@dataclass
class Score:
    """Of one way of sweeping: (inside, error, width) of every answer by figure; counts of what was said; seconds."""

    figures: dict[str, list[tuple[float, float, float]]] = field(default_factory=lambda: defaultdict(list))
    count: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    seconds: list[float] = field(default_factory=list)

    def note(self, name: str, found: Interval | None, truth: float, scale: float = 1.0) -> None:
        if found is not None:
            error, width = found.value - truth, found.high - found.low
            self.figures[name].append((found.holds(truth), error / scale, width / scale))

    def coverage(self, name: str) -> float:
        got = self.figures.get(name, [])
        return float(np.mean([g[0] for g in got])) if got else float("nan")

    def rms(self, name: str) -> float:
        got = self.figures.get(name, [])
        return float(np.sqrt(np.mean([g[1] ** 2 for g in got]))) if got else float("nan")


def _judge(score: Score, world: World, found: SweepFinding, told: SweepFinding, named: SweepFinding) -> None:
    truth, law = world.truth, found.law
    for row in found.losses:
        score.note(LOSS, row.matched_loss_db, truth.loss_at(row.frequency_hz))
        score.note(BARE, row.insertion_loss_db, truth.loss_at(row.frequency_hz))
    if law is not None and truth.lawful:
        score.note("k1 (relative)", law.k1_db, truth.k1_db, truth.k1_db)
        score.note("k2 (relative)", law.k2_db, truth.k2_db, truth.k2_db)
    score.note("impedance, ohm", found.impedance_ohm, truth.zc_ohm)
    delay = truth.group_delay_s(*(law.valid_hz if law else (0.0, np.inf)))
    score.note("delay (relative)", found.delay_s, delay, delay)
    score.note("length from velocity factor (relative)", told.length_m, truth.length_m, truth.length_m)
    score.note("velocity factor from length", named.velocity_factor, truth.velocity_factor)


def _delays(count: dict[str, int], world: World, found: SweepFinding) -> None:
    """Count delays told, told wrongly (by more than a tenth of a turn), and lists that hold or lack the true one."""
    truth, turn = world.truth.group_delay_s(0.0, np.inf), 1.0 / float(np.diff(world.through.frequency_hz).min())
    if found.delay_s is not None:
        count["told"] += 1
        count["told wrongly"] += abs(found.delay_s.value - truth) > 0.1 * turn
    elif found.candidates:
        count["listed"] += 1
        count["list lacks the true one"] += not any(abs(c.delay_s - truth) < 0.1 * turn for c in found.candidates)
    else:
        count["no answer"] += 1


def _read(way: str, world: World, **known: float) -> SweepFinding:
    if way == "through":
        return read_two_port(world.through, **known)
    ends = {"open": world.open, "short": world.short} if way == "open and short" else {"open": world.open}
    return read_one_port(ends, **known)


def run(kind: Kind, worlds: int, seed: int) -> dict[str, Score]:
    """Return scores by how the cable was swept."""
    out = {way: Score() for way in WAYS}
    for i in range(worlds):
        world = draw(np.random.default_rng([seed + i, KINDS.index(kind)]), kind)
        for way, score in out.items():
            start = time.perf_counter()
            found = _read(way, world)
            score.seconds.append(time.perf_counter() - start)
            told = _read(way, world, velocity_factor=world.told_velocity_factor)
            _judge(score, world, found, told, _read(way, world, length_m=world.told_length_m))
            _delays(score.count, world, found)
            for h in found.health:
                score.count[f"said {h.severity}: {h.check}"] += 1
    return out


def _table(head: str, rows: list[list[str]]) -> list[str]:
    return [f"| {head} |", "|" + "---|" * (head.count("|") + 1), *(f"| {' | '.join(r)} |" for r in rows), ""]


def summary(scores: dict[Kind, dict[str, Score]]) -> list[str]:
    rows = [
        [
            kind.name, way, f"{s.coverage(LOSS):.3f}", f"{s.rms(LOSS):.3f}", f"{s.rms(BARE):.3f}",
            f"{s.coverage('k1 (relative)'):.3f}", f"{s.coverage('k2 (relative)'):.3f}",
            f"{s.coverage('impedance, ohm'):.3f}", f"{s.coverage('delay (relative)'):.3f}",
            str(s.count["told"]), str(s.count["told wrongly"]), str(s.count["listed"]),
            str(s.count["list lacks the true one"]),
        ]
        for kind, ways in scores.items()
        for way, s in ways.items()
    ]  # fmt: skip
    head = (
        "worlds | swept | coverage of matched loss | its rms error, dB | bare insertion loss, dB | k1 | k2 | impedance"
        " | delay | told | told wrongly | listed | list lacks it"
    )
    return ["## Coverage of the 95 % intervals, and delays", "", *_table(head, rows)]


def details(kind: Kind, ways: dict[str, Score]) -> list[str]:
    rows = []
    for way, score in ways.items():
        for figure, got in score.figures.items():
            inside, error, width = (np.array(c, dtype=float) for c in zip(*got, strict=True))
            rms, p95 = float(np.sqrt(np.mean(error**2))), float(np.quantile(np.abs(error), 0.95))
            numbers = [f"{x:.4f}" for x in (rms, p95, float(np.median(width)))]
            rows.append([way, figure, str(len(got)), f"{inside.mean():.3f}", *numbers])
    head = "swept | figure | answers | coverage | rms error | 95th percentile of error | median width"
    said = [
        f"{way}: {', '.join(f'{k} {v}' for k, v in sorted(s.count.items()) if k.startswith('said'))};"
        f" {1e3 * float(np.median(s.seconds)):.0f} ms."
        for way, s in ways.items()
    ]
    return [f"## {kind.name}", "", *_table(head, rows), *said, ""]


def measured() -> list[str]:
    """Return the measured sweeps beside the reference numbers that came with them."""
    data = HERE.parent / "tests" / "data" / "touchstone"
    checks = tomllib.loads((HERE.parent / "tests" / "published" / "sweeps.toml").read_text(encoding="utf-8"))["check"]
    rows = []
    for check in checks:
        given = check["inputs"]
        if "files" not in given:
            continue
        at = (given["frequency_hz"],) if "frequency_hz" in given else ()
        sweeps = [read_touchstone(data / f) for f in given["files"]]
        known = {"length_m": given.get("length_m"), "at_hz": at}
        pair = dict(zip(("open", "short"), sweeps, strict=False))
        found = read_two_port(sweeps[0], **known) if len(sweeps) == 1 else read_one_port(pair, **known)
        got = _figure(found, given["figure"], *at)
        where = "" if not at else f" at {at[0] / 1e6:g} MHz"
        files = " + ".join(Path(f).stem for f in given["files"])
        inside = "yes" if got.holds(float(check["printed"])) else "no"
        numbers = f"{got.value:.5g} ({got.low:.5g} to {got.high:.5g})"
        rows.append([files, given["figure"] + where, check["printed"], numbers, inside])
    return ["## Measured sweeps", "", *_table("file | figure | reference | read (95 %) | inside", rows)]


def _figure(found: SweepFinding, figure: str, frequency_hz: float = 0.0) -> Interval:
    if figure == "matched_loss_db":
        return next(x.matched_loss_db for x in found.losses if x.frequency_hz == frequency_hz)
    if figure == "resistance_ohm":
        return next(x.resistance_ohm for x in found.impedances if x.frequency_hz == frequency_hz)
    if figure == "delay_ns":
        assert found.delay_s is not None
        return found.delay_s.times(1e9)
    return getattr(found.law if figure.startswith("k") else found, figure)  # type: ignore[no-any-return]


def speed() -> list[str]:
    """Hold the reading of 100,000 points against scikit-rf's reading of their file."""
    import skrf

    f = np.linspace(1e6, 1e9, 100_000)
    gamma = 1e-4 * np.sqrt(f / 1e6) + 2j * np.pi * f / 2e8
    network = skrf.media.DefinedGammaZ0(
        skrf.Frequency.from_f(f, unit="Hz"), gamma=gamma, z0_port=50.0, z0=52.0
    ).line(20.0, "m")  # fmt: skip
    network.s += 1e-4 * np.random.default_rng(1).normal(size=network.s.shape)
    with tempfile.TemporaryDirectory() as place:
        network.write_touchstone("long", dir=place)
        start = time.perf_counter()
        skrf.Network(str(Path(place) / "long.s2p"))
        reading = time.perf_counter() - start
    sweep = Sweep("long", network.f, network.s, np.full(2, 50.0 + 0j))
    times = []
    for _ in range(5):
        start = time.perf_counter()
        read_two_port(sweep)
        times.append(time.perf_counter() - start)
    return [
        f"100,000 points: scikit-rf reads their file in {reading:.2f} s; this reads them in {np.median(times):.2f} s."
    ]


def claimed(each: int, seed: int, jobs: int, *, write: bool) -> None:
    """Print, and keep if asked to, what is claimed of lines that are whole and of lines that are not."""
    judged = run_claims(each, seed, jobs)
    head = f"# What is claimed of made-up lines: {each} of each family, quality and damage; seeds from {seed}"
    text = "\n".join([head, "", *claim_tables(judged), ""])
    sys.stdout.write(text)
    if write:
        (HERE / "sweeps_claims_results.md").write_text(text, encoding="utf-8")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--worlds", type=int, default=100)
    ask.add_argument("--seed", type=int, default=3000)
    ask.add_argument("--write", action="store_true")
    ask.add_argument("--claims", type=int, default=0, help="judge what is claimed of so many lines a family instead")
    ask.add_argument("--jobs", type=int, default=1)
    given = ask.parse_args()
    if given.claims:
        claimed(given.claims, given.seed, given.jobs, write=given.write)
        return
    scores = {kind: run(kind, given.worlds, given.seed) for kind in KINDS}
    out = [
        f"# Sweeps with known truth: {given.worlds} worlds a kind; seed {given.seed}", "",
        "Truth: the matched loss of the line with the heat of its connectors, by scikit-rf's circuit media and cascades"
        " (`sweep_worlds.py`", "shares nothing with the engine but its nouns). The analyser keeps 34 to 50 dB of"
        " directivity, 30 to 46 dB of match, tracking and noise.", "",
        *summary(scores), *measured(), *speed(), "",
    ]  # fmt: skip
    for kind, ways in scores.items():
        out += details(kind, ways)
    text = "\n".join(out)
    sys.stdout.write(text)
    if given.write:
        (HERE / "sweeps_results.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
