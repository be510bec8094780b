"""How long sharing out and choosing take, and how near to the proven bound a sharing-out ends.

Writes choice_results.md beside it; `choose` as an argument writes the part on choosing anew and keeps the other.

Instances are drawn at random: lengths 3 to 40 m, routes 5 to 45 m, losses of thin to thick line on HF to UHF, three
sections to a run at most.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from linewright.catalogue import line_type, line_types
from linewright.choice.choose import Question, choose_line
from linewright.choice.sharing import Sharing, solve
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.choice import Offer, Prices, Wishes
from linewright.core.nouns.station import Antenna, ConnectorPart, LinePart, LossPart, Receiver, Run
from linewright.link.draws import DRAWS

SIZES = ((10, 4, 0), (20, 6, 2), (40, 12, 3), (60, 20, 0), (60, 20, 3))
SECONDS = 5.4
"""What the first of the two searches of ``share_pieces`` may take."""
SEEDS = 3
RESULTS = Path(__file__).with_name("choice_results.md")


def instance(pieces: int, runs: int, offers: int, seed: int) -> Sharing:
    rng = np.random.default_rng(seed)
    length, route = rng.uniform(3, 40, pieces).round(1), rng.uniform(5, 45, runs).round(1)
    per_m, steep = rng.uniform(0.03, 0.25, pieces), rng.uniform(0.3, 6, runs)
    return Sharing(
        length, route, (per_m * length)[:, None] * steep, 0.05 * steep, 0.1 * steep,
        rng.uniform(0.03, 0.1, offers)[:, None] * steep, rng.uniform(1, 4, offers), np.full(offers, 8.0), 200.0, 3,
    )  # fmt: skip


def row(pieces: int, runs: int, offers: int) -> str:
    took, gaps, totals = [], [], []
    for seed in range(SEEDS):
        began = time.perf_counter()
        found = solve(instance(pieces, runs, offers, seed), SECONDS)
        took.append(time.perf_counter() - began)
        gaps.append(max(0.0, found.objective_db - found.bound_db))
        totals.append(found.objective_db)
    gap = ", ".join("proved" if g < 1e-3 else f"{g:.2f} of {total:.0f}" for g, total in zip(gaps, totals, strict=True))
    return f"| {pieces} | {runs} | {offers} | {', '.join(f'{t:.1f}' for t in took)} | {gap} |"


CHOOSING = "# Choosing: processor time\n"
TYPES, BANDS, ROUNDS = 40, 8, 9


def choosing() -> str:
    """Return how long a choice over 40 types in two sections on 8 bands takes."""
    offers = tuple(Offer(t, 1.0 + i % 7, 3.0, "EUR") for i, t in enumerate(line_types()[:TYPES]))
    old = LinePart("old", Piece("old", 20.0, line_type("RG-213/U"), 0))
    jumper = LinePart("jumper", Piece("jumper", 1.5, line_type("RG-58C/U"), 0))
    chain = (jumper, ConnectorPart("plugs", "UHF", 2), old, LossPart("arrestor", ((0.0, 0.1),), swr=1.2))
    wishes = Wishes(tail_m=3.0, bend_radius_m=10.0, any_impedance=True)
    bands = tuple(np.linspace(14e6, 440e6, BANDS).tolist())
    run = Run("beam", bands, 50.0, chain, Antenna(swr=((0.0, 1.6),)), receiver=Receiver(4.0), wishes=wishes)
    question = Question(run, Prices(offers, {}, "EUR"), noise="rural")
    choice, took = choose_line(question), []
    for _ in range(ROUNDS):
        began = time.process_time()
        choose_line(question)
        took.append(time.process_time() - began)
    weighed = len(choice.trade_off) + len(choice.beaten)
    return (
        f"{CHOOSING}\n{TYPES} types as main run and as tail, {BANDS} bands, {DRAWS} draws: {weighed} choices weighed,"
        f"\n{len(choice.trade_off)} of them in the trade-off. Median of {ROUNDS}: {1e3 * np.median(took):.0f} ms, the"
        f" quickest {1e3 * min(took):.0f} ms.\n"
    )


def main() -> None:
    if sys.argv[1:] == ["choose"]:
        kept = RESULTS.read_text(encoding="utf-8").split(CHOOSING)[0].rstrip()
        said = choosing()
        RESULTS.write_text(f"{kept}\n\n{said}", encoding="utf-8")
        print(said)
        return
    rows = [row(*size) for size in SIZES]
    head = "| pieces | runs | lines on offer | seconds | gap to the proven bound, dB |"
    table = "\n".join([head, "|--:|--:|--:|---|---|", *rows])
    words = (
        "# Sharing out: time against pieces and runs\n\nWritten by `choice_speed.py`: three random instances a size,"
        f"\none search of at most {SECONDS:g} s each. A sharing-out makes two such searches and ends below 10 s.\n\n"
    )
    RESULTS.write_text(f"{words}{table}\n\n{choosing()}", encoding="utf-8")
    print(table)


if __name__ == "__main__":
    main()
