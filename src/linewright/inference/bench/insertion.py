"""What a line of another impedance takes between the bench's own ends, beyond its matched loss.

Its two steps send echoes to and fro. Loss, electrical length and impedance are known to a few per cent, so on long
waves the excess is known well and on short ones only its range: mean and covariance over the bands come from draws.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.catalogue.lines import line_type
from linewright.core.arrays import Floats
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, reflection_from_swr
from linewright.inference.priors import Priors

BENCH_OHM = 50.0
OTHER = 0.1
"""A line is of another impedance where it lies further than this share from the bench's."""
LENGTH, VELOCITY, IMPEDANCE, LOSS = 0.02, 0.02, 0.03, 0.25
"""How well each is known: spread as a share; of the loss, of its logarithm."""
SLACK_DB = 0.03
DRAWS, SEED = 400, 20_261_129


def reflection_of(piece: Piece) -> float:
    """Return the reflection at the step from the bench's impedance into a piece; 0 where its type is unknown."""
    if piece.line is None:
        return 0.0
    return (piece.line.impedance_ohm - BENCH_OHM) / (piece.line.impedance_ohm + BENCH_OHM)


def is_other(piece: Piece) -> bool:
    """Return whether a piece is of another impedance than the bench."""
    return piece.line is not None and abs(piece.line.impedance_ohm / BENCH_OHM - 1.0) > OTHER


def inserted_excess_db(z_ohm: Floats, loss_db: Floats, turns: Floats, source: Floats | complex = 0.0) -> Floats:
    """Return what a line takes from a matched meter beyond its matched loss, dB.

    With reflection g at its steps and T = 10^(-A/20) e^(-2πj turns), S21 = T (1 - g²)/(1 - g² T²) and
    S11 = g (1 - T²)/(1 - g² T²) (D. M. Pozar, *Microwave Engineering*, 4th ed., table 4.2, for a line between equal
    ends); a source of reflection s gives |S21 / (1 - S11 s)|² of what it gives a match.

    >>> round(inserted_excess_db(np.array(75.0), np.array(0.0), np.array(0.25)).item(), 3)  # quarter wave, 112.5 ohm
    0.695
    """
    g = (z_ohm - BENCH_OHM) / (z_ohm + BENCH_OHM)
    through = 10.0 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * turns)
    back = 1.0 - g**2 * through**2
    s21, s11 = through * (1.0 - g**2) / back, g * (1.0 - through**2) / back
    return np.asarray(-20.0 * np.log10(np.abs(s21 / (1.0 - s11 * source))) - loss_db)


def excess_of(
    sheet: BenchSheet, piece: Piece, frequency_hz: Floats, loss_db: Floats, priors: Priors
) -> tuple[Floats, Floats]:
    """Return mean and covariance over bands of what a piece takes beyond its matched loss, ``loss_db`` when new."""
    if piece.line is None:
        return np.zeros(len(frequency_hz)), np.zeros((len(frequency_hz), len(frequency_hz)))
    rng = np.random.default_rng(SEED)
    draw = rng.standard_normal((4, DRAWS, 1))
    turns = piece.length_m * frequency_hz / (piece.line.velocity_factor * SPEED_OF_LIGHT_M_PER_S)
    turns = turns * (1.0 + LENGTH * draw[0] + VELOCITY * draw[1])
    z_ohm = piece.line.impedance_ohm * (1.0 + IMPEDANCE * draw[2])
    phase = np.exp(2j * np.pi * rng.random((DRAWS, len(frequency_hz))))
    source = reflection_from_swr(sheet.source.swr or priors.source_swr) * phase
    found = inserted_excess_db(z_ohm, loss_db * np.exp(0.1 + LOSS * draw[3]), turns, source)
    covariance = np.atleast_2d(np.cov(found.T)) + SLACK_DB**2 * np.eye(len(frequency_hz))
    return found.mean(axis=0), covariance


RIVALS = ("RG-59B/U", "RG-11A/U")
"""The lines that a cable marked as one of 50 ohm is met with instead: a thin and a thick one of 75 ohm."""


def rival_excess_db(piece: Piece, rival: str, frequency_hz: float) -> float:
    """Return what a piece would take beyond its matched loss as a line of another impedance, its length in doubt."""
    line = line_type(rival)
    turns = piece.length_m * frequency_hz / (line.velocity_factor * SPEED_OF_LIGHT_M_PER_S)
    around = turns * (1.0 + LENGTH * np.linspace(-2.0, 2.0, 21))
    loss = np.array(piece.length_m * float(line.law.db_per_m(frequency_hz)))
    return float(inserted_excess_db(np.array(line.impedance_ohm), loss, around).mean())


def rival_excess_of(sheet: BenchSheet, piece: Piece, frequency_hz: Floats, priors: Priors) -> tuple[Floats, Floats]:
    """Return mean and covariance over bands of what a piece would take beyond its matched loss as a rival."""
    rival = replace(piece, line=line_type(RIVALS[0]))
    loss_db = piece.length_m * line_type(RIVALS[0]).law.db_per_m(frequency_hz)
    return excess_of(sheet, rival, frequency_hz, np.asarray(loss_db), priors)


CLAIM_LOG, RIVAL_LOG = 0.35, 0.15
"""Spread of the log of a loss against that of the claim, which may be worn, and against that of a rival."""
HAND_DB, HAND = 0.1, 0.06
"""How well readings taken at their word tell a loss: dB, and as a share."""


def rival_read(piece: Piece, frequency_hz: Floats, new_db: Floats, seen_db: Floats) -> int | None:
    """Return which rival losses by hand fit, echoes and all, about as well as the claim, worn or not; None if none."""
    sd = np.hypot(HAND_DB, HAND * seen_db)
    claim = _fit(seen_db, new_db, sd, CLAIM_LOG)
    rivals = []
    for rival in RIVALS:
        law_db = piece.length_m * line_type(rival).law.db_per_m(frequency_hz)
        turns = piece.length_m * frequency_hz / (line_type(rival).velocity_factor * SPEED_OF_LIGHT_M_PER_S)
        around = turns * (1.0 + LENGTH * np.linspace(-2.0, 2.0, 21))[:, None]
        echoes = inserted_excess_db(np.array(line_type(rival).impedance_ohm), law_db, around)
        rivals.append(_fit(seen_db - echoes.mean(axis=0), law_db, np.hypot(sd, echoes.std(axis=0)), RIVAL_LOG))
    return int(np.argmax(rivals)) if max(rivals) > claim - 1.0 else None


def _fit(seen_db: Floats, law_db: Floats, sd: Floats, spread: float) -> float:
    """Return the best log density of losses under a law times a factor whose log has a spread."""
    times = np.linspace(-3.0, 3.0, 61)[:, None] * spread
    off = (seen_db - np.exp(times) * law_db) / sd
    return float((-0.5 * (off**2).sum(axis=1) - 0.5 * (times[:, 0] / spread) ** 2).max() - np.log(sd).sum())


def rival_log(piece: Piece, rival: str, frequency_hz: Floats) -> float:
    """Return the log of a rival's matched loss over that of the type a piece is marked as, its mean over bands."""
    if piece.line is None:
        return 0.0
    ours, theirs = piece.line.law.db_per_m(frequency_hz), line_type(rival).law.db_per_m(frequency_hz)
    return float(np.mean(np.log(theirs / ours)))
