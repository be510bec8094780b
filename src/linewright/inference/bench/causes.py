"""Why a piece loses more than its type: which part of its loss grew, by cause, and whether its claim is to be doubted.

Chances come from the posterior's draws: in each, the part that adds most beyond new is the cause, if it adds anything
worth a name. Length and wear scale a loss alike, so a claim is doubted against both, and both are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from linewright.catalogue.lines import laws_near
from linewright.core.arrays import Floats, median
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import Cause, CauseFinding
from linewright.inference.bench.chances import NONE_MOST, of_causes
from linewright.inference.priors import Priors

GROWN, MIN_GROWTH_DB = 0.10, 0.05
"""An excess below this share of a new line's loss, or below so many decibels, is no growth worth a name."""
LEAK = 0.3
"""A leak across the line is flat as a bad contact is, and met less often: how often (common practice, no source)."""
SAID = 0.2
"""A cause less likely than this is not named."""
OF_A_PLACE: tuple[Cause, ...] = ("open conductor", "resistive joint", "short", "wet connector")
"""Causes that sit in one place of a piece: where one is found, the claim of its cable is not doubted for it."""
OF_THE_CLAIM: tuple[Cause, ...] = ("other type", "other length", "other impedance")
"""Causes that are none of the cable's: it is not what it is said to be."""


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
        key=lambda f: float(median(sum(excesses_db(belief, f).values()))) / least_db(belief, f),
    )


def chances(belief: Belief, hertz: float) -> tuple[dict[Cause, float], float]:
    """Return how likely each cause is what adds most at a frequency, and how likely nothing worth a name is added.

    What is missing to 1 is what the engine took for a cause and was none.
    """
    parts = excesses_db(belief, hertz)
    names, stack = list(parts), np.stack(list(parts.values()))
    grown = stack.max(axis=0) > least_db(belief, hertz)
    which = np.where(grown, stack.argmax(axis=0), len(names))
    found = {name: float(np.mean(which == k)) for k, name in enumerate(names)}
    return of_causes(found), NONE_MOST * float(np.mean(~grown))


def causes_of(belief: Belief, measured_hz: Sequence[float]) -> list[CauseFinding]:
    """Return the causes of a piece's excess worth naming, the likeliest first; none of a piece of unknown type."""
    if belief.piece.line is None or not measured_hz:
        return []
    found, _ = chances(belief, worst_hz(belief, measured_hz))
    flat = found.pop("resistive joint")
    found |= {"resistive joint": (1.0 - LEAK) * flat, "short": LEAK * flat}
    return sorted((CauseFinding(c, p) for c, p in found.items() if p >= SAID), key=lambda c: -c.p)


# Whether a piece is what it is said to be

CLAIM_P, TYPE_P, LENGTH_P = 0.9, 0.05, 0.05
"""How often a piece is what is said of it, another type, another length (common practice, no source)."""
NEW_P = 0.3
"""How often a cable of another type or length is as new, the rest being worn as usual."""
RIGID = ("semi-rigid", "corrugated")
"""Types with a tube for a screen: nobody takes a cable that bends for one."""
LENGTH_LOG = 0.25
SLACK_LOG = 0.02
FAULT_P, FAULT_LOG = 0.1, 0.7
"""How often a piece has a fault that no law of a line follows, and the spread it gives each band by itself (log)."""


@dataclass(frozen=True, slots=True)
class Rivalry:
    """Causes that doubt a claim, the likelier first, and the type whose new cable reads as the claim's worn one does.

    ``like`` is empty where no type's does, with nothing said of how often such a cable is met or marked so.
    """

    found: list[CauseFinding]
    like: str = ""


def doubted_claim(piece: Piece, frequency_hz: Floats, log_db: Floats, priors: Priors) -> Rivalry:
    """Hold a piece's losses against its claim, against other types as long and against its type of another length.

    Parameters
    ----------
    frequency_hz : ndarray
        Where the piece was read.
    log_db : ndarray
        Draws of the logarithm of its loss there by the readings alone, (draws, frequencies).

    Returns
    -------
    Rivalry
        "other type", naming the likeliest, and "other length", each with its probability.
    """
    if piece.line is None:
        return Rivalry([])
    mine, hertz = piece.line, tuple(frequency_hz.tolist())
    near = laws_near(mine.impedance_ohm, 0.1)
    others = [i for i, (name, _) in enumerate(near) if name != mine.designator]
    theirs = _new_db_per_m(mine.impedance_ohm, hertz)[others], np.array([near[i][1].spread for i in others])
    own = mine.law.db_per_m(frequency_hz)[None], np.array([mine.law.spread])
    middle, covariance = log_db.mean(axis=0), np.atleast_2d(np.cov(log_db.T))

    def evidence(laws: tuple[Floats, Floats], shift: float, spread: float, each: float = 0.0) -> Floats:
        """Return the evidence of laws: what each loses when new, dB/m (laws, frequencies), and the spread of it."""
        new = np.log(piece.length_m * laws[0] + _plugs_db(piece, frequency_hz, priors))
        alike, apart = spread**2 + laws[1] ** 2, priors.departure**2 + SLACK_LOG**2 + each**2
        v = covariance + alike[:, None, None] + apart * np.eye(len(hertz))
        off = (middle - new - shift)[:, :, None]
        found: Floats = np.exp(-0.5 * ((off * np.linalg.solve(v, off)).sum(axis=(1, 2)) + np.linalg.slogdet(v)[1]))
        return found

    new = evidence(theirs, priors.good_shift, priors.good_spread)
    own_new, own_aged, length, fault = (
        float(evidence(own, *how)[0])
        for how in (
            (priors.good_shift, priors.good_spread),
            (priors.aged_shift, priors.aged_spread),
            (0.0, LENGTH_LOG),
            (priors.aged_shift, priors.aged_spread, FAULT_LOG),
        )
    )
    claim = CLAIM_P * ((1.0 - priors.bench_aged_p) * own_new + priors.bench_aged_p * own_aged)
    worn = NEW_P * new + (1.0 - NEW_P) * evidence(theirs, priors.aged_shift, priors.aged_spread)
    each = {near[i][0]: TYPE_P * p / len(others) for i, p in zip(others, worn.tolist(), strict=True)}
    length, fault = LENGTH_P * length, FAULT_P * fault
    whole = claim + length + fault + sum(each.values())
    if not whole > 0.0:
        return Rivalry([])
    bends = {near[i][0]: p for i, p in zip(others, new.tolist(), strict=True) if not near[i][0].startswith(RIGID)}
    nearest = max(bends, key=lambda name: bends[name], default="")
    as_well = nearest and bends[nearest] > own_aged
    likeliest = max(each, key=lambda name: each[name], default=None)
    types = CauseFinding("other type", sum(each.values()) / whole, likeliest)
    found = [types, CauseFinding("other length", length / whole)]
    named = sorted((c for c in found if c.p >= SAID), key=lambda c: -c.p)
    return Rivalry(named, nearest if as_well else "")


@lru_cache(maxsize=256)
def _new_db_per_m(impedance_ohm: float, hertz: tuple[float, ...]) -> Floats:
    """Return what every type of about an impedance loses when new at some frequencies, dB/m, (types, frequencies)."""
    laws = laws_near(impedance_ohm, 0.1)
    return np.array([law.db_per_m(hertz) for _, law in laws]).reshape(len(laws), len(hertz))


def _plugs_db(piece: Piece, frequency_hz: Floats, priors: Priors) -> Floats:
    return np.asarray(piece.connectors * priors.connector_db_per_sqrt_mhz * np.sqrt(frequency_hz / 1e6))
