"""What sheets and sweeps say of a piece, and what several of them say together where no ledger dates them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from linewright.model.bench import BenchSheet, Piece
from linewright.model.station import SweepEvidence
from linewright.units import said as words
from linewright.units.said import say
from linewright.units.writing import digits, frequency

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.model.belief import Belief
    from linewright.model.sweep import Sweep
    from linewright.model.sweep_result import FarEnd, SweepFinding
    from linewright.workflows.shelf_combine import OneTest

    Floats = NDArray[np.float64]

MANY = 6
"""A sweep is heard at this many of its frequencies, spread evenly over the decades."""


def looked_at(sheet: BenchSheet) -> dict[str, Floats]:
    """Return the frequencies at which a sheet holds readings of each of its pieces, rising."""
    import numpy as np

    return {
        p.tag: np.array(sorted(
            {r.frequency_hz for r in sheet.readings if p.tag in r.path}
            | {r.frequency_hz for t in sheet.one_end if t.tag == p.tag for r in t.readings}
        ))
        for p in sheet.pieces
    }  # fmt: skip


def sweep_beliefs(piece: Piece, evidence: Iterable[SweepEvidence]) -> list[tuple[Belief, Floats]]:
    """Return a belief for every sweep through a piece, and one for those from an end, open and shorted together.

    Each comes with the frequencies at which it is heard.

    Raises
    ------
    InputError
        If a sweep cannot be read as one of a cable.
    """
    from linewright.evidence.sweeps.belief import law_belief

    return [(law_belief(finding, piece), _heard_at(sweeps)) for finding, sweeps in _findings(piece, list(evidence))]


def _findings(piece: Piece, evidence: Sequence[SweepEvidence]) -> list[tuple[SweepFinding, list[Sweep]]]:
    from linewright.evidence.sweeps.one_port import read_one_port
    from linewright.evidence.sweeps.two_port import read_two_port

    through = [e.sweep for e in evidence if e.far_end == "through"]
    from_an_end: dict[FarEnd, Sweep] = {e.far_end: e.sweep for e in evidence if e.far_end != "through"}
    found = [(read_two_port(s, length_m=piece.length_m, line=piece.line), [s]) for s in through]
    if from_an_end:
        both = read_one_port(from_an_end, length_m=piece.length_m, line=piece.line)
        found.append((both, list(from_an_end.values())))
    return found


def _heard_at(sweeps: Sequence[Sweep]) -> Floats:
    import numpy as np

    low, high = max(s.frequency_hz[0] for s in sweeps), min(s.frequency_hz[-1] for s in sweeps)
    return np.geomspace(max(low, 1e6), max(high, 1e6), MANY)


def together(tests: Sequence[OneTest]) -> tuple[Belief, str]:
    """Return one belief made of several tests of one piece, and what to say of it.

    They are joined as the tests of a ledger are (``shelf_combine.combined``). Nobody says when the files of a station
    were written, so they count as tests of one day: where they contradict each other, the likeliest cause is said and
    the joint belief is wide.
    """
    from linewright.workflows.shelf_combine import combined

    found = combined(tests)
    if len(tests) == 1:
        return found.belief, ""
    basis = words.together(dict.fromkeys(t.belief.basis for t in tests), say(" and "))
    said = [say("{piece} is known from {evidence}, taken together.", piece=found.belief.piece.tag, evidence=basis)]
    said += [_contradiction(tests[i], tests[-1]) for i in found.at_odds]
    return replace(found.belief, basis=basis), words.together(said)


def _contradiction(one: OneTest, other: OneTest) -> str:
    """Return that two tests contradict each other, with the likeliest cause where they can be held side by side."""
    from linewright.evidence.sweeps.agree import agree

    low = max(t.frequencies_hz[0] for t in (one, other))
    high = min(t.frequencies_hz[-1] for t in (one, other))
    shared = sorted({float(f) for t in (one, other) for f in t.frequencies_hz if 0.97 * low <= f <= 1.03 * high})
    found = agree(one.belief, other.belief, shared) if shared else None
    if found is None or not found.contradicts:
        return say("They contradict each other: one of them is wrong, or of another piece.")
    return say("The two contradict each other (p = {p}). {why}", p=digits(found.p_value, 1), why=found.why)


def beyond(evidence: Iterable[SweepEvidence], frequencies_hz: Sequence[float]) -> str:
    """Return what to say where a piece's sweeps do not reach over the frequencies of a run."""
    sweeps = [e.sweep for e in evidence]
    missed = [f for f in frequencies_hz if not any(s.covers(f) for s in sweeps)]
    if not sweeps or not missed:
        return ""
    names = words.together(dict.fromkeys(s.name for s in sweeps), say(" and "))
    at = words.together((frequency(f) for f in missed), ", ")
    return say("{sweeps} does not reach {frequencies}: there the law it shows is carried on.",
               sweeps=names, frequencies=at)  # fmt: skip
