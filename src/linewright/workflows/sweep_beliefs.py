"""Beliefs of pieces from their sweeps, and which of several beliefs to take."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.station import SweepEvidence
from linewright.units.writing import frequency

if TYPE_CHECKING:
    from linewright.model.sweep import Sweep
    from linewright.model.sweep_result import FarEnd, SweepFinding

APART = 1.96 * np.sqrt(2.0)
"""Two beliefs contradict each other when their middles lie further apart than this many of their wider spread."""


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


def narrowest(beliefs: Sequence[Belief], frequencies_hz: Sequence[float]) -> tuple[Belief, str]:
    """Return the belief that is surest at some frequencies, and what to say of there being several."""
    if len(beliefs) == 1:
        return beliefs[0], ""
    f = np.asarray(frequencies_hz, dtype=np.float64)
    middles = np.array([b.loss_db(f).mean(axis=-1) for b in beliefs])
    spreads = np.array([b.loss_db(f).std(axis=-1) for b in beliefs])
    best = int(np.argmin((spreads / middles).mean(axis=-1)))
    tag, basis = beliefs[best].piece.tag, beliefs[best].basis
    said = f"{tag} is known from {' and '.join(b.basis for b in beliefs)}; the surer is taken, {basis}."
    off = np.abs(middles - middles[best]) > APART * np.maximum(spreads, spreads[best])
    if np.any(off):
        where = frequency(float(f[np.any(off, axis=0)][0]))
        said += f" They contradict each other, at {where} for one: one of them is wrong."
    return beliefs[best], said


def beyond(evidence: Iterable[SweepEvidence], frequencies_hz: Sequence[float]) -> str:
    """Return what to say where a piece's sweeps do not reach over the frequencies of a run."""
    sweeps = [e.sweep for e in evidence]
    missed = [f for f in frequencies_hz if not any(s.covers(f) for s in sweeps)]
    if not sweeps or not missed:
        return ""
    names = " and ".join(dict.fromkeys(s.name for s in sweeps))
    at = ", ".join(frequency(f) for f in missed)
    return f"{names} does not reach {at}: there the law it shows is carried on."
