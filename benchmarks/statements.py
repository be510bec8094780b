"""Hold every kind of statement that a bench result makes against the truth of made-up benches.

How often each is said, with which probability it is said, and how often it is true. The benches are those of
``bench_families.py``, all families alike; the receiving runs those of ``reception_worlds.py``. ``--write`` puts the
tables into ``docs/how-often-it-is-right.md``; ``--reception`` does those of reception alone, ``--lines 2`` those of
sweeps and tests from one end (``line_statements.py``).
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import linewright as lw
from bench_families import FAMILIES, PieceTruth, World, bench
from bench_families_score import prove
from families_tables import SLIP_DB, bins_table, markdown_table
from line_statements import PART, of_one_end, of_sweep, sweep_tasks
from line_statements import part as line_part
from one_end_worlds import KINDS as WAYS
from reception_worlds import heard
from reception_worlds import statements as of_reception
from reception_worlds import world as receiving

PAGE = Path(__file__).parent.parent / "docs" / "how-often-it-is-right.md"
Json = dict[str, Any]
OFF = 0.10
"""A detector is off where its exponent is a tenth from one: what "doubtful" and "none" say of it."""
WORTH, WORTH_DB = 0.10, 0.05
"""An excess worth a name, as a share of what the claim should lose and in dB: what "nothing worth naming" denies."""
FLAT = ("resistive joint", "short")
CHANCES = ("a reading is wrong", "a loss is above 1.1 times", "a piece's cause", "a slip's shape")
"""What is said with every chance from none to certain: held against the truth in bins."""


@dataclass(frozen=True)
class Said:
    """One statement: its kind, the probability it was said with (None where it has none), and whether it is true."""

    kind: str
    p: float | None
    true: bool


def statements(world: World, said: Json) -> Iterator[Said]:
    """Give every statement of a result that the truth of its bench can be held against."""
    for entry in said["losses"]:
        truth = world.pieces[entry["piece"]].loss_db[entry["frequency_hz"]]
        yield Said("a loss lies in its interval", 0.95, entry["loss_db_low"] <= truth <= entry["loss_db_high"])
        if entry["p_worse_1_1"] is not None:
            worse = world.pieces[entry["piece"]].claimed_ratio[entry["frequency_hz"]] > 1.1
            yield Said(CHANCES[1], entry["p_worse_1_1"], worse)
    for entry in said["pieces"]:
        yield from _of_a_piece(world.pieces[entry["piece"]], entry)
    for entry in said["readings"]:
        yield from _of_a_reading(world, entry)
    for entry in said["meters"]:
        exponent = world.exponents.get((entry["meter"], entry["frequency_hz"]))
        if exponent is not None:
            yield from _of_a_meter(float(np.log(exponent)), entry)
    for entry in said["growth"]:
        yield from _of_growth(world.pieces[entry["piece"]], entry)


def _of_a_meter(log: float, entry: Json) -> Iterator[Said]:
    """Hold a meter's sentence against the log of its exponent: good, off one way, or between two ends."""
    if entry["trust"] == "good":
        yield Said("a meter: good", None, abs(log) <= OFF)
    elif "dB differences" in entry["why"]:
        yield Said("a meter: its decibels are off", None, (log if entry["exponent"] > 1.0 else -log) > OFF)
    elif "anything from" in entry["why"]:
        within = entry["exponent_low"] <= np.exp(log) <= entry["exponent_high"]
        yield Said("a meter: its decibels may be from here to there", 0.95, bool(within))


def _of_a_piece(truth: PieceTruth, entry: Json) -> Iterator[Said]:
    ratio = float(np.exp(np.mean(np.log(list(truth.claimed_ratio.values())))))
    held = {"good": ratio <= 1.25, "worn": ratio > 1.1, "bad": ratio > 1.5}
    if entry["verdict"] in held and not np.isnan(ratio):
        yield Said(f"a piece: {entry['verdict']}", 0.95, bool(held[entry["verdict"]]))
    if "It reads like" in entry["why"]:
        either = truth.cause == "other type" or (truth.cause in ("wear", "braid") and ratio > 1.1)
        yield Said("a piece: like another type, or worn", None, either)
    causes = [entry, *entry["rivals"]] if entry["cause"] else []
    for cause in causes:
        yield Said(CHANCES[2], cause["p"], _is(truth.cause, cause["cause"]))
        if cause["p"] >= 0.5:
            yield Said(f"a piece: {cause['cause']}", cause["p"], _is(truth.cause, cause["cause"]))
    if {c["cause"] for c in causes} & {"other type", "other length", "other impedance"}:
        yield Said("a piece: its claim is to be doubted", None, truth.cause.startswith("other"))


def _is(true: str, named: str) -> bool:
    return true == named or (named in FLAT and true in FLAT) or (named == "braid" and true == "wear")


def _of_growth(truth: PieceTruth, entry: Json) -> Iterator[Said]:
    parts = {"p_conductor": ("braid", "wear"), "p_dielectric": ("water", "wear"),
             "p_joint": (*FLAT, "open conductor", "wet connector"), "p_none": ("none",)}  # fmt: skip
    if "Cannot tell" in entry["sentence"]:
        return
    name = max(parts, key=lambda part: entry[part])
    held = not _lost_beyond_new(truth) if name == "p_none" else truth.cause in parts[name]
    yield Said(f"what grew: {name.removeprefix('p_')}", entry[name], held)


def _lost_beyond_new(truth: PieceTruth) -> bool:
    """Return whether on some band a piece loses more beyond its claim than is worth a name there."""
    claimed = {f: truth.loss_db[f] / ratio for f, ratio in truth.claimed_ratio.items()}
    return any(truth.loss_db[f] - new > max(WORTH * new, WORTH_DB) for f, new in claimed.items())


def _of_a_reading(world: World, entry: Json) -> Iterator[Said]:
    read = world.reads[entry["row"] - 2]
    wrong = abs(read.slip_db) >= SLIP_DB
    yield Said(CHANCES[0], entry["p_wrong"], wrong)
    if entry["cause"]:
        yield Said(CHANCES[3], entry["p"], read.kind == entry["cause"])
    if entry["p_wrong"] > 0.5:
        yield Said("a reading is wrong (above 0.5)", entry["p_wrong"], wrong)
    if entry["p_wrong"] > 0.95:
        yield Said("a reading is wrong (above 0.95)", entry["p_wrong"], wrong)
    if entry["cause"] and entry["p"] >= 0.4:
        yield Said(f"a reading: {entry['cause']}", entry["p"], read.kind == entry["cause"])
    if entry["checked"] and entry["p_wrong"] < 0.05:
        yield Said("a reading stands", 1.0 - entry["p_wrong"], not wrong)


def of_bench(task: tuple[str, int, int]) -> list[Said]:
    """Return the statements of one bench: (family, number, seed)."""
    world = bench(*task)
    try:
        return list(statements(world, prove(world.rig, list(world.reads))))
    except lw.LinewrightError:
        return []


def of_run(task: tuple[int, int]) -> list[Said]:
    """Return the statements of one receiving run: (number, seed)."""
    w = receiving(*task)
    return [Said(*said) for said in of_reception(w, heard(w))]


def table(found: list[Said]) -> str:
    """Return the statements by kind: how often said, with which probability, how often true, and its standard error."""
    rows = []
    for kind in sorted({s.kind for s in found} - set(CHANCES)):
        mine = [s for s in found if s.kind == kind]
        true, told = float(np.mean([s.true for s in mine])), [s.p for s in mine if s.p is not None]
        said = f"{np.mean(told):.2f}" if told else "-"
        rows.append((kind, len(mine), said, f"{true:.2f}", f"{np.sqrt(true * (1 - true) / len(mine)):.2f}"))
    return markdown_table(("statement", "said", "with", "true", "se"), rows)


def bins(found: list[Said]) -> str:
    """Return for each thing that is said with any chance how often it was so, in bins of that chance."""
    kinds = [[(s.p, s.true) for s in found if s.kind == kind and s.p is not None] for kind in CHANCES]
    return "\n\n".join(bins_table(pairs, kind) for kind, pairs in zip(CHANCES, kinds, strict=True) if pairs)


def page(found: list[Said], heading: str) -> str:
    """Return the page of the manual."""
    return (
        "# How often it is right\n\n"
        "Every kind of statement that `linewright prove` makes, held against made-up benches whose truth is known.\n"
        "They come from the physics and are written by someone who had not read the engine; each family bends one\n"
        "thing, so there is far more trouble among them than at home. *With* is the mean probability a statement was\n"
        "made with, *true* how often it was, *se* the standard error of that, statements of one bench taken as\n"
        "independent. `benchmarks/statements.py` makes this page. That nothing grew\n"
        "is true where no band loses a tenth and 0.05 dB beyond the claim; which part grew, where its cause is one of\n"
        f"that part. Statements of histories are not in it yet.\n\n{heading}\n\n{table(found)}\n\n"
        "Chances in bins: how often what was said with such a chance was so. A reading counts as wrong where what was\n"
        f"written is {SLIP_DB:g} dB or more from what an honest hand would have written.\n\n{bins(found)}\n"
    )


RECEPTION = "## Reception"


def reception_part(found: list[Said], heading: str) -> str:
    """Return the part of the page on reception."""
    return (
        f"{RECEPTION}\n\n"
        "Made-up runs: parts in any order, as warm as they like, in many a preamplifier, lines that lose more or less\n"
        "than their type, noise of a site drawn between its deciles. The truth is reckoned by carrying the powers of\n"
        f"signal and noise forward through the run.\n\n{heading}\n\n{table(found)}\n"
    )


def lines_part(each: int, seed: int, jobs: int) -> str:
    """Return the part of the page on sweeps and tests from one end, scored afresh."""
    tests = [(way, number, seed) for number in range(20 * each) for way in WAYS]
    with ProcessPoolExecutor(jobs) as pool:
        some = [s for one in pool.map(of_sweep, sweep_tasks(each, seed), chunksize=4) for s in one]
        some += [s for one in pool.map(of_one_end, tests, chunksize=16) for s in one]
    heading = f"{len(sweep_tasks(each, seed))} sweeps and {len(tests)} tests, seed {seed}."
    return line_part(table([Said(*s) for s in some]), heading)


def with_lines(text: str, part: str) -> str:
    """Return the page with its part on sweeps and tests from one end in place, before that on reception."""
    before, _, after = text.partition(RECEPTION)
    before = before.partition(PART)[0].rstrip()
    return f"{before}\n\n{part}\n{RECEPTION}{after}" if after else f"{before}\n\n{part}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=40, help="benches a family")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--runs", type=int, default=1000, help="receiving runs")
    parser.add_argument("--reception", action="store_true", help="score reception alone")
    parser.add_argument("--lines", type=int, default=0, help="score sweeps and one-end tests alone, so many a kind")
    parser.add_argument("--write", action="store_true", help=f"keep the page {PAGE.name}")
    asked = parser.parse_args()
    if asked.lines:
        text = with_lines(PAGE.read_text(encoding="utf-8"), lines_part(asked.lines, asked.seed, asked.jobs))
        print(text)
        if asked.write:
            PAGE.write_text(text, encoding="utf-8")
        return
    with ProcessPoolExecutor(asked.jobs) as pool:
        runs = [(number, asked.seed) for number in range(asked.runs)]
        received = [s for some in pool.map(of_run, runs, chunksize=32) for s in some]
        tail = reception_part(received, f"{asked.runs} runs, seed {asked.seed}.")
        if asked.reception:
            text = f"{PAGE.read_text(encoding='utf-8').partition(RECEPTION)[0].rstrip()}\n\n{tail}"
        else:
            tasks = [(name, number, asked.seed) for number in range(asked.benches) for name in FAMILIES]
            found = [s for some in pool.map(of_bench, tasks, chunksize=8) for s in some]
            heading = f"{asked.benches} benches of each of {len(FAMILIES)} families, seed {asked.seed}."
            text = f"{page(found, heading)}\n{tail}"
            if PAGE.exists() and PART in (kept := PAGE.read_text(encoding="utf-8")):
                text = with_lines(text, PART + kept.partition(PART)[2].partition(RECEPTION)[0].rstrip() + "\n")
    print(tail if asked.reception else text)
    if asked.write:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
