"""What others would say of a bench to practise on: the engine by its verdict, a careful person with a pencil.

Both know the level, as the player does: what that level cannot have is left out of what they say.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import log
from statistics import mean, median

from linewright.core.nouns.bench_result import BenchResult, Cause, MeterFinding, PieceFinding
from linewright.core.nouns.practice import (
    MOST_FAULTS,
    OF_A_PIECE,
    PAD,
    Claim,
    FaultKind,
    HandFigure,
    PracticeBench,
    Sureness,
)
from linewright.link.practice_bench import HOW_MANY, KINDS, jumper_db, should_lose_db, shown_db

Told = tuple[float, Claim]
"""A claim with how likely it is held to be."""


def _kinds(bench: PracticeBench) -> tuple[FaultKind, ...]:
    return tuple(kind for kinds in KINDS[bench.level] for kind in kinds)


def _answer(bench: PracticeBench, told: Sequence[Told], *, in_doubt: bool, nothing: Sureness) -> tuple[Claim, ...]:
    """Return the likeliest claims, as many as may be made; where there are none, that nothing is wrong or that."""
    once: dict[tuple[str, str], Claim] = {}
    for _, claim in sorted(told, key=lambda item: -item[0]):
        once.setdefault((claim.kind, claim.of), claim)
    may_be = sum(1 for share in HOW_MANY[bench.level][1:] if share > 0.0)
    some = tuple(once.values())[: min(MOST_FAULTS, may_be)]
    if some:
        return some
    clean = HOW_MANY[bench.level][0] > 0.0 and not in_doubt
    return (Claim("nothing", "", nothing) if clean else Claim("cannot tell"),)


# The engine, in the words of the game

KIND_OF: Mapping[Cause, FaultKind] = {
    "water": "water", "wet connector": "water", "braid": "water", "resistive joint": "resistive joint",
    "open conductor": "resistive joint", "bad insertion": "resistive joint", "other type": "other type",
    "other impedance": "other type", "other length": "other length",
}  # fmt: skip
DOUBTED, SURE = 0.5, 0.9
BENT = 1.1
"""A detector whose interval lies beyond this, or below its inverse, is named bent."""
CABLE = {"other type", "other length"}
CLEAR, ALIKE = 0.8, 0.6
"""From how many spreads off its type a piece is named, and from which share of that its mates are off alike. Weighed on
benches 20 to 59 of level 4: 2.5 points a bench, 1.6 where a piece is named from 0.3 spreads on, 2.3 where mates are
alike from 0.2 on; on benches 0 to 19 it is 3.5. Without this rule it was 1.4 over all sixty."""
HINT = 0.3
"""How likely a kind is held that only the verdict on its piece speaks for."""


def engine_claims(bench: PracticeBench, judged: BenchResult) -> tuple[Claim, ...]:
    """Return what the engine claims of a bench, the likeliest first."""
    kinds = _kinds(bench)
    found = _engine_cable(bench, judged) if set(kinds) == CABLE else _engine_told(judged, kinds)
    told = [(p, Claim(c.kind, c.of, "sure" if p >= SURE else "likely")) for p, c in found]
    in_doubt = any(piece.verdict != "good" for piece in judged.pieces)
    in_doubt |= "detector" in kinds and any(map(_may_be_bent, judged.meters))
    return _answer(bench, told, in_doubt=in_doubt, nothing="sure")


def _may_be_bent(meter: MeterFinding) -> bool:
    """Return whether a detector reads as bent, and its interval leaves out a straight one without naming it bent."""
    middle, low, high = meter.exponent, meter.exponent_low, meter.exponent_high
    if middle is None or low is None or high is None:
        return False
    return (middle > BENT and low > 1.0) or (middle < 1.0 / BENT and high < 1.0)


def _engine_told(judged: BenchResult, kinds: Sequence[FaultKind]) -> Iterator[Told]:
    if "misread" in kinds:
        yield from ((r.p_wrong, Claim("misread", str(r.row))) for r in judged.readings if r.p_wrong >= DOUBTED)
    for meter in judged.meters if "detector" in kinds else ():
        low, high = meter.exponent_low, meter.exponent_high
        if low is not None and high is not None and (low > BENT or high < 1.0 / BENT):
            yield SURE, Claim("detector", meter.meter)
    pieces = [kind for kind in OF_A_PIECE if kind in kinds]
    for piece in judged.pieces if pieces else ():
        kind, p = _engine_kind(judged, piece, pieces)
        if piece.verdict in ("worn", "bad") or (kind in ("other type", "other length") and p >= DOUBTED):
            yield p, Claim(kind, piece.piece)


def _engine_cable(bench: PracticeBench, judged: BenchResult) -> Iterator[Told]:
    """Yield which piece is not what is written on it, where one is for certain and no cable is worn.

    The engine weighs wear against a wrong claim, and length and wear scale a loss alike. Where the level rules out
    wear, what it says of the multiple of a piece speaks for its claim alone. The piece whose multiple lies farthest
    from 1, in units of its own spread, is named. One whose mates from the drum are off alike is of another type, else
    of another length.
    """
    off = {p.piece: _off(p) for p in judged.pieces}
    tag = max(off, key=lambda name: abs(off[name]))
    if abs(off[tag]) < CLEAR:
        return
    stock = bench.sheet.piece(tag).stock
    mates = [off[p.tag] for p in bench.sheet.pieces if stock and p.stock == stock and p.tag != tag]
    alike = bool(mates) and min(mate / off[tag] for mate in mates) > ALIKE
    yield DOUBTED, Claim("other type" if alike else "other length", tag)


def _off(piece: PieceFinding) -> float:
    """Return how far the multiple of a piece is from 1, in units of its spread, as logarithms."""
    if piece.ratio is None or piece.ratio_low is None or piece.ratio_high is None:
        return 0.0
    middle, low, high = (log(max(x, 0.01)) for x in (piece.ratio, piece.ratio_low, piece.ratio_high))
    return 3.92 * middle / max(high - low, 0.01)


def _engine_kind(judged: BenchResult, piece: PieceFinding, kinds: Sequence[FaultKind]) -> tuple[FaultKind, float]:
    """Return the likeliest cause of a piece's loss among the kinds that may be."""
    weights = dict.fromkeys(kinds, 0.0)
    causes = [(piece.cause, piece.p or 0.0), *((rival.cause, rival.p) for rival in piece.rivals)]
    for cause, p in causes:
        kind = KIND_OF.get(cause) if cause else None
        if kind in weights:
            weights[kind] += p
    grown = next(g for g in judged.growth if g.piece == piece.piece)
    for kind, p in (("water", grown.p_dielectric), ("resistive joint", grown.p_joint)):
        if kind in weights:
            weights[kind] = max(weights[kind], HINT * p)
    best = max(weights, key=lambda kind: weights[kind])
    return best, min(weights[best], 1.0)


# A careful person with a pencil

WORSE, BETTER = 1.25, 0.8
"""Against what the type should lose; 1.25 times is worth a second look (common practice, no source)."""
HALF = 0.5
"""An excess that grows with less than this power of frequency is a joint, else water."""
DRY_HZ = 30e6
"""Below this water takes next to nothing: an excess there is a joint."""
APART_DB = 0.45
"""Two references that lie farther apart are not both right."""


def by_hand_claims(bench: PracticeBench, judged: BenchResult) -> tuple[Claim, ...]:
    """Return what the plain figures suggest, by rules of thumb.

    References that lie apart: the one that makes the figures worse was misread. A pad that shows 1.15 times its loss,
    or a meter on which most figures are 1.25 times too large while another shows them right: that meter is bent. A
    piece whose middle figure is 1.25 times too large is bad, one below 0.8 times is another cable. One figure off where
    the others of its piece are right was misread.
    """
    kinds = _kinds(bench)
    told: list[Told] = []
    if "misread" in kinds:
        told += _references(bench)
    wrong = {int(claim.of) for _, claim in told}
    figures = list(_pencil(bench, wrong))
    if "detector" in kinds:
        told += _bent(figures)
    bent = {claim.of for _, claim in told}
    told += _pieces(bench, [f for f in figures if f.meter not in bent and f.path != PAD], kinds)
    return _answer(bench, told, in_doubt=False, nothing="likely")


def _levels(bench: PracticeBench) -> dict[tuple[str, float], list[tuple[int, str, float]]]:
    out: dict[tuple[str, float], list[tuple[int, str, float]]] = {}
    for r in bench.sheet.readings:
        if r.reading > 0.0:
            path = r.path[0] if r.path else "reference"
            out.setdefault((r.meter, r.frequency_hz), []).append((r.row, path, shown_db(bench, r)))
    return out


def by_hand_figures(bench: PracticeBench) -> tuple[HandFigure, ...]:
    """Return every figure by hand that the readings allow, the pad's too, in the order of the sheet."""
    return tuple(_pencil(bench, set()))


def _pencil(bench: PracticeBench, wrong: set[int]) -> Iterator[HandFigure]:
    for (meter, f), rows in _levels(bench).items():
        base = [db for row, path, db in rows if path == "reference" and row not in wrong]
        for row, path, db in rows if base else ():
            if path != "reference" and row not in wrong:
                should = (
                    bench.sheet.attenuators[0].loss_db if path == PAD else should_lose_db(bench.sheet.piece(path), f)
                )
                yield HandFigure(row, meter, f, path, mean(base) - db + jumper_db(f), should)


def _references(bench: PracticeBench) -> Iterator[Told]:
    for block, rows in _levels(bench).items():
        base = [(row, db) for row, path, db in rows if path == "reference" and row <= bench.given]
        if len(base) != 2 or abs(base[0][1] - base[1][1]) < APART_DB:
            continue
        off = {}
        for row, _ in base:
            left = [f for f in _pencil(bench, {row}) if (f.meter, f.frequency_hz) == block]
            off[row] = abs(median([f.loss_db - f.should_db for f in left])) if left else 0.0
        yield 0.8, Claim("misread", str(min(off, key=lambda row: off[row])), "likely")


def _bent(figures: Sequence[HandFigure]) -> Iterator[Told]:
    for f in figures:
        if f.path == PAD and not 1.0 / 1.15 < f.loss_db / f.should_db < 1.15:
            yield 0.9, Claim("detector", f.meter, "sure")
    by_meter: dict[str, list[float]] = {}
    for f in figures:
        by_meter.setdefault(f.meter, []).append(f.ratio)
    middles = {name: median(ratios) for name, ratios in by_meter.items() if len(ratios) > 1}
    if len(middles) > 1:
        worst = max(middles, key=lambda name: middles[name])
        if middles[worst] >= WORSE and min(middles.values()) < WORSE:
            yield 0.7, Claim("detector", worst, "likely")


def _pieces(bench: PracticeBench, figures: Sequence[HandFigure], kinds: Sequence[FaultKind]) -> Iterator[Told]:
    of_pieces = [kind for kind in OF_A_PIECE if kind in kinds]
    for tag in dict.fromkeys(f.path for f in figures):
        mine = [f for f in figures if f.path == tag]
        ratios = [f.ratio for f in mine]
        middle = median(ratios)
        off = [f for f in mine if not BETTER < f.ratio < WORSE and f.row <= bench.given]
        if of_pieces and not BETTER < middle < WORSE:
            alike = len(mine) > 1 and all(r >= WORSE for r in ratios)
            kind = _shape(mine) if middle >= WORSE else "other length"
            fits = kind in of_pieces
            yield 0.6, Claim(kind if fits else of_pieces[-1], tag, "sure" if alike and fits else "likely")
        elif off and "misread" in kinds and (len(mine) > 2 or not of_pieces):
            worst = max(off, key=lambda f: abs(log(max(f.ratio, 0.01))))
            yield 0.5, Claim("misread", str(worst.row), "likely")


def _shape(figures: Sequence[HandFigure]) -> FaultKind:
    excess = {f.frequency_hz: f.loss_db - f.should_db for f in figures}
    low, high = min(excess), max(excess)
    if low == high or excess[high] <= 0.0:
        return "resistive joint" if high < DRY_HZ else "water"
    power = log(excess[high] / max(excess[low], 0.01)) / log(high / low)
    return "resistive joint" if power < HALF else "water"
