"""The evidence ladder of a piece: what its type says, then each test in time order and the belief after it."""

from __future__ import annotations

from collections.abc import Sequence
from zlib import crc32

from linewright.catalogue.belief import catalogue_belief
from linewright.charts.ladder import Rung
from linewright.charts.piece import interval_at
from linewright.ledger import items
from linewright.ledger.store import Ledger
from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.shelf import Evidence
from linewright.units.said import say
from linewright.workflows.shelf_combine import OneTest, combined
from linewright.workflows.shelf_evidence import Shelved, tests_of

DRAWS = 1000


def ladder_of(ledger: Ledger, tag: str, frequency_hz: float) -> tuple[Piece, tuple[Rung, ...]]:
    """Return a piece, and by which steps its loss at a frequency came to be known.

    A piece of unknown type that nobody measured has no steps.
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        (noun,) = shelf.nouns([items.needed(snapshot, "piece", tag)])
        tests = tests_of(shelf, noun, shelf.evidence(noun.tag))
    beliefs = [combined([t for _, t in tests[: i + 1]]).belief for i in range(len(tests))]
    after = tuple(
        Rung(
            e.what, e.measured_on, interval_at(belief, frequency_hz), interval_at(test.belief, frequency_hz), _sheet(e)
        )
        for (e, test), belief in zip(tests, beliefs, strict=True)
    )
    first = before(noun, tests)
    if first is None:
        return noun, after
    what = say("the catalogue's {line}", line=noun.line.designator) if noun.line else say("cables in general")
    return noun, (Rung(what, "", interval_at(first, frequency_hz)), *after)


def _sheet(evidence: Evidence) -> str:
    return evidence.key if evidence.kind == "sheet" else ""


def before(piece: Piece, tests: Sequence[tuple[Evidence, OneTest]]) -> Belief | None:
    """Return what was believed before the first test."""
    if tests and tests[0][1].before is not None:
        return tests[0][1].before
    if piece.line is None:
        return None
    return catalogue_belief(piece, DRAWS, seed=crc32(piece.line.designator.encode()))
