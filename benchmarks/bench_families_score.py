"""The product held against the families of ``bench_families.py``: what it says beside what is true.

    python benchmarks/bench_families_score.py --benches 60 --families sound,wet --seed 1 --jobs 2 --write

prints markdown tables; ``--write`` keeps them in bench_families_results.md. Only the public library and its JSON are
used. Set OMP_NUM_THREADS=1. Seeds 9001 and above are for the last look, once.

What is counted: a loss is covered when the truth lies in its 95 % interval; standard errors are over benches. By hand
is the mean over meters of 10 lg(mean reference / mean reading), the jumper's catalogue loss added where the piece took
its place. A slip counts from 0.3 dB; readings off by 0.1 to 0.3 dB count neither way. "Worse" is a verdict of worn or
bad; a piece is within 1.1 when that is true against the stated type and length on every band read, and in reach of the
power when its middle ratio is 1.4 to 1.6; a witness is a second meter on it or another piece of its stock. A cause
counts as named when it is the first of a piece or reading, a wrong type or length when it is among the first two with a
probability of 0.2 at least. A quote is right when the figure is what that meter read, or what it read carried to this
meter by the readings they share, within 0.3 dB.
"""

from __future__ import annotations

import argparse
import re
import time
import zlib
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

import linewright as lw
from bench_families import FAMILIES, HF, VHF, World, bench
from bench_gear import open_band
from bench_rig import Read, Rig, read_sheet
from families_tables import tables
from linewright.core.nouns.bench_result import Lacking

KEPT = Path(__file__).with_name("bench_families_results.md")
WIDE = 0.25
WARM = 1000.0
"""Readings after which a source has warmed up."""
Json = dict[str, Any]
Wanted = tuple[str, float, tuple[str, ...]]
"""A reading that may be taken: meter, hertz, path."""


@dataclass
class Score:
    """What one bench showed. Lists hold one entry a loss, piece, reading, quote or advice."""

    family: str
    slips: bool
    refused: str = ""
    seconds: float = 0.0
    losses: list[Json] = field(default_factory=list)
    pieces: list[Json] = field(default_factory=list)
    readings: list[Json] = field(default_factory=list)
    exponents: list[bool] = field(default_factory=list)
    quotes: list[bool] = field(default_factory=list)
    advice: Json | None = None
    promises: list[float] = field(default_factory=list)


def prove(rig: Rig, reads: list[Read], lacking: tuple[Lacking, ...] = ()) -> Json:
    """Return the product's JSON on a bench, whose owner lacks some gear."""
    return lw.prove_cable(read_sheet(rig, reads), explained=False, lacking=lacking).to_dict()


def score(task: tuple[str, int, int, bool]) -> Score:
    """Score one bench: (family, number, seed, whether its advice is followed)."""
    family, number, seed, advised = task
    world = bench(family, number, seed)
    scored = Score(family, world.slips)
    start = time.perf_counter()
    try:
        said = prove(world.rig, list(world.reads))
    except lw.LinewrightError as refusal:
        scored.refused = re.sub(r" \(row .*?\)", "", str(refusal).splitlines()[0])
        return scored
    scored.seconds = time.perf_counter() - start
    scored.losses = [_loss(world, entry) for entry in said["losses"]]
    scored.pieces = [_piece(world, said, entry) for entry in said["pieces"]]
    scored.readings = [_reading(world, entry) for entry in said["readings"]]
    scored.exponents = _exponents(world, said)
    scored.quotes = list(_quotes(world, said))
    if advised:
        scored.advice, scored.promises = follow(world, seed)
    return scored


# Losses and pieces --------------------------------------------------------------------------------------------------
def by_hand(rig: Rig, reads: Sequence[Read], tag: str, frequency_hz: float) -> float | None:
    """Return the loss a careful person works out from all meters that were read, every reading taken at its word."""
    ratios = []
    for meter in rig.instruments.values():
        here = [r for r in reads if (r.meter, r.frequency_hz) == (meter.name, frequency_hz)]
        first = [meter.watts(r.written) for r in here if not r.path]
        through = [meter.watts(r.written) for r in here if r.path == (tag,)]
        if first and through and np.mean(first) > 0 and np.mean(through) > 0:
            ratios.append(10 * np.log10(np.mean(first) / np.mean(through)))
    if not ratios:
        return None
    added = 0.0
    if rig.in_place == "replaced":
        claim, f_mhz = rig.jumper_claim, frequency_hz / 1e6
        law = lw.line_type(str(claim.line)).law
        added = float(law.db_per_m(frequency_hz)) * claim.length_m + 2 * 0.0017 * np.sqrt(f_mhz)
    return float(np.mean(ratios)) + added


def _loss(world: World, entry: Json) -> Json:
    truth = world.pieces[entry["piece"]]
    f = entry["frequency_hz"]
    true, hand = truth.loss_db[f], by_hand(world.rig, world.reads, entry["piece"], f)
    return {
        "in": entry["loss_db_low"] <= true <= entry["loss_db_high"],
        "error": entry["loss_db"] - true,
        "true": true,
        "width": entry["loss_db_high"] - entry["loss_db_low"],
        "hand": None if hand is None else hand - true,
        "p": entry["p_worse_1_1"],
        "worse": truth.claimed_ratio[f] > 1.1,
    }


def causes_of(entry: Any) -> list[tuple[float, str]]:
    """Return every cause in a part of the JSON with its probability, the likeliest first."""
    found: list[tuple[float, str]] = []
    if isinstance(entry, dict):
        if isinstance(entry.get("cause"), str) and entry["cause"]:
            found.append((float(entry.get("p") or entry.get("p_wrong") or 1.0), entry["cause"]))
        found += [cause for value in entry.values() for cause in causes_of(value)]
    elif isinstance(entry, list):
        found += [cause for value in entry for cause in causes_of(value)]
    return sorted(found, reverse=True)


def _piece_causes(said: Json, tag: str) -> list[tuple[float, str]]:
    """Return the causes a result names for a piece; where it has no codes, what its part that grew stands for."""
    entries = [e for name in said for e in (said[name] if isinstance(said[name], list) else [])]
    own = [e for e in entries if isinstance(e, dict) and e.get("piece") == tag and "path" not in e]
    coded = causes_of(own)
    if coded:
        return coded
    parts = {"p_conductor": "braid", "p_dielectric": "water", "p_joint": "resistive joint", "p_none": "none"}
    return sorted(((e[p], cause) for e in own for p, cause in parts.items() if p in e), reverse=True)


def _piece(world: World, said: Json, entry: Json) -> Json:
    truth = world.pieces[entry["piece"]]
    ratios = np.array(list(truth.claimed_ratio.values()))
    causes = _piece_causes(said, entry["piece"])
    first_two = {cause for p, cause in causes[:2] if p >= 0.2}
    doubted = "Check the length, the type" in entry["why"]
    read = [r for r in world.reads if r.path == (truth.tag,)]
    stock = world.rig.claims[truth.tag].stock
    kin = [c for c in world.rig.claims.values() if stock and c.stock == stock]
    wrong_type, wrong_length = {"other type", "other impedance"}, {"other length"}
    return {
        "verdict": entry["verdict"],
        "within": bool(np.all(ratios <= 1.1)),
        "middle": float(np.median(ratios)),
        "witness": len({r.meter for r in read}) > 1 or len(kin) > 1,
        "most_db": max(truth.loss_db.values()),
        "cause": truth.cause,
        "first": causes[0][1] if causes and causes[0][0] >= 0.5 else "",
        "off": truth.claim_off,
        "type": bool(first_two & wrong_type) or doubted,
        "length": bool(first_two & wrong_length) or doubted,
    }


# Readings -----------------------------------------------------------------------------------------------------------
def _reading(world: World, entry: Json) -> Json:
    read = world.reads[entry["row"] - 2]
    return {
        "p": entry["p_wrong"],
        "off": abs(read.slip_db),
        "kind": read.kind,
        "first": _named_first(entry),
        "checked": entry["checked"],
    }


def _named_first(entry: Json) -> str:
    """Return the code a reading's doubt names first; where there are no codes, the one thing that words name today."""
    causes = causes_of(entry)
    if causes:
        return causes[0][1]
    return "bad insertion" if "bad insertion" in entry["why"] else ""


def _exponents(world: World, said: Json) -> list[bool]:
    known = [
        m for m in said["meters"] if m["exponent"] is not None and (m["meter"], m["frequency_hz"]) in world.exponents
    ]
    return [
        bool(m["exponent_low"] <= world.exponents[m["meter"], m["frequency_hz"]] <= m["exponent_high"]) for m in known
    ]


NUMBER = r"(?P<value>-?\d[\d  ]*(?:[.,]\d+)?)\s*(?P<unit>mW|W|dBm|V|on the scale|dB)\b"
QUOTE = re.compile(r"[Tt]he (?P<who>[^.;:]+?) (?:says?|reads?|shows?|read|showed) " + NUMBER)


def _quotes(world: World, said: Json) -> Iterator[bool]:
    """Give for every quote of another meter whether it is what that meter read."""
    names = sorted(world.rig.instruments, key=len, reverse=True)
    for entry in said["readings"]:
        read = world.reads[entry["row"] - 2]
        for quote in QUOTE.finditer(entry["why"]):
            others = [name for name in names if name in quote["who"] and name != read.meter]
            value = float(quote["value"].replace(" ", "").replace(" ", "").replace(",", "."))
            if others:
                yield any(_was_read(world, read, other, value, quote["unit"]) for other in others)


def _was_read(world: World, read: Read, other: str, value: float, unit: str) -> bool:
    there = [r for r in world.reads if (r.meter, r.frequency_hz, r.path) == (other, read.frequency_hz, read.path)]
    if any(abs(r.written - value) <= 0.02 * abs(r.written) + 1e-9 for r in there):
        return True
    mine = world.rig.instruments[read.meter]
    if unit == "dB":
        return any(abs(db - value) < 0.3 for db in _carried_db(world, read, other, there))
    watts = mine.watts(value)
    return any(abs(10 * np.log10(max(watts, 1e-9) / max(w, 1e-9))) < 0.3 for w in _carried_w(world, read, other, there))


def _levels(world: World, meter: str, frequency_hz: float) -> dict[tuple[str, ...], float]:
    """Return the mean watts a meter showed of each path on a band."""
    instrument, found = world.rig.instruments[meter], {}
    for r in world.reads:
        if (r.meter, r.frequency_hz) == (meter, frequency_hz):
            found.setdefault(r.path, []).append(instrument.watts(r.written))
    return {path: float(np.mean(w)) for path, w in found.items() if np.mean(w) > 0}


def _carried_w(world: World, read: Read, other: str, there: list[Read]) -> Iterator[float]:
    """Give what the other meter's readings of this path mean on this meter, by each path that both have read."""
    mine, theirs = (_levels(world, m, read.frequency_hz) for m in (read.meter, other))
    for path in mine.keys() & theirs.keys() - {read.path}:
        for r in there:
            yield mine[path] * world.rig.instruments[other].watts(r.written) / theirs[path]


def _carried_db(world: World, read: Read, other: str, there: list[Read]) -> Iterator[float]:
    theirs = _levels(world, other, read.frequency_hz)
    jumper_db = 0.0
    if () in theirs:
        for r in there:
            watts = world.rig.instruments[other].watts(r.written)
            yield 10 * np.log10(theirs[()] / max(watts, 1e-9)) + jumper_db


# What to read next --------------------------------------------------------------------------------------------------
Loss = tuple[str, float]


def _in_doubt(world: World, said: Json) -> set[Loss]:
    """Return the losses that a bench leaves open: wider than a quarter either way, or of a piece it cannot tell."""
    unsure = {p["piece"] for p in said["pieces"] if p["verdict"] == "cannot tell"}
    wide = {
        (e["piece"], e["frequency_hz"])
        for e in said["losses"]
        if e["piece"] in unsure or e["loss_db_high"] - e["loss_db_low"] > 2 * WIDE * abs(e["loss_db"])
    }
    return {(tag, f) for tag, f in wide if f in world.pieces[tag].loss_db}


def _log_error(world: World, said: Json, losses: set[Loss]) -> float:
    """Return the mean of |ln(loss / truth)| over some losses."""
    found = {(e["piece"], e["frequency_hz"]): max(e["loss_db"], 0.01) for e in said["losses"]}
    return float(np.mean([abs(np.log(found[tag, f] / world.pieces[tag].loss_db[f])) for tag, f in sorted(losses)]))


def _lacking(rig: Rig) -> tuple[Lacking, ...]:
    """Return the gear that nobody at the bench has: further meters, and attenuators unless one is there."""
    return ("second meter",) if rig.pads else ("second meter", "attenuator")


def _at_hand(rig: Rig, advice: Json) -> Wanted | None:
    """Return the reading an advice asks for, or None where it wants something that is not on the bench."""
    path = tuple((advice["path"] or "?").split("+")) if advice["path"] != "reference" else ()
    known = advice["meter"] in rig.instruments and all(tag in rig.parts for tag in path)
    return (advice["meter"], advice["frequency_hz"], path) if known and advice["frequency_hz"] else None


class Further:
    """Readings taken on a bench beyond its own: a pair each, of the reference and of a path.

    A pair has the same luck whoever takes it and whatever was taken before, so that advised and random readings differ
    by what they are alone.
    """

    def __init__(self, world: World, seed: int) -> None:
        self._rig, self._start, self._seed = world.rig.again(seed + 1), world.rig.wander_db, (seed, world.number)
        self._taken: list[Wanted] = []
        self.reads = list(world.reads)

    def take(self, what: Wanted) -> None:
        """Take a pair."""
        meter, frequency_hz, path = what
        rig = self._rig
        open_band(rig.source, rig.instruments, frequency_hz, len(rig.parts))
        luck = zlib.crc32(repr((meter, round(frequency_hz), path)).encode())
        rig.rng = np.random.default_rng([*self._seed, luck, self._taken.count(what)])
        rig.clock, rig.wander_db, rig.seat = WARM, self._start, None
        self.reads += [rig.read(meter, frequency_hz, ()), rig.read(meter, frequency_hz, path)]
        self._taken.append(what)

    def prove(self) -> Json:
        """Return what the product says of all readings."""
        return prove(self._rig, self.reads, _lacking(self._rig))


def follow(world: World, seed: int, rounds: int = 3) -> tuple[Json | None, list[float]]:
    """Follow three advices one after another, and take as many random admissible readings instead.

    The errors compared are those of the losses that were in doubt before: averaged over all, what is known already
    would drown them. Random readings are of any meter and path there, half of them on the bands read so far and half on
    any band of the radio. There is no first part where nothing was in doubt.
    """
    advised, random, promises = Further(world, seed), Further(world, seed), []
    said = now = advised.prove()
    losses, taken = _in_doubt(world, said), 0
    if not losses:
        return None, []
    for _ in range(rounds):
        wanted = [(w, a["why"]) for a in now["next"] if (w := _at_hand(world.rig, a)) is not None]
        if not wanted:
            break
        advised.take(wanted[0][0])
        before, now, taken = now, advised.prove(), taken + 1
        promises += _promise(before, now, wanted[0][1])
    rng = np.random.default_rng([seed, world.number, 77])
    paths = sorted({r.path for r in world.reads if r.path})
    for _ in range(rounds):
        meter = str(rng.choice(list(world.rig.instruments)))
        f = float(rng.choice(world.rig.frequencies if rng.random() < 0.5 else (*HF, *VHF)))
        random.take((meter, f, paths[int(rng.integers(len(paths)))]))
    errors = {
        name: _log_error(world, after, losses)
        for name, after in (("before", said), ("advised", now), ("random", random.prove()))
    }
    return errors | {"taken": taken}, promises


HALF = r"±(?P<{}>[\d.]+) dB"
PROMISE = re.compile(
    r"the loss of (?P<piece>.+?) at (?P<mhz>[\d.]+) MHz from " + HALF.format("was") + " to about " + HALF.format("to")
)


def _promise(before: Json, after: Json, why: str) -> list[float]:
    """Return the narrowing that came over the narrowing that was promised; nothing without a promise."""
    said = PROMISE.search(why)
    if said is None:
        return []
    half = []
    for result in (before, after):
        for e in result["losses"]:
            if e["piece"] == said["piece"] and abs(e["frequency_hz"] / 1e6 - float(said["mhz"])) < 0.06:
                half.append((e["loss_db_high"] - e["loss_db_low"]) / 2)
    if len(half) < 2 or float(said["was"]) <= 0 or float(said["to"]) <= 0:
        return []
    return [float((half[1] / half[0]) / (float(said["to"]) / float(said["was"])))]


def run(benches: int, names: list[str], seed: int, jobs: int, advised: int) -> list[Score]:
    """Score benches of families on several processes, following the advice on the first ``advised`` of each family."""
    tasks = [(name, number, seed, number < advised) for number in range(benches) for name in names]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(score, tasks, chunksize=4))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=60, help="benches a family")
    parser.add_argument("--families", default=",".join(FAMILIES), help="their names, with commas")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--advised", type=int, default=12, help="benches a family whose advice is followed")
    parser.add_argument("--write", action="store_true", help=f"keep the tables in {KEPT.name}")
    asked = parser.parse_args()
    names = [name.strip() for name in asked.families.split(",")]
    unknown = [name for name in names if name not in FAMILIES]
    if unknown:
        parser.error(f"--families: no family is called {unknown[0]}; there are {', '.join(FAMILIES)}")
    scores = run(asked.benches, names, asked.seed, asked.jobs, asked.advised)
    heading = (
        f"{asked.benches} benches a family, seed {asked.seed}; advice followed on the first {asked.advised} of each"
    )
    text = tables(scores, names, heading)
    print(text)
    if asked.write:
        KEPT.write_text(text)


if __name__ == "__main__":
    main()
