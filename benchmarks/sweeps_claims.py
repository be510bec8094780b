"""What is claimed of a sweep, held against lines that are whole and lines that are not: false alarms, recall, bins.

``python benchmarks/sweeps.py --claims 10 --seed 100`` prints the tables. The lines are those of ``sweep_lines.py``. A
claim is counted by what it would make a person do: look for a fault, a joint or another line, or take the line for a
type.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

import linewright as lw
from linewright.core.nouns.sweep import Fault, SweepQuestion, SweepReport
from linewright.verbs.sweep import read_sweep
from sweep_lines import COAX, DAMAGE, NO_COAX, QUALITIES, WET_SLOWER, Damage, SweptLine, draw

BINS = (0.0, 0.5, 0.8, 0.9, 0.98, 1.01)
NAMED = 0.8
"""From this chance on a type counts as told."""
AMISS_DB = 0.03
"""A calibration that is off by so much, both ways alike, is off."""


@dataclass
class Claim:
    """One claim: what it is, the chance it was made with (None for none), whether it is true, and a note on it."""

    kind: str
    p: float | None
    true: bool
    note: str = ""


@dataclass
class Judged:
    """All that was claimed of one sweep, and what of the truth was found."""

    family: str
    quality: str
    damage: str
    known: str
    way: str
    folded: bool
    seed: int
    claims: list[Claim] = field(default_factory=list)
    found: bool | None = None
    kind: str = ""
    place_inside: bool | None = None
    losses: list[bool] = field(default_factory=list)
    delay_wrong: bool | None = None
    looked: bool = False
    error: str = ""


def tasks(each: int, seed: int) -> list[tuple[str, str, str, str, int, bool]]:
    """Return (family, quality, damage, what is known, seed, folded) of every sweep to be judged."""
    out = []
    for number in range(each):
        for known in ("bare", "length"):
            for quality in QUALITIES:
                for family in (*COAX, *NO_COAX):
                    out.append((family, quality, "", known, seed + number, False))
            quality = QUALITIES[number % len(QUALITIES)]
            for damage in DAMAGE:
                family = COAX[(number // 2) % 2]
                out.append((family, quality, damage, known, seed + number, False))
            out += [(family, quality, "", known, seed + number, True) for family in ("coax 50", "coax 75", "own make")]
            out += [(COAX[(number // 2) % 2], quality, damage, known, seed + number, True) for damage in DAMAGE]
    return out


def world(task: tuple[str, str, str, str, int, bool]) -> SweptLine:
    """Return the sweep of a task: the same line whether its length is told or not."""
    family, quality, damage, _, seed, folded = task
    names = (*COAX, *NO_COAX)
    key = [seed, names.index(family), QUALITIES.index(quality), (*DAMAGE, "").index(damage), int(folded)]
    return draw(np.random.default_rng(key), family, quality, damage, folded=folded)


def judge(task: tuple[str, str, str, str, int, bool]) -> Judged:
    """Read one sweep and hold what is said against the truth."""
    family, quality, damage, known, seed, folded = task
    line = world(task)
    out = Judged(family, quality, damage, known, "+".join(line.far_end), folded or line.truth.folded, seed)
    asked = SweepQuestion(length_m=line.told_length_m if known == "length" else None)
    try:
        report = read_sweep(line.files, line.far_end, asked)
    except lw.LinewrightError as error:
        out.error = str(error)
        return out
    out.claims = list(claims(line, report))
    out.looked = report.along is not None
    _places(out, line, report)
    truth = line.truth
    if not damage:
        out.losses = [row.matched_loss_db.holds(truth.loss_at(row.frequency_hz)) for row in report.finding.losses]
        if (delay := report.finding.delay_s) is not None:
            out.delay_wrong = bool(abs(delay.value - truth.delay_s) > 0.15 * truth.delay_s + 0.3e-9)
    return out


def claims(line: SweptLine, report: SweepReport) -> Iterator[Claim]:
    """Give every claim of a report that the truth of its line can be held against."""
    truth = line.truth
    for fault in report.along.faults if report.along else ():
        yield Claim("fault", fault.confidence, _there(line, report, fault), fault.kind)
    law = report.finding.law
    if law is not None and law.constant and abs(law.k0_db.value) > 0:
        thin = truth.family in ("clad steel", "coplanar")
        true = abs(truth.off_db) > AMISS_DB or truth.damage is not None or thin
        yield Claim("constant", None, true, f"{law.k0_db.value:.2f} dB, off {truth.off_db:.3f}")
    for h in report.finding.health:
        if h.check == "step":
            yield Claim("step of the loss", None, False, h.why)
        if h.severity == "refuse":
            yield Claim("refused", None, truth.quality == "cheap", h.why)
    total: dict[str, float] = defaultdict(float)
    for r in report.resembles:
        total[r.line] += r.probability
    for name, p in total.items():
        if p > 0.02:
            mine = truth.designator if truth.designator in _designators() else "none of these"
            yield Claim("type", p, name == mine, name)


def _designators() -> set[str]:
    from linewright.catalogue.lines import line_types

    return {kind.designator for kind in line_types()}


def _there(line: SweptLine, report: SweepReport, fault: Fault) -> bool:
    """Return whether something is where a fault is claimed; metres made of delays as the true line makes them.

    Of a place that folds every one that is named counts: its interval holds them all.
    """
    truth, along = line.truth, report.along
    assert along is not None
    at = fault.distance_m / along.velocity_factor * truth.velocity_factor
    cell = along.cell_m / along.velocity_factor * truth.velocity_factor
    near = 2.0 * cell + 0.015 * truth.length_m
    edges = list(truth.edges_m)
    if truth.damage is not None:
        edges += [truth.damage.at_m, _seen_at(truth.damage)]
    folds = along.end_m is not None and along.end_m > along.profile.range_m
    return any(abs(at - e) < near or (folds and fault.low_m <= e <= fault.high_m) for e in edges)


def _seen_at(damage: Damage) -> float:
    """Return where the far edge of a damage shows, in metres of sound line: a wave is slower in water."""
    return damage.at_m + (damage.to_m - damage.at_m) * (WET_SLOWER if damage.kind == "water" else 1.0)


def _places(out: Judged, line: SweptLine, report: SweepReport) -> None:
    damage, along = line.truth.damage, report.along
    if damage is None:
        return
    out.found = False
    if along is None:
        return
    mine = [f for f in along.faults if _there(line, report, f)]
    if damage.kind in ("break", "short"):
        mine = [f for f in mine if f.kind in ("open", "short")]
    if not mine:
        return
    out.found = True
    best = max(mine, key=lambda f: f.size)
    out.kind = best.kind
    edges = [damage.at_m, damage.to_m]
    if best.kind in ("pinch", "gap"):
        # A short spot has no edges of its own: whoever opens the line within it has found it.
        edges.append(float(np.clip(best.distance_m, *edges)))
    out.place_inside = any(best.low_m <= e <= best.high_m for e in edges)


def run(each: int, seed: int, jobs: int = 1) -> list[Judged]:
    """Judge so many lines of every family, quality and damage."""
    if jobs == 1:
        return [judge(task) for task in tasks(each, seed)]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(judge, tasks(each, seed), chunksize=4))


def false_claims(one: Judged) -> list[Claim]:
    """Return the claims of a sound line that are false; of types only those told."""
    return [c for c in one.claims if not c.true and (c.kind != "type" or (_told(c) and one.family in NO_COAX))]


def _told(claim: Claim) -> bool:
    return claim.kind == "type" and claim.note != "none of these" and (claim.p or 0.0) >= NAMED


def tables(judged: list[Judged]) -> list[str]:
    """Return the tables of all that was judged."""
    out = ["## False claims on sound lines", "", *_false(judged), "", "## Damage found", "", *_recall(judged), ""]
    out += [
        "## Said with a chance, and true",
        "",
        *_bins(judged),
        "",
        "## Loss inside its interval",
        "",
        *_losses(judged),
        "",
    ]
    return [*out, "## Steps too wide for the line", "", *_folding(judged)]


def _rows(head: str, rows: Iterable[Iterable[object]]) -> list[str]:
    return [
        f"| {head} |",
        "|" + " --- |" * (head.count("|") + 1),
        *("| " + " | ".join(map(str, r)) + " |" for r in rows),
    ]


def _false(judged: list[Judged]) -> list[str]:
    rows = []
    for known in ("bare", "length"):
        sound = [j for j in judged if not j.damage and j.known == known and not j.folded]
        for name, mine in (
            *((f, [j for j in sound if j.family == f]) for f in (*COAX, *NO_COAX)),
            *((q, [j for j in sound if j.quality == q and j.family in COAX]) for q in QUALITIES),
            ("all coax and balanced", [j for j in sound if j.family in COAX]),
            ("all that is no coax", [j for j in sound if j.family in NO_COAX]),
        ):
            bad = [j for j in mine if false_claims(j)]
            kinds: dict[str, int] = defaultdict(int)
            for j in bad:
                for kind in {c.kind for c in false_claims(j)}:
                    kinds[kind] += 1
            share = 100 * len(bad) / max(len(mine), 1)
            rows.append(
                (
                    known,
                    name,
                    len(mine),
                    len(bad),
                    f"{share:.1f}",
                    ", ".join(f"{k} {n}" for k, n in sorted(kinds.items())),
                )
            )
    return _rows("known | lines | sweeps | with a false claim | per 100 | of which", rows)


def _recall(judged: list[Judged]) -> list[str]:
    rows = []
    for known in ("bare", "length"):
        for damage in DAMAGE:
            mine = [j for j in judged if j.damage == damage and j.known == known and not j.folded]
            kinds: dict[str, int] = defaultdict(int)
            for j in mine:
                if j.found:
                    kinds[j.kind] += 1
            places = [j.place_inside for j in mine if j.place_inside is not None]
            other = sum(any(c.kind == "fault" and not c.true for c in j.claims) for j in mine)
            inside = f"{np.mean(places):.2f}" if places else "-"
            rows.append((known, damage, len(mine), sum(bool(j.found) for j in mine), inside, other,
                         ", ".join(f"{k} {n}" for k, n in sorted(kinds.items(), key=lambda x: -x[1]))))  # fmt: skip
    return _rows("known | damage | lines | found | place inside | with another, false fault | called", rows)


def _bins(judged: list[Judged]) -> list[str]:
    rows = []
    for known in ("bare", "length"):
        for kind in ("fault", "type"):
            mine = [c for j in judged if j.known == known and not j.error for c in j.claims if c.kind == kind]
            for low, high in pairwise(BINS):
                some = [c for c in mine if low <= (c.p or 0.0) < high]
                if some:
                    true = float(np.mean([c.true for c in some]))
                    said = float(np.mean([c.p for c in some]))
                    se = np.sqrt(max(true * (1 - true), 1e-9) / len(some))
                    rows.append(
                        (
                            known,
                            kind,
                            f"{low:.2f} to {min(high, 1):.2f}",
                            len(some),
                            f"{said:.3f}",
                            f"{true:.3f}",
                            f"{se:.3f}",
                        )
                    )
    return _rows("known | claim | said | how often | mean chance | true | se", rows)


def _losses(judged: list[Judged]) -> list[str]:
    rows = []
    for known in ("bare", "length"):
        for group, families in (("coax and balanced", COAX), ("no coax", NO_COAX)):
            for quality in QUALITIES:
                mine = [
                    j
                    for j in judged
                    if not j.damage and j.known == known and j.quality == quality and j.family in families
                ]
                inside = [x for j in mine for x in j.losses]
                told = sum(bool(j.losses) for j in mine)
                wrong = sum(bool(j.delay_wrong) for j in mine)
                rows.append(
                    (
                        known,
                        group,
                        quality,
                        len(mine),
                        told,
                        len(inside),
                        f"{np.mean(inside):.3f}" if inside else "-",
                        wrong,
                    )
                )
    return _rows("known | lines | calibration | sweeps | with losses | losses | inside | delay wrong", rows)


def _folding(judged: list[Judged]) -> list[str]:
    rows = []
    for known in ("bare", "length"):
        mine = [j for j in judged if not j.damage and j.known == known and j.folded]
        hurt = [j for j in judged if j.damage and j.known == known and j.folded]
        bad = sum(any(c.kind == "fault" for c in j.claims) for j in mine)
        told = [j for j in mine if j.delay_wrong is not None]
        wrong, lost = sum(bool(j.delay_wrong) for j in told), sum(bool(j.losses) for j in mine)
        looked = [j for j in hurt if j.looked]
        other = sum(any(c.kind == "fault" and not c.true for c in j.claims) for j in hurt)
        places = [j.place_inside for j in hurt if j.place_inside is not None]
        found = f"{sum(bool(j.found) for j in looked)} of {len(looked)}"
        inside = f"{sum(places)} of {len(places)}"
        rows.append((known, len(mine), bad, wrong, len(told), lost, len(hurt), len(looked), found, inside, other))
    return _rows(
        "known | whole lines | with a false fault | delay wrong | delay told | loss told | damaged lines | unfolded"
        " | damage found of these | place inside | with another, false fault", rows,
    )  # fmt: skip
