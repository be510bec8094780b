"""The line between radio and antenna, from a stated loss or from a belief about a piece."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np

from linewright.errors import InputError
from linewright.model.belief import LEAST_DB, Belief
from linewright.model.through import Floats, LineBehind
from linewright.units.said import say
from linewright.units.writing import digits, metres

BARE_SPREAD = 0.05
"""Relative standard deviation of a loss stated without an interval: what published tables differ by."""
DRAWS = 4000
SEED = 20_240_318


def behind_loss(loss_db: float, half_width_db: float | None = None, *, at_hz: float | None = None) -> LineBehind:
    """Return a line of a stated loss in dB, with the half width of its 95 % interval; without one, ten per cent.

    >>> line = behind_loss(3.0, 0.5)
    >>> np.quantile(line.loss_db(14e6), [0.025, 0.975]).round(2)
    array([2.5, 3.5])
    """
    if not (np.isfinite(loss_db) and loss_db >= 0):
        raise InputError("loss_db", f"must be zero or more; got {loss_db!r}", cure="A passive line's loss is positive.")
    if half_width_db is not None and not (np.isfinite(half_width_db) and half_width_db >= 0):
        raise InputError("half_width_db", f"must be zero or more; got {half_width_db!r}")
    normal = _even_normal(DRAWS)
    if half_width_db is None:
        draws = loss_db * np.exp(BARE_SPREAD * normal)
        said = say("a line of {loss} dB (taken as within 10 %)", loss=digits(loss_db))
    else:
        draws = loss_db + half_width_db / 1.959964 * normal
        said = say("a line of {loss} dB ± {half} dB", loss=digits(loss_db), half=digits(half_width_db))
    return LineBehind(said, stated_db=np.maximum(draws, LEAST_DB), at_hz=at_hz)


def behind_belief(belief: Belief) -> LineBehind:
    """Return the line a belief is about; with a known type its phase is known too."""
    piece = belief.piece
    kind = piece.line
    said = say("{length} of {line}, known from {basis}", length=metres(piece.length_m),
               line=kind.designator if kind else say("unknown type"), basis=belief.basis)  # fmt: skip
    if kind is None:
        return LineBehind(said, belief)
    return LineBehind(
        said, belief, impedance_ohm=kind.impedance_ohm, velocity_factor=kind.velocity_factor,
        length_m=piece.length_m,
    )  # fmt: skip


def thinned(line: LineBehind, draws: int, rng: np.random.Generator) -> LineBehind:
    """Return the same line with so many draws, in an order of their own."""
    if line.stated_db is not None:
        return replace(line, stated_db=_picked(np.sort(line.stated_db), draws, rng))
    if line.belief is None:
        return line
    rows = np.resize(rng.permutation(line.belief.draws), draws)
    return replace(line, belief=line.belief.taken(rows))


def _picked(rising: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """Return evenly spaced quantiles of sorted draws, shuffled."""
    at = (np.arange(draws) + 0.5) / draws * len(rising)
    return rng.permutation(rising[at.astype(int)])


def _even_normal(draws: int) -> Floats:
    normal = NormalDist()
    return np.array([normal.inv_cdf((i + 0.5) / draws) for i in range(draws)])
