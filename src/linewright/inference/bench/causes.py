"""Why a piece loses more than its type: which part of its loss grew, by cause, and whether its claim is to be doubted.

Chances come from the posterior's draws: in each, the part that adds most beyond new is the cause, if it adds anything
worth a name. Length and wear scale a loss alike, so a claim is doubted against both, and both are named.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.catalogue.lines import line_types
from linewright.core.arrays import Floats
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import Cause, CauseFinding
from linewright.core.nouns.line import LineType
from linewright.inference.priors import Priors

GROWN, MIN_GROWTH_DB = 0.10, 0.05
"""An excess below this share of a new line's loss, or below so many decibels, is no growth worth a name."""
LEAK = 0.3
"""A leak across the line is flat as a bad contact is, and met less often: how often (common practice, no source)."""
SAID = 0.2
"""A cause less likely than this is not named."""


def least_db(belief: Belief, hertz: float) -> float:
    """Return the least excess worth a name at a frequency, dB."""
    return max(GROWN * belief.piece.length_m * float(belief.law.db_per_m(hertz)), MIN_GROWTH_DB)


def excesses_db(belief: Belief, hertz: float) -> dict[Cause, Floats]:
    """Return draws of what each cause adds beyond new at a frequency, dB."""
    conductor, dielectric = (belief.piece.length_m * float(part) for part in belief.law.parts_db_per_m(hertz))
    found: dict[Cause, Floats] = {
        "braid": conductor * (belief.growth - 1.0),
        "water": dielectric * (belief.growth * belief.wet - 1.0),
        "resistive joint": belief.joint_db + belief.joint_db_per_sqrt_mhz * np.sqrt(hertz / 1e6),
    }
    for shape, size in belief.faults:
        found[shape.cause] = found.get(shape.cause, np.zeros(belief.draws)) + shape.db(hertz) * size
    return found


def worst_hz(belief: Belief, measured_hz: Sequence[float]) -> float:
    """Return the measured frequency at which the piece loses most beyond new, against what is worth a name there."""
    return max(
        sorted(measured_hz, reverse=True),
        key=lambda f: float(np.median(sum(excesses_db(belief, f).values()))) / least_db(belief, f),
    )


def chances(belief: Belief, hertz: float) -> dict[Cause, float]:
    """Return the probability of each cause being what adds most at a frequency; what is missing to 1 is no cause."""
    parts = excesses_db(belief, hertz)
    names, stack = list(parts), np.stack(list(parts.values()))
    grown = stack.max(axis=0) > least_db(belief, hertz)
    which = np.where(grown, stack.argmax(axis=0), len(names))
    return {name: float(np.mean(which == k)) for k, name in enumerate(names)}


def causes_of(belief: Belief, measured_hz: Sequence[float]) -> list[CauseFinding]:
    """Return the causes of a piece's excess worth naming, the likeliest first; none of a piece of unknown type."""
    if belief.piece.line is None or not measured_hz:
        return []
    found = chances(belief, worst_hz(belief, measured_hz))
    flat = found.pop("resistive joint")
    found |= {"resistive joint": (1.0 - LEAK) * flat, "short": LEAK * flat}
    return sorted((CauseFinding(c, p) for c, p in found.items() if p >= SAID), key=lambda c: -c.p)


# Whether a piece is what it is said to be

CLAIM_P, TYPE_P, LENGTH_P = 0.9, 0.05, 0.05
"""How often a piece is what is said of it, another type, another length (common practice, no source)."""
NEW_P = 0.3
"""How often a cable of another type or length is as new, the rest being worn as usual."""
LENGTH_LOG = 0.25
SLACK_LOG = 0.02
FAULT_P, FAULT_LOG = 0.1, 0.7
"""How often a piece has a fault that no law of a line follows, and the spread it gives each band by itself (log)."""


def doubted_claim(piece: Piece, frequency_hz: Floats, log_db: Floats, priors: Priors) -> list[CauseFinding]:
    """Hold a piece's losses against its claim, against other types as long and against its type of another length.

    Parameters
    ----------
    frequency_hz : ndarray
        Where the piece was read.
    log_db : ndarray
        Draws of the logarithm of its loss there by the readings alone, (draws, frequencies).

    Returns
    -------
    list of CauseFinding
        "other type", naming the likeliest, and "other length", each with its probability, the likelier first.
    """
    if piece.line is None:
        return []
    middle, covariance = log_db.mean(axis=0), np.atleast_2d(np.cov(log_db.T))

    def evidence(line: LineType, shift: float, spread: float, each: float = 0.0) -> float:
        new = np.log(piece.length_m * line.law.db_per_m(frequency_hz) + _plugs_db(piece, frequency_hz, priors))
        v = (
            covariance
            + (spread**2 + line.law.spread**2)
            + (priors.departure**2 + SLACK_LOG**2 + each**2) * np.eye(len(new))
        )
        off = middle - new - shift
        return float(np.exp(-0.5 * (off @ np.linalg.solve(v, off) + np.linalg.slogdet(v)[1])))

    def worn(line: LineType, new_p: float) -> float:
        good = evidence(line, priors.good_shift, priors.good_spread)
        return new_p * good + (1.0 - new_p) * evidence(line, priors.aged_shift, priors.aged_spread)

    others = [t for t in line_types() if abs(t.impedance_ohm / piece.line.impedance_ohm - 1.0) < 0.1]
    others = [t for t in others if t.designator != piece.line.designator]
    claim = CLAIM_P * worn(piece.line, 1.0 - priors.bench_aged_p)
    length = LENGTH_P * evidence(piece.line, 0.0, LENGTH_LOG)
    fault = FAULT_P * evidence(piece.line, priors.aged_shift, priors.aged_spread, FAULT_LOG)
    each = {t.designator: TYPE_P * worn(t, NEW_P) / len(others) for t in others}
    whole = claim + length + fault + sum(each.values())
    if not whole > 0.0:
        return []
    likeliest = max(each, key=lambda name: each[name], default=None)
    types = CauseFinding("other type", sum(each.values()) / whole, likeliest)
    found = [types, CauseFinding("other length", length / whole)]
    return sorted((c for c in found if c.p >= SAID), key=lambda c: -c.p)


def _plugs_db(piece: Piece, frequency_hz: Floats, priors: Priors) -> Floats:
    return np.asarray(piece.connectors * priors.connector_db_per_sqrt_mhz * np.sqrt(frequency_hz / 1e6))
