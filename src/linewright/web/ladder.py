"""The evidence ladder of a piece: what the catalogue says, then each test in time order and the belief after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

from linewright.catalogue.belief import catalogue_belief
from linewright.charts.bars import bar, scale_of
from linewright.charts.piece import interval_at
from linewright.ledger import items
from linewright.ledger.store import Ledger
from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.shelf import Evidence
from linewright.units.writing import interval
from linewright.workflows.shelf_combine import OneTest, combined
from linewright.workflows.shelf_evidence import Shelved, tests_of

DRAWS = 1000


@dataclass(frozen=True, slots=True)
class Rung:
    """One step of the ladder: what was heard, when, what it says alone, and what is believed after it."""

    what: str
    on: str
    href: str
    alone: str
    believed: str
    drawn: str


def ladder(ledger: Ledger, tag: str, at_hz: float) -> tuple[Rung, ...]:
    """Return the ladder of a piece at one frequency; empty for a piece of unknown type that nobody measured."""
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        (noun,) = shelf.nouns([items.needed(snapshot, "piece", tag)])
        tests = tests_of(shelf, noun, shelf.evidence(tag))
    first = _before(noun, tests)
    beliefs = [combined([t for _, t in tests[: i + 1]])[0] for i in range(len(tests))]
    ends = [interval_at(b, at_hz) for b in ([first] if first else []) + beliefs]
    scale = scale_of(v for end in ends for v in end)
    rungs = []
    if first:
        low, middle, high = interval_at(first, at_hz)
        what = f"the catalogue's {noun.line.designator}" if noun.line else "cables in general"
        rungs.append(Rung(what, "", "", "", interval(middle, low, high), bar(scale, low, middle, high)))
    for (evidence, test), belief in zip(tests, beliefs, strict=True):
        low, middle, high = interval_at(belief, at_hz)
        one = interval_at(test.belief, at_hz)
        drawn = bar(scale, low, middle, high)
        alone = interval(one[1], one[0], one[2])
        rungs.append(
            Rung(evidence.what, evidence.measured_on, _href(evidence), alone, interval(middle, low, high), drawn)
        )
    return tuple(rungs)


def _href(evidence: Evidence) -> str:
    return evidence.key if evidence.kind == "sheet" else ""


def _before(piece: Piece, tests: Sequence[tuple[Evidence, OneTest]]) -> Belief | None:
    """Return what was believed before the first test."""
    if tests and tests[0][1].before is not None:
        return tests[0][1].before
    if piece.line is None:
        return None
    return catalogue_belief(piece, DRAWS, seed=crc32(piece.line.designator.encode()))
