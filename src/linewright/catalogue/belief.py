"""What is believed of a line nobody measured: the catalogue's law with the spread of published tables."""

from __future__ import annotations

from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from linewright.core.errors import InputError
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece

SEED = 20_240_219


@cache
def even_normals(count: int) -> NDArray[np.float64]:
    """Return draws of the standard normal, (count,), spread evenly and rising; not to be written to.

    >>> even_normals(3).round(2)
    array([-0.97,  0.  ,  0.97])
    """
    normal = NormalDist()
    even = np.array([normal.inv_cdf((i + 0.5) / count) for i in range(count)])
    even.flags.writeable = False
    return even


def catalogue_belief(piece: Piece, draws: int = 1000, *, seed: int = SEED) -> Belief:
    """Return draws of a new line's loss, connectors aside: its law times a log-normal factor of the type's spread.

    Where a frequency is less well known than usual, its further doubt comes on top. Draws are stratified, so that even
    few of them have the right quantiles, and in an order of their own for every ``seed``. A piece of no stated type
    cannot be believed anything of here.

    >>> from linewright.catalogue.lines import line_type
    >>> belief = catalogue_belief(Piece("run", 30.0, line_type("RG-213/U")))
    >>> belief.loss_db([14.2e6, 144e6]).shape
    (2, 1000)
    """
    if piece.line is None:
        raise InputError(
            "line", f"must be known for {piece.tag}, which nobody measured", cure="State its type, or measure it."
        )
    law = piece.line.law
    rng = np.random.default_rng(seed)
    growth = np.exp(law.spread * rng.permutation(even_normals(draws)))
    one, none = np.ones(draws), np.zeros(draws)
    return Belief(piece, law, growth, one, one, none, none, none, doubt=rng.permutation(even_normals(draws)))
