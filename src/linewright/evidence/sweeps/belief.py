"""From a sweep to a belief: draws of a piece's loss that a plan or a bench can use."""

from __future__ import annotations

import numpy as np

from linewright.errors import InputError
from linewright.evidence.layout import law_of
from linewright.evidence.priors import DEFAULT, Priors
from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.sweep_result import Floats, SweepFinding
from linewright.units.said import say

SEED = 20_240_225
LEAST = 1e-6
"""No multiplier is smaller: a loss of nothing has no logarithm."""


def law_belief(finding: SweepFinding, piece: Piece, *, priors: Priors = DEFAULT, seed: int = SEED) -> Belief:
    """Return draws of a piece's loss as its sweep tells them, about the law of its type.

    The draws keep how k0, k1 and k2 hang together. Connectors cannot be told from line by one sweep: they get what
    connectors usually lose, the line the rest. A constant becomes loss in the joints. What the loss wanders about the
    law becomes the departure of a single frequency. Outside the sweep the belief is an extrapolation of its law.

    Parameters
    ----------
    finding : SweepFinding
        What a sweep of this very piece says.
    piece : Piece
        Its tag, length, type (None: a middling cable stands in) and connectors.

    Raises
    ------
    InputError
        If the finding has no law.
    """
    if finding.law is None:
        raise InputError("finding", f"must have a law of the loss; {finding.name} has none", cure="Sweep it again.")
    rng, law = np.random.default_rng(seed), law_of(piece)
    k0, k1, k2 = finding.law.draws.T
    plugs = _connectors(piece, k1, rng, priors)
    growth = np.maximum((k1 - plugs) / (piece.length_m * law.k1_db_per_m), LEAST)
    wet = np.maximum(k2, 0.0) / (piece.length_m * growth * law.k2_db_per_m) if law.k2_db_per_m > 0 else np.ones(len(k1))
    joints = k0 - piece.length_m * growth * law.k0_db_per_m
    return Belief(
        piece, law, growth, np.maximum(wet, LEAST), _departure(finding, rng), plugs, joints, np.zeros(len(k1)),
        say("sweep {sweep}", sweep=finding.name),
    )  # fmt: skip


def _connectors(piece: Piece, k1: Floats, rng: np.random.Generator, priors: Priors) -> Floats:
    """Return what all connectors lose at 1 MHz, dB: as usual, and at most half of what the sweep found."""
    usual = piece.connectors * priors.connector_db_per_sqrt_mhz
    drawn = usual * np.exp(priors.connector_spread * rng.standard_normal(len(k1)))
    return np.asarray(np.minimum(drawn, 0.5 * np.maximum(k1, 0.0)))


def _departure(finding: SweepFinding, rng: np.random.Generator) -> Floats:
    """Return the multiplier by which one frequency leaves the law: the wander as a share of a middling loss."""
    law = finding.law
    assert law is not None
    low, high = law.valid_hz
    f = np.sqrt(low * high) / 1e6 if low > 0 else high / 2e6
    middle = law.k1_db.value * np.sqrt(f) + law.k2_db.value * f
    share = min(law.departure_db / max(middle, LEAST), 0.3)
    return np.asarray(np.exp(share * rng.standard_normal(len(law.draws))))
