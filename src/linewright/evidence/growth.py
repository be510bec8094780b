"""Where a piece's extra loss comes from: which part of a belief grew beyond new.

At the highest frequency measured, each draw's excess over new is split into its √f part, its f part and its joints;
the largest share names the draw. The shares can be told apart only where bands far enough apart were measured.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.model.belief import Belief, Floats
from linewright.model.growth import GrowthFinding
from linewright.units.writing import frequency

GROWN, LEAST_DB = 0.10, 0.05
"""An excess below this share of a new line's loss, or below so many decibels, is no growth worth a name."""
SURE, UNCHANGED = 0.95, 0.80
"""A part is named from the first, as chances below it are overstated; that nothing grew is said from the second."""
APART = 9.0
"""Bands closer together than this ratio do not tell the √f part from the f part reliably (``benchmarks/growth.py``)."""
NAMES = ("conductor", "dielectric", "joint", "none")
WORDS = {
    "conductor": "the √f part: conductors and braid",
    "dielectric": "the f part: the dielectric",
    "joint": "a plug or joint, not the cable",
}
CHECKS = {
    "conductor": "Open one end and look for dark, dull or broken strands: corrosion there cannot be mended.",
    "dielectric": "Look for a nick in the jacket and for damp under it; dry and seal the ends, then measure again.",
    "joint": "Check solder, crimp and centre pins of both plugs, remake the worse one, and measure again.",
    "none": "Nothing to mend: it loses what its type does.",
}
UNKNOWN = "Without a known type nobody can say what the piece lost when new."
NARROW = (
    "Measure it on two bands at least nine times apart in frequency: loss that grows with √f parts from loss with f."
)
OPEN = "Measure on a lower and a higher band, with plugs moved while watching the meter: a joint shows itself so."


def growth_finding(belief: Belief, measured_hz: Sequence[float]) -> GrowthFinding:
    """Say which part of a piece's loss grew beyond new.

    Parameters
    ----------
    belief : Belief
        What is believed of the piece.
    measured_hz : sequence of float
        The frequencies it was measured at, hertz.

    Returns
    -------
    GrowthFinding
        With "cannot tell" in its sentence when the type is unknown, when no two measured bands lie nine times apart,
        or when no part reaches 95 %.
    """
    tag, top = belief.piece.tag, max(measured_hz, default=0.0)
    if belief.piece.line is None or not top:
        return _open(belief, UNKNOWN if belief.piece.line is None else NARROW)
    parts = _excess_db(belief, top)
    chances = _chances(parts, _least_db(belief, top))
    conductor, dielectric, joint = (float(v) for v in np.median(parts, axis=1))
    middles = [conductor, dielectric, joint, 0.0]
    sentence, check = _said(tag, chances, middles, top, max(measured_hz) / min(measured_hz))
    return GrowthFinding(tag, float(top), *chances, conductor, dielectric, joint, sentence, check)


def _excess_db(belief: Belief, hertz: float) -> Floats:
    """Return draws of what the √f part, the f part and the joints lose beyond new, dB, shaped (3, draws)."""
    conductor, dielectric = (belief.piece.length_m * float(part) for part in belief.law.parts_db_per_m(hertz))
    joint = belief.joint_db + belief.joint_db_per_sqrt_mhz * np.sqrt(hertz / 1e6)
    return np.stack([conductor * (belief.growth - 1.0), dielectric * (belief.growth * belief.wet - 1.0), joint])


def _least_db(belief: Belief, hertz: float) -> float:
    return max(GROWN * belief.piece.length_m * float(belief.law.db_per_m(hertz)), LEAST_DB)


def _chances(parts: Floats, least_db: float) -> tuple[float, float, float, float]:
    """Return the probability of each part being the one that grew most, and of none having grown."""
    grown = parts.max(axis=0) > least_db
    which = np.where(grown, parts.argmax(axis=0), 3)
    conductor, dielectric, joint, none = (float(np.mean(which == k)) for k in range(4))
    return conductor, dielectric, joint, none


def _said(tag: str, chances: tuple[float, ...], middles: list[float], top: float, ratio: float) -> tuple[str, str]:
    best = int(np.argmax(chances))
    name, chance = NAMES[best], chances[best]
    if name == "none" and chance >= UNCHANGED:
        return f"{tag} lost nothing worth naming beyond new ({_percent(chance)}).", CHECKS["none"]
    if ratio < APART:
        return f"Cannot tell which part of {tag} grew: the bands measured lie too close together.", NARROW
    if chance < SURE:
        shares = ", ".join(f"{n} {_percent(p)}" for n, p in zip(NAMES, chances, strict=True) if p >= 0.05)
        return f"Cannot tell which part of {tag} grew: {shares}.", OPEN
    rest = f"about {middles[best]:.1f} dB beyond new at {frequency(top)}, {_percent(chance)}"
    return f"In {tag} {WORDS[name]} grew ({rest}).", CHECKS[name]


def _percent(chance: float) -> str:
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def _open(belief: Belief, why: str) -> GrowthFinding:
    return GrowthFinding(
        belief.piece.tag, None, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        f"Cannot tell which part of {belief.piece.tag} grew.", why,
    )  # fmt: skip
