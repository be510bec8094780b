"""Beliefs of pieces from their sweeps, and which of several beliefs to take."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.station import SweepEvidence
from linewright.units import said as words
from linewright.units.said import say
from linewright.units.writing import digits, frequency

if TYPE_CHECKING:
    from linewright.model.sweep import Sweep
    from linewright.model.sweep_result import FarEnd, SweepFinding


def sweep_beliefs(piece: Piece, evidence: Iterable[SweepEvidence]) -> list[Belief]:
    """Return a belief for every sweep through a piece, and one for those from an end, open and shorted together.

    Raises
    ------
    InputError
        If a sweep cannot be read as one of a cable.
    """
    from linewright.evidence.sweeps.belief import law_belief

    return [law_belief(finding, piece) for finding in _findings(piece, list(evidence))]


def _findings(piece: Piece, evidence: Sequence[SweepEvidence]) -> list[SweepFinding]:
    from linewright.evidence.sweeps.one_port import read_one_port
    from linewright.evidence.sweeps.two_port import read_two_port

    through = [e.sweep for e in evidence if e.far_end == "through"]
    from_an_end: dict[FarEnd, Sweep] = {e.far_end: e.sweep for e in evidence if e.far_end != "through"}
    found = [read_two_port(s, length_m=piece.length_m, line=piece.line) for s in through]
    if from_an_end:
        found.append(read_one_port(from_an_end, length_m=piece.length_m, line=piece.line))
    return found


def together(
    beliefs: Sequence[Belief], evidence: Iterable[SweepEvidence], frequencies_hz: Sequence[float]
) -> tuple[Belief, str]:
    """Return one belief made of several of the same piece, and what to say of it.

    Each further belief is weighed in at the run's frequencies and the usual bands that the sweeps reach over. Where
    they contradict each other, the likeliest cause is said and the joint belief is wide. Where no sweep reaches, the
    first stands alone.
    """
    from linewright.evidence.findings import BANDS_HZ
    from linewright.evidence.sweeps.agree import agree

    first, *others = beliefs
    sweeps = [e.sweep for e in evidence]
    shared = sorted({f for f in (*frequencies_hz, *BANDS_HZ) if any(s.covers(f) for s in sweeps)})
    if not others or not shared:
        return first, ""
    known = words.together((b.basis for b in beliefs), say(" and "))
    said = [say("{piece} is known from {evidence}, taken together.", piece=first.piece.tag, evidence=known)]
    for other in others:
        found = agree(first, other, shared)
        first = found.combined
        if found.contradicts:
            p = digits(found.p_value, 1)
            said.append(say("The two contradict each other (p = {p}). {why}", p=p, why=found.why))
    return first, words.together(said)


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
