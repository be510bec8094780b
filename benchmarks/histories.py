"""The ledger held against made-up stations of two to eight years whose truth is known (``history_worlds.py``).

    python benchmarks/histories.py --stations 12 --kinds ageing,stepped --seed 1,2 --jobs 2 --write

prints markdown tables; ``--write`` keeps them in histories_results.md. Only the public library and its JSON are used.
Set OMP_NUM_THREADS=1. Seeds 9001 and above are for the last look, once.

What is counted: today's loss of a piece on the bands of its last session, as ``show_piece`` gives it (for the stations'
own today where the product can be asked for a day), beside the last sheet proved alone, the newest readings by hand and
the mean of all sessions by hand. A change counts as detectable when the loss of a session in which the piece was, or of
the impostor, differs from the first by at least four standard uncertainties of the difference, those of the tests
alone, never less than 0.05 dB together; ageing asks for three tests too. It is named when the first of the history's
``changes`` is right; a product without those has only its drift, which counts as "ageing" when it rises or falls.
"""

from __future__ import annotations

import argparse
import inspect
import re
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

import linewright as lw
from bench_families_score import by_hand, prove
from bench_physics import true_loss_db
from families_tables import clustered, markdown_table, number, rms, share
from history_worlds import KINDS, METER_KINDS, NEWCOMER, TODAY, Session, Station, file_all, station

KEPT = Path(__file__).with_name("histories_results.md")
CHOSEN_ON = "101 to 120"
"""The seeds on which the constants of the engine were chosen."""
Json = dict[str, Any]
SURE = 4.0
LEAST_U_DB = 0.05


@dataclass
class Score:
    """What one station showed: an entry a loss, and an entry a piece."""

    kind: str
    refused: str = ""
    losses: list[Json] = field(default_factory=list)
    pieces: list[Json] = field(default_factory=list)


def _today(verb: Callable[..., Any], ledger: Any, tag: str) -> Any:
    """Ask a verb about a piece on the stations' today, where it can be asked for a day."""
    known = inspect.signature(verb).parameters
    day = next((name for name in ("on", "day", "date", "at") if name in known), None)
    return verb(ledger, tag, **({day: TODAY} if day else {}))


def score(task: tuple[str, int, int]) -> Score:
    """Score one station: (kind, number, seed)."""
    world = station(*task)
    scored = Score(world.kind)
    with TemporaryDirectory() as folder, lw.open_ledger(Path(folder) / "ledger.sqlite") as ledger:
        try:
            file_all(ledger, world, Path(folder))
            alone = prove(world.sessions[-1].rig, list(world.sessions[-1].reads))
            for tag in world.sessions[-1].rig.claims:
                _piece(scored, world, tag, (ledger, alone))
        except lw.LinewrightError as refusal:
            scored.refused = re.sub(r" \(row .*?\)", "", str(refusal).splitlines()[0])
    return scored


def _group(world: Station, tag: str) -> str:
    """Return what a piece counts under: its own kind, or that of the station's meter."""
    kind = world.pieces[tag].kind
    return f"{world.kind}: {'newcomer' if kind == NEWCOMER else 'known'}" if world.kind in METER_KINDS else kind


def _piece(scored: Score, world: Station, tag: str, said: tuple[Any, Json]) -> None:
    ledger, alone = said
    shown = {band.frequency_hz: band for band in _today(lw.show_piece, ledger, tag).losses}
    for entry in (e for e in alone["losses"] if e["piece"] == tag):
        f = entry["frequency_hz"]
        band = next((b for g, b in shown.items() if abs(g / f - 1) < 1e-3), None)
        if band is not None:
            scored.losses.append(_loss(world, tag, band, entry))
    scored.pieces.append(_history(world, tag, _today(lw.history_of, ledger, tag).to_dict()))


def _loss(world: Station, tag: str, band: Any, alone: Json) -> Json:
    f = alone["frequency_hz"]
    true = world.loss_db(tag, f)
    hands = [by_hand(s.rig, s.reads, tag, f) for s in world.sessions if tag in s.rig.claims]
    known = [h for h in hands if h is not None]
    return {
        "group": _group(world, tag),
        "stale": world.stale_years,
        "true": true,
        "in": band.loss_db_low <= true <= band.loss_db_high,
        "error": band.loss_db - true,
        "alone": alone["loss_db"] - true,
        "alone in": alone["loss_db_low"] <= true <= alone["loss_db_high"],
        "newest": known[-1] - true if known else None,
        "mean": float(np.mean(known)) - true if known else None,
    }


def _in_hand_db(world: Station, session: Session, tag: str, frequency_hz: float) -> float:
    """Return the loss of what was really in hand in a session."""
    if tag in session.really:
        return float(true_loss_db(session.really[tag], np.array([frequency_hz]))[0])
    return world.loss_db(tag, frequency_hz, session.years_ago)


def _history(world: Station, tag: str, said: Json) -> Json:
    """Return whether a piece's change could be seen, and what was said of it."""
    life = world.pieces[tag]
    points = said.get("points", [])
    sessions = [s for s in world.sessions if tag in s.rig.claims]
    sizes = []
    if len(points) >= 2 and len(sessions) >= 2:
        f = points[0]["frequency_hz"]
        u = [(p["loss_db_high"] - p["loss_db_low"]) / 3.92 for p in points]
        losses = np.array([_in_hand_db(world, s, tag, f) for s in sessions])
        sizes = [float(np.ptp(losses)) / max(LEAST_U_DB, float(np.hypot(u[0], u[-1])))]
    enough = len(sessions) >= 3 or life.kind != "ageing"
    named = _named(said)
    return {
        "group": _group(world, tag),
        "kind": life.kind,
        "tests": len(points),
        "seen": bool(sizes and sizes[0] >= SURE and enough),
        "right": named in life.named,
        "said": named,
    }


def _named(said: Json) -> str:
    """Return the change a history names first: "steady" where it names none."""
    told = [c for c in said.get("changes", []) if isinstance(c, dict) and "p" in c and "kind" in c]
    if told:
        return str(max(told, key=lambda c: c["p"])["kind"])
    drift = said.get("drift")
    return "ageing" if drift and drift["verdict"] in ("rising", "falling") else "steady"


# Tables -------------------------------------------------------------------------------------------------------------
def _over(losses: Sequence[Json], other: str) -> str:
    both = [(x["error"], x[other]) for x in losses if x[other] is not None]
    return f"{rms([e for e, _ in both]) / rms([o for _, o in both]):.2f}" if both else "-"


def _covered(scores: Sequence[Score], which: Callable[[Json], bool], key: str = "in") -> str:
    p, se = clustered([[x[key] for x in s.losses if which(x)] for s in scores])
    return "-" if np.isnan(p) else f"{p:.3f} ± {se:.3f}"


def _loss_row(name: str, scores: Sequence[Score]) -> list[str]:
    losses = [x for s in scores for x in s.losses if name in ("all", x["group"])]
    if not losses:
        return [name, "0", *["-"] * 7]

    def mine(x: Json) -> bool:
        return name in ("all", x["group"])

    bias = 100 * float(np.median([x["error"] / max(x["true"], 0.05) for x in losses]))
    return [
        name, str(len(losses)), _covered(scores, mine), f"{bias:+.1f}", number(rms([x["error"] for x in losses])),
        _over(losses, "alone"), _over(losses, "newest"), _over(losses, "mean"), _covered(scores, mine, "alone in"),
    ]  # fmt: skip


def _change_row(name: str, scores: Sequence[Score]) -> list[str]:
    pieces = [p for s in scores for p in s.pieces if p["group"] == name]
    seen = [p for p in pieces if p["seen"]]
    quiet = [p for p in pieces if p["kind"] in ("steady", "bought", NEWCOMER) and p["tests"] >= 2]
    said = sorted({p["said"] for p in seen})
    counts = ", ".join(f"{word} {sum(p['said'] == word for p in seen)}" for word in said)
    false = share((p["said"] != "steady" for p in quiet), 3)
    return [
        name,
        str(len(pieces)),
        share(p["right"] for p in seen if p["kind"] not in ("steady", "bought")),
        counts,
        false,
    ]


def _stale_rows(scores: Sequence[Score]) -> Iterable[list[str]]:
    for stale in (0.0, 1.0, 2.0, 3.0):
        for kind in ("ageing", "steady"):
            few = [x for s in scores for x in s.losses if x["stale"] == stale and x["group"] == kind]

            def mine(x: Json, stale: float = stale, kind: str = kind) -> bool:
                return bool(x["stale"] == stale and x["group"] == kind)

            yield [f"{stale:g}", kind, str(len(few)), _covered(scores, mine)]


def tables(scores: Sequence[Score], heading: str) -> str:
    """Return every table of a run."""
    groups = list(dict.fromkeys(x["group"] for s in scores for x in s.losses))
    refused = sorted({f"{s.kind}: {s.refused}" for s in scores if s.refused})
    heads = (
        "kind", "losses", "coverage ± se", "bias %", "RMSE dB", "/ last sheet alone", "/ newest by hand",
        "/ mean by hand", "last sheet alone covers",
    )  # fmt: skip
    parts = [
        "# Histories", "", heading + ". What is counted stands in `histories.py`.", "", "## Today's loss", "",
        markdown_table(heads, [_loss_row(name, scores) for name in [*groups, "all"]]), "",
        "The rows of meters: in the last session only that meter is there, without a pad; a newcomer is a piece first "
        "tested then. What was learnt of the meter before shows in RMSE over the last sheet alone.", "",
        "## Days since the last test", "",
        markdown_table(("years", "kind", "losses", "coverage ± se"), _stale_rows(scores)), "",
        "## Changes", "",
        markdown_table(("kind", "pieces", "named right", "said of those", "false in quiet ones"),
                       [_change_row(name, scores) for name in groups]), "",
    ]  # fmt: skip
    parts += [f"Refused, {sum(bool(s.refused) for s in scores)} stations:", ""] if refused else []
    return "\n".join([*parts, *(f"- {text}" for text in refused[:4])]).rstrip() + "\n"


def headed(stations: int, seeds: Sequence[int]) -> str:
    """Return what a run was made of."""
    each = f"{stations} station{'s' if stations != 1 else ''} a kind"
    named = f"seeds {', '.join(map(str, seeds[:-1]))} and {seeds[-1]}" if len(seeds) > 1 else f"seed {seeds[0]}"
    return f"{each}, {named}; the engine's constants were chosen on seeds {CHOSEN_ON}"


def run(stations: int, kinds: Sequence[str], seeds: Sequence[int], jobs: int) -> list[Score]:
    """Score stations of every kind on several processes."""
    tasks = [(kind, number, seed) for seed in seeds for number in range(stations) for kind in kinds]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(score, tasks))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stations", type=int, default=12, help="stations a kind")
    parser.add_argument("--kinds", default=",".join(KINDS), help="their names, with commas")
    parser.add_argument("--seed", default="1", help="one, or several with commas")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--write", action="store_true", help=f"keep the tables in {KEPT.name}")
    asked = parser.parse_args()
    kinds = [kind.strip() for kind in asked.kinds.split(",")]
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown:
        parser.error(f"--kinds: there is no {unknown[0]}; there are {', '.join(KINDS)}")
    seeds = [int(seed) for seed in asked.seed.split(",")]
    heading = headed(asked.stations, seeds)
    text = tables(run(asked.stations, kinds, seeds, asked.jobs), heading)
    print(text)
    if asked.write:
        KEPT.write_text(text)


if __name__ == "__main__":
    main()
