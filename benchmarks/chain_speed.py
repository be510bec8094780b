"""How fast a run is walked: by points, draws and parts, and beside scikit-rf cascading one sample.

``python benchmarks/chain_speed.py`` prints the tables; ``--write`` keeps them in ``chain_results.md``. Each time is the
least of several, in seconds of the process, so that other work on the machine counts little.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
import warnings
from collections.abc import Callable
from functools import reduce
from pathlib import Path

import numpy as np
import skrf as rf

from linewright.catalogue import line_type
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.station import (
    Antenna,
    ConnectorPart,
    LinePart,
    LossPart,
    Part,
    Receiver,
    Run,
    TransformerPart,
    TunerPart,
)
from linewright.link.plan import plan_run, sweep_run

KEPT = Path(__file__).parent / "chain_results.md"
REPEATS = 5
ANTENNA = Antenna(swr=((0.0, 1.7),))
BANDS_HZ = tuple(f * 1e6 for f in (1.83, 3.65, 7.1, 10.12, 14.2, 18.1, 21.2, 24.95, 28.5, 50.2))


def line(name: str, length_m: float, kind: str) -> LinePart:
    return LinePart(name, Piece(name, length_m, line_type(kind), 0))


PARTS: tuple[Part, ...] = (
    line("jumper", 1.0, "RG-58C/U"),
    ConnectorPart("N at the radio", "N", 2),
    LossPart("arrestor", ((0.0, 0.1),)),
    line("feeder", 20.0, "RG-213/U"),
    ConnectorPart("UHF", "UHF", 2),
    LossPart("relay", ((0.0, 0.05),), 1.2),
    line("tail", 2.0, "RG-58C/U"),
    TransformerPart("balun", 1.0, ((0.0, 0.1),)),
    line("75 ohm", 3.0, "RG-59B/U"),
    ConnectorPart("N at the antenna", "N", 2),
    line("last metre", 1.0, "RG-213/U"),
    LossPart("filter", ((0.0, 0.5),)),
)


def run(parts: int, first: tuple[Part, ...] = ()) -> Run:
    some = tuple(PARTS[i % len(PARTS)] for i in range(parts - len(first)))
    return Run("benchmark", BANDS_HZ, 100.0, (*first, *some), ANTENNA, gain_dbi=2.15, receiver=Receiver(6.0))


def seconds(work: Callable[[], object], repeats: int = REPEATS) -> float:
    took = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return min(took)


def swept(points: int, draws: int, made: Run) -> float:
    hertz = np.linspace(1.8e6, 450e6, points)
    return seconds(lambda: sweep_run(made, {}, hertz, draws))


def scaling() -> list[str]:
    rows = ["| points | draws | parts | s | ns a point, draw and part |", "|---|---|---|---|---|"]
    for points, draws, parts in (
        (100, 1000, 12), (300, 1000, 12), (1000, 1000, 12), (3000, 1000, 12),
        (1000, 100, 12), (1000, 500, 12), (1000, 2000, 12), (1000, 4000, 12),
        (1000, 1000, 3), (1000, 1000, 6), (1000, 1000, 24),
    ):  # fmt: skip
        took = swept(points, draws, run(parts))
        rows.append(f"| {points} | {draws} | {parts} | {took:.3f} | {1e9 * took / points / draws / parts:.1f} |")
    return rows


def headline() -> list[str]:
    tuned = swept(1000, 2000, run(12, (TunerPart("tuner"),)))
    plan = seconds(lambda: plan_run(run(8), {}, noise="residential"), 15)
    return [
        "| what | asked | measured |",
        "|---|---|---|",
        f"| sweep, 1,000 points, 12 parts, 2,000 draws | 1 s | {swept(1000, 2000, run(12)):.2f} s |",
        f"| the same, one part a tuner | | {tuned:.2f} s |",
        f"| plan, 8 parts, 10 bands, 1,000 draws, all of its figures | 60 ms | {1e3 * plan:.0f} ms |",
    ]


def cascade(hertz: np.ndarray) -> rf.Network:
    """Build and cascade the lines, pads and connectors of the run once, as scikit-rf has them."""
    band = rf.Frequency.from_f(hertz, unit="hz")
    made = []
    for part in PARTS:
        if isinstance(part, LinePart) and part.piece.line is not None:
            kind = part.piece.line
            beta = 2 * np.pi * hertz / (299_792_458.0 * kind.velocity_factor)
            conductor, dielectric = (x / (20 / np.log(10)) for x in kind.law.parts_db_per_m(hertz))
            z0 = kind.impedance_ohm * (1 - 1j * (conductor - dielectric) / beta)
            media = rf.media.DefinedGammaZ0(band, z0=z0, gamma=conductor + dielectric + 1j * beta)
            made.append(media.line(part.piece.length_m, "m", s_def="traveling"))
        else:
            s = np.zeros((len(hertz), 2, 2), complex)
            s[:, 0, 1] = s[:, 1, 0] = 10 ** (-0.1 / 20)
            made.append(rf.Network(frequency=band, s=s, z0=50.0, s_def="traveling"))
    return reduce(lambda a, b: a**b, made)


def beside(points: int = 1000, draws: int = 2000) -> list[str]:
    hertz = np.linspace(1.8e6, 450e6, points)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = seconds(lambda: cascade(hertz))
    ours = swept(points, draws, run(12)) / draws
    one = swept(points, 40, run(12))
    return [
        "| 12 parts, 1,000 points | ms |",
        "|---|---|",
        f"| scikit-rf, one sample | {1e3 * theirs:.1f} |",
        f"| this project, one of 2,000 samples | {1e3 * ours:.2f} |",
        f"| this project, all of 40 samples, the fewest it takes | {1e3 * one:.1f} |",
        "",
        f"A sample costs scikit-rf {theirs / ours:.0f} times as much. Both give the same numbers to 1e-9"
        " (`tests/budget/test_against_scikit_rf.py`).",
    ]


def report() -> str:
    swept(100, 100, run(12))
    text = [
        "# Speed of a run",
        "",
        f"Written by `python benchmarks/chain_speed.py --write`; Python {platform.python_version()},"
        f" NumPy {np.__version__}, scikit-rf {rf.__version__}, {platform.machine()}, one thread, least of {REPEATS}.",
        "",
        "## Asked and measured",
        "",
        *headline(),
        "",
        "## Growth",
        "",
        *scaling(),
        "",
        "## Beside scikit-rf",
        "",
        *beside(),
        "",
    ]
    return "\n".join(text)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--write", action="store_true", help=f"keep the tables in {KEPT.name}")
    told = report()
    if ask.parse_args().write:
        KEPT.write_text(told, encoding="utf-8")
    sys.stdout.write(told)


if __name__ == "__main__":
    main()
