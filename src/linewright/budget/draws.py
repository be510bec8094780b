"""What is not known of a run, as draws that all its parts share: beliefs of its lines, phases of reflections."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from linewright.catalogue.belief import catalogue_belief
from linewright.errors import InputError
from linewright.model.belief import Belief
from linewright.model.station import LinePart, Run
from linewright.units.constants import TWO_PI

Floats = NDArray[np.float64]

SEED = 20_260_311
LEAST_DRAWS = 40
"""Fewer draws have no 95 % interval."""


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of a run: ``beliefs`` by the part's place in the chain, each of ``count`` draws.

    Lines of one type that nobody measured share their draws: what is doubtful there is the published table.
    """

    count: int
    beliefs: Mapping[int, Belief]

    def phases_rad(self, place: int) -> Floats:
        """Return phases spread evenly over the circle, in an order of their own for each place in the chain."""
        order = np.random.default_rng([SEED, place + 1]).permutation(self.count)
        return np.asarray(TWO_PI * (order + 0.5) / self.count)


def draws_of(run: Run, beliefs: Mapping[str, Belief], count: int) -> Draws:
    """Return the draws of a run: the belief of each measured piece by its tag, the catalogue's for every other line."""
    if count < LEAST_DRAWS:
        raise InputError("draws", f"must be at least {LEAST_DRAWS}; got {count}", cure="1000 is usual.")
    lines = {i: part for i, part in enumerate(run.chain) if isinstance(part, LinePart)}
    return Draws(count, {i: _belief(part, beliefs, count) for i, part in lines.items()})


def _belief(part: LinePart, beliefs: Mapping[str, Belief], count: int) -> Belief:
    if part.measured and part.piece.tag in beliefs:
        return _resampled(beliefs[part.piece.tag], count)
    line = part.piece.line
    seed = crc32(line.designator.encode()) if line else 0
    return catalogue_belief(part.piece, count, seed=seed)


def _resampled(belief: Belief, count: int) -> Belief:
    """Return as many draws as wanted, evenly out of those there are; beliefs of one sheet stay in step."""
    if belief.draws == count:
        return belief
    at = np.arange(count) * belief.draws // count if count < belief.draws else np.arange(count) % belief.draws
    return belief.taken(at)
