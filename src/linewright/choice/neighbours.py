"""What lies near a sharing-out: swaps that would cost little more, and pieces whose measuring might change it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.choice.sharing import Sharing, Solution
from linewright.model.share import Worth
from linewright.units.said import say
from linewright.units.writing import plain

Floats = NDArray[np.float64]

WORTH_DB = 0.01
MOST = 3
NEAR_DB = 3.0
"""Neighbours further off than this weigh nothing in what a measurement is worth."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A sharing-out one move away: pieces (by index) that change places, None for a place on the shelf.

    ``out`` leaves run ``here`` and goes to ``there`` (None: the shelf); ``into`` comes the other way.
    """

    out: int
    into: int
    here: int
    there: int | None
    more_db: float

    @property
    def runs(self) -> tuple[int, ...]:
        """The runs it touches."""
        return (self.here,) if self.there is None else (self.here, self.there)

    def words(self, tags: Sequence[str], runs: Sequence[str]) -> str:
        """Say what the move is."""
        if self.there is None:
            return say("{one} instead of {other} on {run}",
                       one=tags[self.into], other=tags[self.out], run=runs[self.here])  # fmt: skip
        return say("{one} on {run} and {other} on {further}",
                   one=tags[self.into], run=runs[self.here], other=tags[self.out],
                   further=runs[self.there])  # fmt: skip


def neighbours_of(sharing: Sharing, found: Solution) -> list[Neighbour]:
    """Return every exchange of one piece for another, among runs or with the shelf, that still bridges all routes."""
    return sorted(_exchanges(sharing, found), key=lambda n: n.more_db)


def _exchanges(sharing: Sharing, found: Solution) -> Iterator[Neighbour]:
    where = np.where(found.takes.any(axis=1), found.takes.argmax(axis=1), -1)
    laid = found.takes.T @ sharing.length_m + found.bought_m.sum(axis=0)
    used, db, length = np.flatnonzero(where >= 0), sharing.piece_db, sharing.length_m
    for out in used:
        here = int(where[out])
        for into in range(len(where)):
            there = int(where[into])
            if into == out or there == here or (there >= 0 and into < out):
                continue
            more = db[into, here] - db[out, here]
            fits = _bridges(sharing, laid, here, length[into] - length[out])
            if there >= 0:
                more += db[out, there] - db[into, there]
                fits = fits and _bridges(sharing, laid, there, length[out] - length[into])
            if fits and np.isfinite(more):
                yield Neighbour(int(out), into, here, there if there >= 0 else None, float(more))


def _bridges(sharing: Sharing, laid: Floats, run: int, change_m: float) -> bool:
    return bool(laid[run] + change_m >= sharing.route_m[run] - 1e-9)


def worth_of(
    sharing: Sharing, found: Solution, near: Sequence[Neighbour], draws: Floats, tags: Sequence[str]
) -> tuple[Worth, ...]:
    """Return the pieces whose exact knowledge would gain most, over the plan and its neighbours.

    Expected value of perfect information on one piece: the mean, over its draws, of the least expected loss among the
    plans once it is known (what other pieces then are expected to lose follows by regression), against the least now.
    """
    close = [n for n in near if n.more_db < NEAR_DB]
    if not close:
        return ()
    values = []
    for i in range(len(tags)):
        known = _given(draws, i)
        more = np.array([_move(n, known) for n in close])
        gained = np.minimum(more.min(axis=0), 0.0)
        values.append((-float(gained.mean()), float(np.mean(gained < 0.0)), int(more.mean(axis=1).argmin()), i))
    best = sorted(values, reverse=True)[:MOST]
    return tuple(
        Worth(
            tags[i], gain, change,
            say("Measured exactly, {piece} would change the plan with probability {p} and gain {gain} weighted dB"
                " on average.", piece=tags[i], p=plain(change, 2), gain=plain(gain, 2)),
        )
        for gain, change, _, i in best
        if gain > WORTH_DB
    )  # fmt: skip


def _move(n: Neighbour, known: Floats) -> Floats:
    """Return what a move would cost more, (draws), from (p, r, draws)."""
    more: Floats = known[n.into, n.here] - known[n.out, n.here]
    if n.there is not None:
        more = more + known[n.out, n.there] - known[n.into, n.there]
    return more


def _given(draws: Floats, i: int) -> Floats:
    """Return what every piece is expected to lose in every run once piece ``i`` is known, per draw of it."""
    mean = draws.mean(axis=2, keepdims=True)
    own = draws[i].sum(axis=0)
    own = own - own.mean()
    spread = float(own @ own)
    slope = (draws - mean) @ own / spread if spread > 0 else np.zeros(draws.shape[:2])
    out: Floats = mean + slope[:, :, None] * own
    return out
