"""Where a piece's extra loss comes from: which part of a belief grew beyond new.

At the highest frequency measured, each draw's excess over new is split into its √f part, its f part and its joints;
the largest share names the draw. The shares can be told apart only where bands far enough apart were measured.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.model.belief import Belief, Floats
from linewright.model.growth import GrowthFinding
from linewright.units.said import mark, say, together
from linewright.units.writing import chance, frequency, plain, quantity

GROWN, LEAST_DB = 0.10, 0.05
"""An excess below this share of a new line's loss, or below so many decibels, is no growth worth a name."""
SURE, UNCHANGED = 0.95, 0.80
"""A part is named from the first, as chances below it are overstated; that nothing grew is said from the second."""
APART = 9.0
"""Bands closer together than this ratio do not tell the √f part from the f part reliably (``benchmarks/growth.py``)."""
GREW = {
    "conductor": mark(
        "In {piece} the √f part: conductors and braid grew (about {excess} beyond new at {frequency}, {chance})."
    ),
    "dielectric": mark(
        "In {piece} the f part: the dielectric grew (about {excess} beyond new at {frequency}, {chance})."
    ),
    "joint": mark(
        "In {piece} a plug or joint grew, not the cable (about {excess} beyond new at {frequency}, {chance})."
    ),
    "none": mark("{piece} lost nothing worth naming beyond new ({chance})."),
}
NAMES = tuple(GREW)
SHARES = (mark("conductor {chance}"), mark("dielectric {chance}"), mark("joint {chance}"), mark("none {chance}"))
CHECKS = {
    "conductor": say("Open one end and look for dark, dull or broken strands: corrosion there cannot be mended."),
    "dielectric": say(
        "Look for a nick in the jacket and for damp under it; dry and seal the ends, then measure again."
    ),
    "joint": say("Check solder, crimp and centre pins of both plugs, remake the worse one, and measure again."),
    "none": say("Nothing to mend: it loses what its type does."),
}
UNKNOWN = say("Without a known type nobody can say what the piece lost when new.")
NARROW = say(
    "Measure it on two bands at least nine times apart in frequency: loss that grows with √f parts from loss with f."
)
OPEN = say("Measure on a lower and a higher band, with plugs moved while watching the meter: a joint shows itself so.")


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
    name, likely = NAMES[best], chances[best]
    if name == "none" and likely >= UNCHANGED:
        return say(GREW[name], piece=tag, chance=chance(likely)), CHECKS[name]
    if ratio < APART:
        return say("Cannot tell which part of {piece} grew: the bands measured lie too close together.",
                   piece=tag), NARROW  # fmt: skip
    if likely < SURE:
        shares = [say(part, chance=chance(p)) for part, p in zip(SHARES, chances, strict=True) if p >= 0.05]
        return say("Cannot tell which part of {piece} grew: {shares}.", piece=tag, shares=together(shares, ", ")), OPEN
    excess = quantity(plain(middles[best], 1), "dB")
    grew = say(GREW[name], piece=tag, excess=excess, frequency=frequency(top), chance=chance(likely))
    return grew, CHECKS[name]


def _open(belief: Belief, why: str) -> GrowthFinding:
    return GrowthFinding(
        belief.piece.tag, None, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        say("Cannot tell which part of {piece} grew.", piece=belief.piece.tag), why,
    )  # fmt: skip
